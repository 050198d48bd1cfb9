"""Read the tables of tests/reference: comment lines with the source, then a header, then numbers."""

from __future__ import annotations

import csv
from pathlib import Path

REFERENCE = Path(__file__).parents[1] / "reference"


def reference_rows(name: str) -> list[dict[str, float | None]]:
    """Return the rows of one table; an empty cell is None."""
    lines = (REFERENCE / name).read_text(encoding="utf-8").splitlines()
    table = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [{key: float(cell) if cell else None for key, cell in row.items()} for row in table]
