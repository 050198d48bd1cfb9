"""Every key of a job file, as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from optimizer.jobfile.keys import key_tables
from optimizer.units import System
from ui.terminal import Block, heading, sentence, table
from ui.unit_text import typed_in


def key_blocks(units: System = "metric") -> Iterator[Block]:
    """Give each table of the job file with its keys, their meanings and defaults."""
    yield sentence(
        'A job file is TOML. A quantity is text with its unit, such as "25 kg", "75 F" or "1h15"; what is '
        "left out has the default shown. At the top stand also currency (three capital letters), "
        'materials (a list) and objective ("cost", "max whiteness", "min dry_mass" and so on).'
    )
    for each in key_tables():
        yield heading(f"[{each.name}]: {each.purpose}" if each.name else each.purpose.capitalize())
        yield table(
            ("key", "meaning", "default"),
            [(", ".join(r.names), r.meaning, typed_in(r.default, units)) for r in each.rows],
        )


def keys_json() -> dict[str, Any]:
    """Return the tables of the job file as JSON."""
    return {
        each.name or "top": [
            {"keys": list(row.names), "meaning": row.meaning, "default": row.default} for row in each.rows
        ]
        for each in key_tables()
    }
