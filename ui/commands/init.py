"""``vesselblend init``: a commented job file to start from."""

from __future__ import annotations

from pathlib import Path

import click

from ui.commands.shared import delivered
from ui.delivery import STANDARD, Delivery, say

_DEFAULT = "job.toml"


@click.command(short_help="Write a commented job file to start from.")
@click.argument("file", required=False)
@click.option(
    "--demo", is_flag=True, help="Write the demo job instead: a white tumbler with invented prices."
)
@click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")
@click.option("--keys", is_flag=True, help="Write nothing; list every key with its meaning and default.")
@delivered
def init(file: str | None, demo: bool, force: bool, keys: bool, delivery: Delivery) -> int:
    """Write a commented job file to FILE (job.toml; - for standard output) to start from.

    Change its figures to yours, then run: vesselblend design FILE. With --units us its quantities are in
    US units.
    """
    if keys:
        from ui.key_text import key_blocks, keys_json

        delivery.send(keys_json(), key_blocks(delivery.units))
        return 0
    from optimizer.errors import Fault, FileFaults
    from optimizer.jobfile import template
    from optimizer.outputs import create_whole, write_whole
    from ui.unit_text import job_text_in

    text = job_text_in(template("demo" if demo else "job"), delivery.units)
    named = file or (str(delivery.path) if delivery.path else _DEFAULT)
    if named == STANDARD:
        delivery.to(None).send_as({"text": text}, text)
        return 0
    path = Path(named)
    if force:
        delivery.to(path)
        write_whole(path, text.encode())
    elif not create_whole(path, text.encode()):
        repair = "Name another file, or add --force to overwrite it."
        raise FileFaults([Fault(named, "a file that is there already", "a new file", repair)])
    say(f"Written: {path}")
    if delivery.as_json:
        delivery.to(None).send_as({"written": named}, "")
    return 0
