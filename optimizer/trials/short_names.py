"""Short names of trials whose id was made from their content: day and as many letters as tell them apart."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

_MADE: Final = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2}-)([0-9a-f]{10}(?:-[0-9]+)?)")
_SHORTEST: Final = 3


def short_names(ids: Iterable[str]) -> dict[str, str]:
    """Return a name that can be typed for each machine-made id.

    Returns
    -------
    dict[str, str]
        Id to the shortest beginning, three letters of its mark at least, that no other id has; ids given by
        people are not in it.

    Examples
    --------
    >>> short_names(["A1", "2026-03-02-1a2b3c4d5e", "2026-03-02-1a2f000000"])["2026-03-02-1a2b3c4d5e"]
    '2026-03-02-1a2b'
    """
    everyone = tuple(ids)
    made = sorted(id for id in everyone if _MADE.fullmatch(id))
    found = {}
    for place, id in enumerate(made):
        beside = [made[other] for other in (place - 1, place + 1) if 0 <= other < len(made)]
        shared = max((_shared(id, other) for other in beside), default=0)
        length = max(len("2026-03-02-") + _SHORTEST, shared + 1)
        short = id[:length]
        found[id] = id if short in everyone else short
    return found


def full_names(text: str, ids: Iterable[str]) -> tuple[str, ...]:
    """Return the machine-made ids that a short name could mean, with or without its day.

    Returns
    -------
    tuple[str, ...]
        One where the name is clear.

    Examples
    --------
    >>> full_names("1a2", ["A1", "2026-03-02-1a2b3c4d5e"])
    ('2026-03-02-1a2b3c4d5e',)
    """
    if len(text) < _SHORTEST:
        return ()
    matches = ((id, _MADE.fullmatch(id)) for id in ids)
    return tuple(id for id, match in matches if match and (id.startswith(text) or match[2].startswith(text)))


def _shared(one: str, other: str) -> int:
    """Return how many letters two ids begin with alike."""
    return next(
        (n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other))
    )
