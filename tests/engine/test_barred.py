"""One rule of mixing for design and check: the rule that bars a mix is named by both. Own arithmetic."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.job import Job, Limit
from optimizer.materials import Catalogue
from optimizer.solution import NO_BLEND
from optimizer.studies.check import check
from optimizer.studies.design import design
from optimizer.verdict.assess import HOLDS, UNCERTAIN
from ui.words import chance_sentence


def plaster(demo: Job, *limits: Limit) -> Job:
    """Return the demo job with gypsum cement alone, under these limits."""
    return replace(demo, materials=("gypsum_cement",), limits=limits)


@pytest.mark.parametrize(("bound", "barred"), [(305.0, 1), (120.0, 0)])
def test_no_blend_names_the_rule_that_keeps_out_one_that_would_do(
    demo: Job, catalogue: Catalogue, bound: float, barred: int
) -> None:
    """Wetter than its powder holds gypsum cement weighs 305 g; no water makes it weigh 120 g."""
    answer = design(plaster(demo, Limit("dry_mass", "<=", bound)), catalogue)
    assert answer.status == NO_BLEND
    assert len(answer.barred_by) == barred
    assert all("water" in rule for rule in answer.barred_by)


def test_a_mix_that_no_design_may_be_never_simply_holds(demo: Job, catalogue: Catalogue) -> None:
    job = plaster(demo, Limit("dry_mass", "<=", 350.0))
    wet, plain = (check(job, {"gypsum_cement": 1.0}, catalogue, water) for water in (0.45, 0.40))
    assert wet.joint_probability >= plain.joint_probability >= job.confidence
    assert (wet.status, plain.status) == (wet.verdict, plain.verdict) == (UNCERTAIN, HOLDS)
    assert UNCERTAIN in chance_sentence(wet), "the card says what the check says"
    assert "bleeds" in " ".join(wet.barred_by)
    assert plain.barred_by == ()
