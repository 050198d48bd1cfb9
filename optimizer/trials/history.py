"""What a version of a trial is to a book that may know the trial: new, a correction, or a conflict."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Final

from optimizer.trials.records import Version, digest

State = tuple[str, bool]
"""Fingerprint of a version, and whether it is void."""

CONFLICT: Final = "conflict"


def state_of(version: Version) -> State:
    """Return what tells two versions of a trial apart.

    Returns
    -------
    State
        Fingerprint, and True when it is void.
    """
    return digest(version.trial), version.void


def standing(known: Sequence[State], version: Version, corrections: bool) -> str:
    """Return what entering a version would be.

    Parameters
    ----------
    known : Sequence[State]
        Versions the book holds of the trial, oldest first [-].
    corrections : bool
        True when other content of a known trial is meant as a correction [-].

    Returns
    -------
    str
        ``added``, ``corrected``, ``unchanged``, or `CONFLICT`.

    Examples
    --------
    >>> import datetime as dt
    >>> from optimizer.trials.records import Trial
    >>> first = Version(Trial(dt.date(2026, 3, 2), "a", water=100.0), 1)
    >>> second = Version(Trial(dt.date(2026, 3, 2), "a", water=101.0), 2)
    >>> standing([], first, False), standing([state_of(first)], second, False)
    ('added', 'corrected')
    >>> standing([state_of(first), state_of(second)], first, False)
    'unchanged'
    """
    state, number = state_of(version), version.number
    if not known:
        return "added" if number in (None, 1) or corrections else CONFLICT
    if state == known[-1] or (number is not None and number <= len(known) and state == known[number - 1]):
        return "unchanged"
    if corrections or number == len(known) + 1:
        return "corrected"
    return CONFLICT


def refused(
    versions: Iterable[Version], corrections: bool, held: Callable[[str], Sequence[State]]
) -> tuple[Version, ...]:
    """Return those of `versions` that cannot be entered one after the other.

    Parameters
    ----------
    versions : Iterable[Version]
        Records with ids, in the order of entry [-].
    corrections : bool
        As in `standing` [-].
    held : Callable[[str], Sequence[State]]
        What the book holds of a trial before the first is entered [-].

    Returns
    -------
    tuple[Version, ...]
        Those in conflict, in order.
    """
    found = []
    seen: dict[str, list[State]] = {}
    for version in versions:
        id = version.trial.id
        if id not in seen:
            seen[id] = list(held(id))
        word = standing(seen[id], version, corrections)
        if word == CONFLICT:
            found.append(version)
        elif word != "unchanged":
            seen[id].append(state_of(version))
    return tuple(found)
