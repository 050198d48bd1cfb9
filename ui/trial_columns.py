"""What the columns of the trial table mean, in the words of the trade."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from optimizer.trials.columns import BOOK, Column
from optimizer.trials.records import FIELDS, GROUP_FIELDS
from optimizer.units import System
from ui.terminal import Block, sentence, table
from ui.unit_text import ShownColumn, column_in

_BOOK_MEANINGS: Final = {
    "version": "1 for the first entry of a trial, 2 for its correction, and so on",
    "void": "yes where the trial no longer counts",
    "reason": "why it was corrected or made void",
}

MEANINGS: Final[Mapping[str, str]] = {
    **{name: one.meaning for name, one in FIELDS.items()},
    **_BOOK_MEANINGS,
    **{
        f"{word} {name}": one.meaning
        for word, (_, parts) in GROUP_FIELDS.items()
        for name, one in parts.items()
    },
}
"""Column without its number -> what it holds."""


def scale_column(head: str, units: System) -> ShownColumn:
    """Return a column of the trial table in the units shown; grams stay, for the scale shows them."""
    return ShownColumn(head) if head.endswith(" [g]") else column_in(head, units)


def column_rows(units: System = "metric") -> Iterator[tuple[str, str]]:
    """Give each column as a table writes it, with its meaning; of numbered ones the first."""
    for field, unit in {**{name: one.unit for name, one in FIELDS.items()}, **BOOK}.items():
        yield scale_column(Column(field, unit).header, units).name, MEANINGS[field]
    for field, parts in GROUP_FIELDS.values():
        for part, one in parts.items():
            yield scale_column(Column(field, one.unit, 1, part).header, units).name, one.meaning


def column_blocks(units: System) -> Iterator[Block]:
    """Give the columns and how a table may differ."""
    yield table(("column", "holds"), column_rows(units))
    words = (
        "Only date is compulsory. Columns may stand in any order, in other units (water [kg], demold [h]) "
        "and in other writings (strength_2_value_psi); 1, 2, 3 number several powders, weighings, strengths, "
        "burns and causes of rejects. A column whose name begins with # is not read."
    )
    yield sentence(words, gap=True)
