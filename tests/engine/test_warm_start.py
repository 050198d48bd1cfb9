"""Like questions answered from one another: what neighbors miss, a check finds and spreads."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from optimizer.engine import warm_start
from optimizer.engine.candidate import Candidate
from optimizer.engine.cases import cases_of
from optimizer.engine.chance_constraints import ChanceBlend
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.problem import problem_of


@dataclass
class Landscape:
    """Questions numbered by their chance: the best material of each, and what walks know of it.

    A walk finds the best only from a blend of the same material; a full search always does.
    """

    case: object
    material: tuple[int, ...]
    full: list[int]

    def blend(self, place, material):
        mix = np.zeros(8)
        mix[material] = 1.0
        value = 1.0 + 0.01 * place + (0.0 if material == self.material[place] else 0.1)
        return ChanceBlend(Candidate(self.case, mix, value, 0.0), 1.0)

    def answers(self, questions, **_how):
        out = []
        for question in questions:
            place = round(100 * question.chance)
            if question.near:
                starts = {int(np.argmax(near.mix)) for near in question.near}
                out.append(min((self.blend(place, k) for k in starts), key=lambda b: b.candidate.value))
            else:
                self.full.append(place)
                out.append(self.blend(place, self.material[place]))
        return out


def asked(demo, catalogue, count):
    problem = problem_of(demo, catalogue)
    questions = [ChanceQuestion(problem, (), 0.01 * k) for k in range(count)]
    return questions, cases_of(problem)[0]


@pytest.mark.parametrize("count", [1, 2, 3, 8, 40])
def test_every_question_has_its_answer(demo, catalogue, monkeypatch, count):
    questions, case = asked(demo, catalogue, count)
    land = Landscape(case, (0,) * count, [])
    monkeypatch.setattr(warm_start, "chance_blends", land.answers)
    found = warm_start.alike_blends(questions)
    assert [round(100 * (x.candidate.value - 1.0)) for x in found] == list(range(count))
    assert len(land.full) <= max(2, 5 + count // 8)


def test_a_material_that_only_a_check_meets_is_spread_to_its_neighbors(demo, catalogue, monkeypatch):
    """Between two of the first full searches another material is best; a check lies among them."""
    questions, case = asked(demo, catalogue, 40)
    material = tuple(3 if 11 <= k <= 17 else 0 for k in range(40))
    land = Landscape(case, material, [])
    monkeypatch.setattr(warm_start, "chance_blends", land.answers)
    found = warm_start.alike_blends(questions)
    assert not {11, 12, 13, 14, 15, 16, 17} & set(land.full[:5])
    assert [int(np.argmax(x.candidate.mix)) for x in found] == list(material)


def test_what_no_search_reaches_stays_unanswered(demo, catalogue, monkeypatch):
    questions, case = asked(demo, catalogue, 20)
    land = Landscape(case, (0,) * 20, [])

    def few(asked_, **how):
        return [
            x if q.chance < 0.1 else None for q, x in zip(asked_, land.answers(asked_, **how), strict=True)
        ]

    monkeypatch.setattr(warm_start, "chance_blends", few)
    found = warm_start.alike_blends([replace(q) for q in questions])
    assert [x is None for x in found] == [k >= 10 for k in range(20)]
