"""What may stand in one field of a trial: unit, meaning, range, and its words on the form."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

WORDS: Final = ("text", "name", "date", "labels", "yes")
"""Units of fields that hold no number."""

BETWEEN_LABELS: Final = re.compile(r"[\s,;]+")
"""What parts the labels in one cell, so that none of them may hold it."""


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
