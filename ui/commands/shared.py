"""Options that several commands share, and the exit codes they return."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from ui.delivery import STANDARD, Delivery

if TYPE_CHECKING:
    from optimizer.units import System

NO_BLEND: Final = 3
"""No blend meets the limits, or a checked blend or an order fails."""

NO_VERDICT: Final = 5
"""Too little is known for a verdict."""

VERDICT_CODES: Final = {"holds": 0, "fails": NO_BLEND, "uncertain": NO_VERDICT}


INPUTS: Final = {
    "job": "job",
    "book": "trial book",
    "table": "table",
    "specs": "spec file",
    "calibration": "calibration",
}
"""Options and arguments that name what a command reads, and a word for each."""

_STDIN: Final = Path("/dev/stdin")


class Seconds(click.FloatRange):
    """A time a command may take [s]; no number is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401  as click hands it over
        """Return the time; click's own refusal where it is none."""
        seconds = float(super().convert(value, param, ctx))
        if math.isnan(seconds):
            self.fail(f"{value!r} is not a number of seconds.", param, ctx)
        return seconds


def job_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the option ``--specs``."""
    helped = "Folder of spec files that add materials or replace shipped ones."
    return click.option("--specs", metavar="DIR", help=helped)(command)


def book_option(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the option ``--book``."""
    helped = "File of the trial book."
    return click.option("--book", metavar="FILE", default="trials.db", show_default=True, help=helped)(
        command
    )


def yes_option(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the option ``--yes``."""
    helped = "Take readings that seldom are, such as a strength below 0.5 MPa, without asking."
    return click.option("--yes", is_flag=True, help=helped)(command)


def figure_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options ``--specs`` and ``--calibration``."""
    helped = "What `trials fit` learned: file, folder of the newest, demo or none; else as the job says."
    return job_options(click.option("--calibration", metavar="FILE", help=helped)(command))


def delivered(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options every command has, as one `Delivery`."""

    @click.option("--json", "as_json", is_flag=True, help="Give the answer as JSON.")
    @click.option(
        "--units",
        type=click.Choice(["metric", "us"]),
        default="metric",
        show_default=True,
        help="Units of text.",
    )
    @click.option("-o", "--output", metavar="FILE", help="Write the answer to FILE instead of the terminal.")
    @functools.wraps(command)
    def with_delivery(*, as_json: bool, units: System, output: str | None, **options: Any) -> int:  # noqa: ANN401  a command's own
        from optimizer.units import hints_in

        path = None if output in (None, STANDARD) else Path(str(output))
        inputs = () if output is None and "file" not in options else tuple(_inputs(options))
        with hints_in(units):
            return command(delivery=Delivery(as_json, units, path, inputs), **options)

    return with_delivery


def _inputs(options: Mapping[str, Any]) -> Iterator[tuple[str, Path]]:
    """Give what a command reads, from its options: what is named, and what is read unnamed."""
    from optimizer.calibration.files import newest_calibration
    from optimizer.specs import specs_folder

    yield "shipped spec file", specs_folder()
    for name, word in INPUTS.items():
        if options.get(name) is not None:
            yield word, _STDIN if options[name] == STANDARD else Path(options[name])
    if "book" in options:
        newest = newest_calibration(Path(options["book"]).resolve().parent)
        if newest is not None:
            yield "calibration", newest
    for reading in options.get("readings", ()):
        yield "file of a reading", Path(reading.partition("=")[2])
