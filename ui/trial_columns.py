"""What the columns of the trial table mean, in the words of the trade."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from optimizer.trials.columns import BOOK, GROUPS, SCALARS, Column
from optimizer.trials.records import EXPOSURES, KINDS, METHODS, STATES
from ui.terminal import Block, sentence, table

__all__ = ["MEANINGS", "column_blocks", "column_rows"]

MEANINGS: Final[Mapping[str, str]] = {
    "id": "name of the batch; left empty, the book gives one",
    "date": "day of the pour, such as 2026-03-02; the one column every table needs",
    "vessel": "kind of vessel cast",
    "cast": "castings poured",
    "labels": "labels of the single vessels, parted by spaces",
    "sold_order": "order the vessels went to",
    "water": "water weighed",
    "water_temperature": "temperature of the water",
    "room_temperature": "temperature of the room",
    "humidity": "relative humidity of the room, 0.5 or 50 %",
    "damp_cure": "how long the castings were kept damp",
    "cavity_volume": "what one mold holds (trials measure volume)",
    "fresh_density": "weight of a liter of slurry (trials measure density)",
    "window_end": "when the mix would no longer pour, from powder meeting water",
    "initial_set": "when it began to set",
    "final_set": "when it had set",
    "demold": "when the castings were taken out of the molds; perhaps ready earlier: an upper bound",
    "demold_first": "when a casting could first leave its mold whole: tried until it did",
    "casting_peak": "hottest while setting",
    "whiteness": "L* of the dry face (trials measure whiteness)",
    "whiteness_error": "its standard error",
    "remarks": "anything else",
    "version": "1 for the first entry of a trial, 2 for its correction, and so on",
    "void": "yes where the trial no longer counts",
    "reason": "why it was corrected or made void",
    "powder material": "name of a powder or admixture, such as gypsum_cement",
    "powder mass": "what was weighed of it; `mass of gypsum_cement [g]` says both in one column",
    "powder lot": "lot of the bag; or `lot of gypsum_cement`",
    "weighing age": "days since demolding (0: as it left the mold)",
    "weighing mass": "what the piece weighed then; 1, 2, 3 in the order of days",
    "strength value": "strength tested; a bent bar by trials measure bar",
    "strength age": "age at the test, such as 24 h in min, h or d",
    "strength state": f"{' or '.join(STATES)}: never dried, or at constant mass",
    "strength kind": f"{' or '.join(KINDS)}",
    "strength method": ", ".join(METHODS),
    "strength sense": "= measured, >= held at this, <= broke at or before it",
    "strength error": "its standard error, where it is known",
    "burn outer": "outside of the wall in a test burn (trials measure burn)",
    "burn inner": "inside of the wall in a test burn",
    "burn error": "standard error of the outer reading",
    "burn burn_rate": "wax burned by one wick",
    "burn wicks": "number of wicks",
    "burn exposure": ", ".join(EXPOSURES),
    "burn room": "room temperature during the burn",
    "reject cause": "why castings were thrown away, in your words",
    "reject count": "how many for this cause",
}
"""Column without its number -> what it holds."""


def column_rows() -> Iterator[tuple[str, str]]:
    """Give each column as a table writes it, with its meaning; of numbered ones the first."""
    for field, unit in {**SCALARS, **BOOK}.items():
        yield Column(field, unit).header, MEANINGS[field]
    for word, (field, parts) in GROUPS.items():
        for part, unit in parts.items():
            yield Column(field, unit, 1, part).header, MEANINGS[f"{word} {part}"]


def column_blocks() -> Iterator[Block]:
    """Give the columns and how a table may differ."""
    yield table(("column", "holds"), column_rows())
    words = (
        "Only date is compulsory. Columns may stand in any order, in other units (water [kg], demold [h]) "
        "and in other writings (strength_2_value_psi); 1, 2, 3 number several powders, weighings, strengths, "
        "burns and causes of rejects. A column whose name begins with # is not read."
    )
    yield sentence(words, gap=True)
