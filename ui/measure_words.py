"""Measured figures in words and digits."""

from __future__ import annotations

import math
import shlex
from collections.abc import Sequence

from ui.measuring import Answer

__all__ = ["note_words", "size_words"]


def size_words(one: Answer) -> str:
    """Return a measured figure with its standard error, to the digits the error allows.

    Examples
    --------
    >>> from optimizer.trials.measured import Measured
    >>> size_words(Answer("mass when dry", Measured(365.71, 1.34, "g", "forecast")))
    '365.7 ± 1.3 g'
    """
    found = one.found
    scale, unit = (100.0, "%") if found.unit == "fraction" else (1.0, found.unit.replace("degC", "°C"))
    value, spread = scale * found.value, scale * found.spread
    places = min(max(0, 1 - math.floor(math.log10(spread))), 3) if spread > 0.0 else 1
    return f"{value:.{places}f} ± {spread:.{places}f} {unit}".removesuffix(" -")


def note_words(answers: Sequence[Answer]) -> str:
    """Return what notes the figures with a trial, as typed at a command line."""
    return " ".join(shlex.quote(column) for one in answers for column in one.columns)
