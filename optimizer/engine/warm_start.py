"""Many like questions, such as the levels of a frontier or the rows of a sweep, answered from one another.

Between two neighbors the materials seldom change. A few questions are searched in full, all are walked from
the blends met there, and now and then one is searched in full once more: where that is better, its blends
are walked from in its neighborhood, too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from optimizer.engine.candidate import Candidate
from optimizer.engine.chance_constraints import ChanceBlend, chance_blends
from optimizer.engine.chance_rows import ChanceQuestion

__all__ = ["alike_blends", "along_chances"]

_FEWEST, _SEARCHED = 2, 5
"""Questions searched in full at first: one in `_CHECKED`, within these numbers."""

_CHECKED = 8
"""Questions to each that is searched in full as a check."""

_STARTS = 8
"""Blends walked from for each question."""

_AT_ONCE = 24
"""Questions whose walks step together: more would leave the processor's memory."""

_TURNS, _NEIGHBORS = 3, 4
"""Times that questions of different chances are walked again, and from how many blends of each kind."""

_BEHIND = 1e-3
"""Share of the objective by which an answer may be worse than that of a full search."""


def alike_blends(
    questions: Sequence[ChanceQuestion], known: Sequence[Candidate] = ()
) -> list[ChanceBlend | None]:
    """Return the best blend of each of many like questions; None where none reaches the chance.

    Parameters
    ----------
    questions
        Of the same materials, model, conditions and objective, in an order in which neighbors are alike.
    known
        Blends of like questions to start from, too.
    """
    count = min(max(_FEWEST, len(questions) // _CHECKED), _SEARCHED)
    if len(questions) <= count:
        return chance_blends(questions)
    places = np.unique(np.linspace(0, len(questions) - 1, count).round().astype(int))
    pools = dict(zip(map(int, places), _in_full(questions, places), strict=True))
    answers = _walked(questions, range(len(questions)), pools, known)
    checks = [k for k in range(_CHECKED // 2, len(questions), _CHECKED) if k not in pools]
    found = dict(zip(checks, _in_full(questions, checks), strict=True))
    missed = [k for k in checks if _better(found[k], answers[k])]
    again = sorted(
        {j for k in missed for j in range(max(0, k - _CHECKED), k + _CHECKED) if j < len(questions)}
    )
    for j, answer in zip(again, _walked(questions, again, {**pools, **found}, known), strict=True):
        answers[j] = answer if _better(answer, answers[j], 0.0) else answers[j]
    for k in (*pools, *checks):
        best = found[k] if k in found else pools[k]
        answers[k] = best if _better(best, answers[k], 0.0) else answers[k]
    return answers


def along_chances(
    questions: Sequence[ChanceQuestion], known: Sequence[ChanceBlend] = ()
) -> list[ChanceBlend | None]:
    """Return the best blend of questions that differ in their chance; None where none reaches it.

    A blend that is surer than one question asks answers it, too, so that each is walked again from the
    cheapest blends that are sure enough for it, and from those nearest to its chance.

    Parameters
    ----------
    questions
        As for `alike_blends`; for a frontier of the chance of all limits.
    known
        Blends of like questions.
    """
    answers = alike_blends(questions, [each.candidate for each in known])
    for _ in range(_TURNS):
        met = [*known, *(each for each in answers if each is not None)]
        again: list[ChanceBlend | None] = []
        asked = [replace(each, near=_beside(each, met)) for each in questions]
        for first in range(0, len(asked), _AT_ONCE):
            again += chance_blends(asked[first : first + _AT_ONCE])
        answers = [new if _better(new, old, 0.0) else old for new, old in zip(again, answers, strict=True)]
    return answers


def _beside(question: ChanceQuestion, met: Sequence[ChanceBlend]) -> tuple[Candidate, ...]:
    enough = [each for each in met if each.chance >= question.chance]
    cheapest = sorted(enough, key=lambda each: each.candidate.value)[:_NEIGHBORS]
    nearest = sorted(met, key=lambda each: abs(each.chance - question.chance))[:_NEIGHBORS]
    return tuple(each.candidate for each in (*cheapest, *nearest))


def _in_full(questions: Sequence[ChanceQuestion], places: Iterable[int]) -> list[ChanceBlend | None]:
    return chance_blends([questions[k] for k in places])


def _walked(
    questions: Sequence[ChanceQuestion],
    places: Sequence[int],
    pools: dict[int, ChanceBlend | None],
    known: Sequence[Candidate],
) -> list[ChanceBlend | None]:
    """Walk from the blends of the nearest questions searched in full."""
    asked = [replace(questions[k], near=_near(k, pools, known)) for k in places]
    out: list[ChanceBlend | None] = []
    for first in range(0, len(asked), _AT_ONCE):
        out += chance_blends(asked[first : first + _AT_ONCE])
    return out


def _near(
    place: int, pools: dict[int, ChanceBlend | None], known: Sequence[Candidate]
) -> tuple[Candidate, ...]:
    """Return blends of different materials in turns from the nearest pools."""
    nearest = sorted(pools, key=lambda k: (abs(k - place), k))
    lists = [[each.candidate, *each.near] for each in (pools[k] for k in nearest) if each is not None]
    ranked = [blends[i] for i in range(_STARTS) for blends in lists if i < len(blends)]
    distinct = {(blend.support, blend.case.coats): blend for blend in reversed([*known, *ranked])}
    return tuple(reversed(distinct.values()))[:_STARTS]


def _better(first: ChanceBlend | None, second: ChanceBlend | None, share: float = _BEHIND) -> bool:
    if first is None or second is None:
        return first is not None
    return first.candidate.value < second.candidate.value - share * abs(second.candidate.value)
