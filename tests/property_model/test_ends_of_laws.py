"""Where a law ends: full doses, waters far from a binder's own, binders that ask for less than they bind."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from optimizer.problem import problem_of
from optimizer.property_model.coefficients import csa_moisture
from optimizer.property_model.parameters import parameters_of
from optimizer.property_model.predict import coat_factor_of
from optimizer.property_model.strength import wet_strength_at
from tests.property_model.helpers import EVERYTHING, all_materials, cast, values, with_figures

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


@pytest.mark.parametrize(("stated", "left"), [(0.45, 0.45), (0.94, 0.94), (0.99, 0.95)])
def test_a_coat_leaves_the_stated_share_of_absorption_and_never_all_of_it(catalogue, demo, stated, left):
    """A twentieth at least is taken off by any coat (assumption): else no number of coats would do."""
    shop = replace(demo.shop, coat_factor=stated)
    there = cast(all_materials(replace(demo, shop=shop), catalogue), {"gypsum_cement": 1.0})
    assert coat_factor_of(there) == pytest.approx(left)


@pytest.mark.parametrize("gypsum", [0.0, 0.3, 0.6, 1.0])
def test_gamma_is_the_departure_of_equal_volumes_of_both_hydrates(catalogue, demo, gypsum):
    """One half of each departs by all of it, a binder alone by nothing: a parabola (own arithmetic)."""
    known, blend = parameters_of(catalogue, EVERYTHING), {"gypsum_cement": gypsum, "csa_cement": 1.0 - gypsum}
    (item,) = (x for x in known if x.name == "gamma")
    ends = []
    for more in (0.0, -0.1):
        told = known.moved({"gamma": replace(item, center=item.center + more)})
        # wet enough that none of it is stronger than its members, where the ceiling bends the law
        there = cast(problem_of(replace(demo, materials=EVERYTHING), catalogue, told), blend, 0.8)
        ends.append(there.clock.ln_end[0])
    off = there.body.gypsum_share[0] - 0.5
    assert ends[1] - ends[0] == pytest.approx(-0.1 * (1.0 - 4.0 * off**2), abs=1e-9)


def test_cement_that_reacts_less_is_weighed_the_same_when_dry(catalogue, demo):
    """Its hydrates are taken to hold more of the room's moisture, so that weighed masses come out right."""
    masses = []
    for degree in (0.97, 0.90, 0.83):
        known = parameters_of(catalogue, EVERYTHING)
        (item,) = (x for x in known if x.name == "yeelimite_degree")
        told = known.moved({item.name: replace(item, center=math.log(degree) if item.log else degree)})
        problem = problem_of(replace(demo, materials=EVERYTHING), catalogue, told)
        masses.append(values(problem, {"csa_cement": 1.0})["dry_mass"])
    assert masses == pytest.approx([masses[0]] * 3, rel=0.01)
    figures = {key: figure.value for key, figure in catalogue.model.items()}
    told = csa_moisture(lambda key, default: {**figures, "yeelimite_degree": 0.97}.get(key, default))
    assert told == pytest.approx(figures["room_moisture_csa"])  # the degree at which it is stated


def test_cement_short_of_water_has_the_pores_it_would_have_with_just_enough(catalogue, demo):
    """Just enough is what its hydrates bind at full degree (own arithmetic)."""
    problem = all_materials(demo, catalogue)
    wet = cast(problem, {"csa_cement": 1.0}, 0.45).body
    enough = float(wet["bound"][0] / wet["powder"][0])
    pores = [cast(problem, {"csa_cement": 1.0}, w * enough).body.paste_porosity[0] for w in (0.8, 0.9, 1.0)]
    assert pores == pytest.approx([pores[2]] * 3, rel=1e-6)


def test_cement_denser_than_its_reference_mix_gains_ever_less(catalogue, demo):
    """Strength x above its reference counts as ln 1.25 x ln(1 + x / ln 1.25): three mixes agree on one x.

    Pores alone tell how far x lies apart from mix to mix (own arithmetic, root by scipy).
    """
    problem = all_materials(demo, catalogue)
    slope, bend = float(problem.model["b_csa"]), math.log(float(problem.model["strength_ceiling"]))
    there = [cast(problem, {"csa_cement": 1.0}, water) for water in (0.40, 0.36, 0.32)]
    strength = [float(each.clock.ln_end[0]) for each in there]
    pores = [float(each.body.paste_porosity[0]) for each in there]
    nearer, further = (slope * (pores[0] - pores[k]) for k in (1, 2))

    def gained(start, more):
        return bend * (math.log1p((start + more) / bend) - math.log1p(start / bend))

    start = brentq(lambda x: gained(x, nearer) - (strength[1] - strength[0]), 0.0, 5.0)
    assert strength[2] - strength[0] == pytest.approx(gained(start, further), rel=1e-6)
    assert strength[2] - strength[0] < 0.8 * further


def test_every_property_stays_finite_at_absurd_doses(catalogue, demo):
    problem = all_materials(demo, catalogue)
    found = values(problem, {"gypsum_cement": 0.9, "superplasticizer": 0.1}, 0.4)
    assert np.isfinite([found[name] for name in ("wet_strength", "fresh_density", "porosity")]).all()
