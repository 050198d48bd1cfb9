"""Where a law ends: full doses, waters far from a binder's own, binders that ask for less than they bind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.chain.timing import wet_strength_at
from tests.chain.helpers import all_materials, cast, values, with_figures

FULL = 0.002
"""Dose of superplasticizer that does all it can, as the shipped spec says [kg/kg]."""


def water_of(problem, dose):
    """Return the water ratio that gypsum cement asks for with a dose of superplasticizer."""
    mix = cast(problem, {"gypsum_cement": 1.0 - dose, "superplasticizer": dose}).mixes[0]
    return mix[-1] / mix[:-1].sum()


def test_more_than_the_full_dose_saves_no_more_water(catalogue, demo):
    full = catalogue["superplasticizer"].figure("dose", 100.0 * FULL) / 100.0
    problem = all_materials(demo, catalogue)
    none, half, whole, double = (water_of(problem, x * full) for x in (0.0, 0.5, 1.0, 2.0))
    saved = catalogue["superplasticizer"].figure("water_reduction")
    assert whole / none == pytest.approx(1.0 - saved, rel=0.01)
    assert half / none == pytest.approx(1.0 - 0.5 * saved, rel=0.01)
    assert double == pytest.approx(whole, rel=0.005)


@pytest.mark.parametrize("name", ["csa_cement", "white_csa_cement", "rapid_set_mortar"])
def test_a_blend_never_asks_for_less_water_than_it_binds(catalogue, demo, name):
    """A demand stated below the water of hydration (own arithmetic from its phases) does not leave it dry."""
    problem = all_materials(demo, with_figures(catalogue, name, water_demand=0.02))
    there = cast(problem, {name: 1.0})
    assert there.body["water"][0] == pytest.approx(there.body["bound"][0], rel=1e-9)


@pytest.mark.parametrize("name", ["gypsum_cement", "molding_plaster", "csa_cement", "white_csa_cement"])
@pytest.mark.parametrize("ratio", [1.0, 1.3, 1.8, 2.5])
def test_a_point_far_from_the_binders_own_water_is_met(catalogue, demo, name, ratio):
    """Whatever water and age a bag states its strength at, the chain returns it there: one clock."""
    material = catalogue[name]
    first = min((p for p in material.reference_points if p.state == "wet"), key=lambda point: point.age)
    demand = material.figure("water_demand")
    age = 45.0 if material.kind == "gypsum" else first.age
    point = replace(first, water_ratio=demand * ratio, age=age, added_sand=0.0)
    changed = replace(material, cement="", reference_points=(point,))
    problem = all_materials(demo, replace(catalogue, materials={**catalogue.materials, name: changed}))
    clock = cast(problem, {name: 1.0}, demand * ratio).clock
    assert float(wet_strength_at(clock, age)[0]) == pytest.approx(point.strength.value, rel=0.02)


def test_every_property_stays_finite_at_absurd_doses(catalogue, demo):
    problem = all_materials(demo, catalogue)
    found = values(problem, {"gypsum_cement": 0.9, "superplasticizer": 0.1}, 0.4)
    assert np.isfinite([found[name] for name in ("wet_strength", "fresh_density", "porosity")]).all()
