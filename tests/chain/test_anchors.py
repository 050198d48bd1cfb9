"""The pure binder at its reference mix returns its reference value exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.chain.anchors import anchor_of, reconcile
from optimizer.chain.model import compile_model
from optimizer.chain.parameters import parameters_of
from optimizer.chain.strength import dry_gain
from optimizer.chain.timing import wet_strength_at
from optimizer.materials import ReferencePoint
from tests.chain.helpers import EVERYTHING, all_materials, cast

BINDERS = ("gypsum_cement", "molding_plaster", "rapid_set_mortar", "csa_cement", "white_csa_cement")


def points(catalogue, state):
    return [(b, p) for b in BINDERS for p in catalogue[b].reference_points if p.state == state]


def at_point(problem, name: str, point: ReferencePoint):
    """Return the cast of a binder with the standard sand of its test; water is per mass of binder."""
    total = 1.0 + point.added_sand
    blend = {name: 1.0 / total, "silica_sand": point.added_sand / total}
    return cast(problem, blend, point.water_ratio / total)


@pytest.mark.parametrize("name", BINDERS)
def test_wet_reference_points_are_returned_exactly(name, demo, catalogue):
    problem = all_materials(demo, catalogue)
    for binder, point in points(catalogue, "wet"):
        if binder == name:
            there = at_point(problem, name, point)
            strength = float(wet_strength_at(there.clock, point.age)[0])
            assert strength == pytest.approx(point.strength.value, rel=1e-6)


@pytest.mark.parametrize("name", ["gypsum_cement", "molding_plaster"])
def test_dry_reference_points_are_returned_exactly(name, demo, catalogue):
    problem = all_materials(demo, catalogue)
    point = next(p for b, p in points(catalogue, "dry") if b == name)
    there = at_point(problem, name, point)
    dry = np.exp(there.clock.ln_end + dry_gain(there.body))[0]
    assert dry == pytest.approx(point.strength.value, rel=1e-6)


def test_anchors_are_solved_again_in_every_draw(catalogue):
    """A softer pore law must not move the pure binder off its reference point."""
    parameters = parameters_of(catalogue, EVERYTHING)
    fitted = np.tile(parameters.centers, (3, 1))
    fitted[:, parameters.names.index("b_gypsum")] += [-0.2, 0.0, 0.2]
    model = compile_model(catalogue, EVERYTHING, parameters, fitted)
    tops = model.anchors["gypsum_cement"].ln_top
    assert np.ptp(tops) < 1e-9
    assert np.ptp(model.anchors["gypsum_cement"].ln_intrinsic) > 0.05


def test_one_cement_with_quarreling_points_takes_the_weaker(catalogue):
    """A bag whose stated strength outruns its own cement by more than 30 % must not be a bargain."""
    mortar = catalogue["rapid_set_mortar"]
    boast = tuple(
        replace(p, strength=replace(p.strength, value=2 * p.strength.value, low=2 * p.strength.low))
        for p in mortar.reference_points
    )
    materials = {
        "rapid_set_mortar": replace(mortar, reference_points=boast),
        "csa_cement": catalogue["csa_cement"],
    }

    def lookup(_name, default):
        return np.asarray(default, float)

    anchors = reconcile({k: anchor_of(m, lookup) for k, m in materials.items()}, materials)
    assert anchors["rapid_set_mortar"].ln_intrinsic == pytest.approx(anchors["csa_cement"].ln_intrinsic)


def test_the_shipped_cement_and_its_mortar_agree_within_thirty_percent(catalogue):
    model = compile_model(catalogue, EVERYTHING)
    gap = model.anchors["rapid_set_mortar"].ln_intrinsic - model.anchors["csa_cement"].ln_intrinsic
    assert abs(float(gap)) < np.log(1.30)
