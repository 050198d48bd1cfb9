"""What may stand in one field of a trial: unit, meaning, range, and its words on the form."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from optimizer.errors import QuantityError

WORDS: Final = ("text", "name", "date", "labels", "yes")
"""Units of fields that hold no number."""

BETWEEN_LABELS: Final = re.compile(r"[\s,;]+")
"""What parts the labels in one cell, so that none of them may hold it."""

MOST_IN_ROW: Final = 200
"""Labels that may be written as the first and the last of them [count]."""

_IN_ROW: Final = re.compile(
    r"(?<![^\s,;])([^\s,;]*[^\s,;\d])([0-9]{1,9})\s*[-\u2013]\s*\1([0-9]{1,9})(?![^\s,;])"
)
"""Labels from one to another: the same stem, which ends in no digit, and two numbers."""


def labels_of(text: str) -> tuple[str, ...]:
    """Return the labels in a text, those between V1 and V6 where it says V1-V6.

    Raises
    ------
    QuantityError
        When the second number of such a row is not above the first, or too many labels are between them.

    Examples
    --------
    >>> labels_of("V8-V11, A-09 - A-10 26-114")
    ('V8', 'V9', 'V10', 'V11', 'A-09', 'A-10', '26-114')
    """
    return tuple(filter(None, BETWEEN_LABELS.split(_IN_ROW.sub(_in_row, text))))


def in_short(labels: Sequence[str]) -> str:
    """Return labels as a person writes them, three and more in a row as the first and the last.

    Examples
    --------
    >>> in_short(("V8", "V9", "V10", "W1", "W2"))
    'V8-V10, W1, W2'
    """
    rows: list[list[str]] = []
    for label in labels:
        row = rows[-1] if rows else []
        if row and len(row) < MOST_IN_ROW and _joined([*row, label]):
            row.append(label)
        else:
            rows.append([label])
    return ", ".join(f"{row[0]}-{row[-1]}" if len(row) > 2 else ", ".join(row) for row in rows)


def _joined(row: Sequence[str]) -> bool:
    """Tell whether the first and the last label stand for all of a row."""
    try:
        return labels_of(f"{row[0]}-{row[-1]}") == tuple(row)
    except QuantityError:
        return False


def _in_row(found: re.Match[str]) -> str:
    first, last = int(found[2]), int(found[3])
    if not 0 < last - first < MOST_IN_ROW:
        allowed = f"labels such as V1-V6, the lower number first, and at most {MOST_IN_ROW} of them"
        raise QuantityError(found[0], allowed, "Correct the numbers, or write the labels one by one.")
    return " ".join(f"{found[1]}{number:0{len(found[2])}d}" for number in range(first, last + 1))


@dataclass(frozen=True)
class TrialField:
    """One thing that may be noted of a trial.

    Attributes
    ----------
    unit : str
        Unit of a number; or one of `WORDS`.
    meaning : str
        What it holds, in the words of the trade.
    least, most : float
        Range of a number [its unit].
    choices : tuple[str, ...]
        Words that are allowed; empty: any.
    optional : bool
        True when the choice may be left open.
    label, example : str
        Words beside its field of the form, and what may be typed; no label: not on the form.
    name : str
        Field of `Trial`, or of one reading of a group.
    """

    unit: str
    meaning: str
    least: float = 0.0
    most: float = 0.0
    choices: tuple[str, ...] = ()
    optional: bool = False
    label: str = ""
    example: str = ""
    name: str = ""

    @property
    def number(self) -> bool:
        """True when it holds a number."""
        return self.unit not in WORDS

    @property
    def allowed(self) -> tuple[str, ...]:
        """Words that may stand there, the empty one where it may be left open."""
        return ("", *self.choices) if self.optional and self.choices else self.choices
