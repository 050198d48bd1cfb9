"""Where a frontier bends, in words that say which way it gets dear."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from optimizer.nomenclature import quantity

_WAYS: Final = {"lower": ("below", "a higher one"), "higher": ("above", "a lower one")}
_OWN_WORDS: Final = {"demold_time": ("Getting out of the mold sooner than", "waiting longer")}
_EACH: Final = {"min": "minute", "d": "day", "g": "gram", "oz": "ounce", "%": "percent"}


def bend_words(over: Sequence[str], told: Sequence[str]) -> str:
    """Return on which side of the bend of a frontier the first quantity gets dear.

    The bend lies farthest below the line from end to end, so on the average of each side this is always so;
    no more is said of each single step.

    Parameters
    ----------
    over : Sequence[str]
        Quantities of the frontier, the one given first.

    Examples
    --------
    >>> bend_words(("cost", "demold_time"), ("7 EUR", "51 min"))
    'Getting out of the mold sooner than 51 min (7 EUR) costs more for each minute than waiting longer saves.'
    >>> bend_words(("cost", "whiteness"), ("7.5 EUR", "86.0"))
    'A whiteness L* above 86.0 (7.5 EUR) costs more for each point than a lower one saves.'
    """
    if len(over) > 2:
        return f"Past the bend at {', '.join(told)} each gets better only at a growing price in the others."
    given, taken = over[0], over[1]
    side, back = _WAYS[quantity(taken).better]
    first, other = _OWN_WORDS.get(taken, (f"A {quantity(taken).label} {side}", back))
    unit = told[1].rpartition(" ")[2] if " " in told[1] else ""
    each = _EACH.get(unit, unit) or "point"
    if given == "cost":
        return f"{first} {told[1]} ({told[0]}) costs more for each {each} than {other} saves."
    label = quantity(given).label
    return f"{first} {told[1]} ({told[0]}) costs more {label} for each {each} than {other} gives back."
