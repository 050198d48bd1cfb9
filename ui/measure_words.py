"""Measured figures in words and digits."""

from __future__ import annotations

import math
import shlex
from collections.abc import Sequence
from typing import Final

from optimizer.units import System, convert
from ui.measuring import Answer
from ui.unit_text import typed_in

_US: Final = {"MPa": "psi", "degC": "degF", "mL": "floz", "g/cm3": "lb/ft3"}
"""Units that US casters are shown others for; grams stay, for the scale."""

_WORDS: Final = {"degC": "°C", "degF": "°F", "floz": "fl oz", "fraction": "%", "-": ""}


def size_words(one: Answer, units: System = "metric") -> str:
    """Return a measured figure with its standard error, to the digits the error allows.

    Examples
    --------
    >>> from optimizer.trials.measuring import Measured
    >>> size_words(Answer("mass when dry", Measured(365.71, 1.34, "g", "forecast")))
    '365.7 ± 1.3 g'
    >>> size_words(Answer("outer wall", Measured(43.0, 1.0, "degC", "burn test")), "us")
    '109.4 ± 1.8 °F'
    """
    found = one.found
    shown = _US.get(found.unit, found.unit) if units == "us" else found.unit
    scale = 100.0 if shown == "fraction" else 1.0
    value = scale * convert(found.value, found.unit, shown)
    # an error is a difference: of temperatures it has no zero of its own
    spread = value - scale * convert(found.value - found.spread, found.unit, shown)
    places = min(max(0, 1 - math.floor(math.log10(spread))), 3) if spread > 0.0 else 1
    return f"{value:.{places}f} ± {spread:.{places}f} {_WORDS.get(shown, shown)}".rstrip()


def columns_in(one: Answer, units: System) -> list[str]:
    """Return how a figure is noted with a trial, in the units shown."""
    return [typed_in(column, units, 5) for column in one.columns]


def note_words(answers: Sequence[Answer], units: System = "metric") -> str:
    """Return what notes the figures with a trial, as typed at a command line."""
    return " ".join(shlex.quote(column) for one in answers for column in columns_in(one, units))
