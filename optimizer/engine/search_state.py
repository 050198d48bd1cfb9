"""Questions to a search, their answers, and what is known of each while it lasts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TOLERANCE, Candidate
from optimizer.problem import Problem

__all__ = ["End", "Found", "Key", "Question", "State", "Support"]

Array = NDArray[np.float64]
Support = tuple[int, ...]
"""Positions of solids, ascending."""

Key = tuple[int, Support]
"""Task and solids of a blend."""

_NEAR, _SURCHARGE = 0.06, 0.3
"""Violation up to which an end is worth walking on [-], and the share of its value put on per unit."""


@dataclass(frozen=True)
class Question:
    """One question to the search.

    Attributes
    ----------
    problem : Problem
        Materials, limits, prices.
    only : tuple[int, ...] | None
        Positions of the only materials allowed; None: all.
    known : tuple[Candidate, ...]
        Blends of this or a like question to start from.
    first : bool
        True stops at the first blend that holds, for questions of whether there is one.
    """

    problem: Problem
    only: tuple[int, ...] | None = None
    known: tuple[Candidate, ...] = ()
    first: bool = False


@dataclass(frozen=True)
class Found:
    """The answer to a question.

    Attributes
    ----------
    best : Candidate | None
        Best blend; the one of least violation where none holds, None where no mix can be started.
    met : tuple[Candidate, ...]
        The best blend of each case and set of materials that was walked, best first.
    """

    best: Candidate | None
    met: tuple[Candidate, ...] = ()

    @property
    def holds(self) -> bool:
        """True when the best blend holds every row."""
        return self.best is not None and self.best.feasible


@dataclass(frozen=True)
class End:
    """Where a walk on one set ended."""

    key: Key
    mix: Array
    value: float
    violation: float
    promised: float

    def rank(self) -> tuple[bool, float]:
        """Sort key: those that hold by value, then the others by what they fall short."""
        holds = self.violation <= TOLERANCE
        return not holds, self.value if holds else self.violation

    def score(self) -> float:
        """Value with what it falls short by as a surcharge."""
        short = self.violation if self.violation > TOLERANCE else 0.0
        return self.value + _SURCHARGE * short * abs(self.value)


@dataclass
class State:
    """What is known of one question: cases waiting, ends by case and materials, those to take up again.

    `looked` is how many of the solved cases its waiting ones have learned from.
    """

    question: Question
    tasks: tuple[int, ...]
    waiting: list[int]
    todo: list[int] = field(default_factory=list)
    known: dict[Key, End] = field(default_factory=dict)
    pending: list[End] = field(default_factory=list)
    tries: dict[Key, int] = field(default_factory=dict)
    used: set[tuple[int, Support, bool]] = field(default_factory=set)
    best: End | None = None
    loose: End | None = None
    looked: int = 0

    def beats(self, value: float, slack: float = 0.0) -> bool:
        """Return whether a value is better than the best, or no worse than by a share `slack` of it."""
        return self.best is None or value < self.best.value + slack * abs(self.best.value)

    @property
    def closed(self) -> bool:
        """True when a first blend was all that was asked for."""
        return self.question.first and self.best is not None

    def keep(self, end: End, *, arrived: bool) -> None:
        """Take note of an end."""
        if not arrived and end.violation <= _NEAR:
            self.pending.append(end)
        if end.key not in self.known or end.rank() < self.known[end.key].rank():
            self.known[end.key] = end
        if end.violation <= TOLERANCE and self.beats(end.value):
            self.best = end

    def unfinished(self, most: int, within: float, rounds: int, *, twice: bool) -> list[End]:
        """Return ends left early that may still be the best, each set once or from two starts."""
        out: list[End] = []
        cases: dict[int, int] = {}
        for end in sorted(self.pending, key=End.score):
            if len(out) >= most or not self.beats(end.score(), within):
                break
            same = [other for other in out if other.key == end.key]
            apart = all(np.abs(other.mix - end.mix).max() > 1e-6 for other in same)
            again = not same or (twice and len(same) < 2 and apart)
            full = cases.get(end.key[0], 0) >= most // 2
            if again and not full and self.tries.get(end.key, 0) < rounds:
                out.append(end)
                cases[end.key[0]] = cases.get(end.key[0], 0) + 1
        for key in {end.key for end in out}:
            self.tries[key] = self.tries.get(key, 0) + 1
        return out
