"""A change offered where no blend is sure enough is one that, taken, gives a blend that is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.studies.design import design


@pytest.mark.parametrize(("minutes", "confidence"), [(25.0, 0.9), (12.0, 0.5)])
def test_a_change_taken_is_a_blend_that_is_sure_enough(demo, catalogue, minutes, confidence):
    limits = tuple(replace(x, bound=minutes) if x.property == "demold_time" else x for x in demo.limits)
    asked = replace(demo, confidence=confidence, limits=limits)
    answer = design(asked, catalogue)
    assert answer.status in ("no blend meets the limits", "not sure enough")
    assert answer.relaxations
    for change in answer.relaxations:
        new = {(x.property, x.sense): x for x in change.limits}
        taken = tuple(new.get((x.property, x.sense), x) for x in limits)
        found = design(replace(asked, limits=taken), catalogue, explain=False)
        assert found.status == "designed"
        assert found.joint_probability >= confidence
        assert found.cost == pytest.approx(change.objective, rel=5e-3)
