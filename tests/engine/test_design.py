"""The whole path from job to solution, and what must never change an answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.job import Limit
from optimizer.problem import problem_of
from optimizer.reports import comparison_json, solution_json
from optimizer.studies.check import check, compare
from optimizer.studies.design import design
from optimizer.verdict.judge import judge
from tests.property_model.helpers import EVERYTHING


@pytest.fixture(scope="module")
def demo(demo):
    """Return the demo with a chance that its shipped figures can give."""
    return replace(demo, confidence=0.3)


@pytest.fixture(scope="module")
def answer(demo, catalogue):
    return design(demo, catalogue)


def test_the_demo_has_a_true_blend_with_tight_limits(answer):
    assert answer.status == "designed"
    assert len(answer.mix.blend) >= 2
    assert answer.joint_probability >= answer.job.confidence
    tight = [v for v in answer.limits if v.price is not None and v.price.loosen < -1e-3]
    assert len(tight) >= 2


def test_the_demo_beats_every_single_binder(answer):
    alone = [a for a in answer.alternatives if a.name.endswith("alone")]
    costs = [a.objective for a in alone if a.objective is not None]
    assert len(alone) >= 3
    assert all(answer.cost < cost for cost in costs)


def test_money_adds_up(answer):
    assert sum(answer.cost_parts.values()) == pytest.approx(answer.cost, abs=1e-9)
    assert answer.mix.water_ratio == pytest.approx(
        answer.mix.grams["water"] / (sum(answer.mix.grams.values()) - answer.mix.grams["water"])
    )


def test_grams_are_what_the_scale_shows(answer, demo):
    for name, grams in answer.mix.grams.items():
        step = demo.shop.dose_step if name == "titanium_white" else demo.shop.weigh_step
        assert grams / step == pytest.approx(round(grams / step), abs=1e-6)


def test_judged_again_from_the_grams_alone(answer, demo, catalogue):
    """Certification: the stored answer is what the property functions say of its grams."""
    problem = problem_of(demo, catalogue)
    grams = np.array([answer.mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    again = judge(problem, grams)
    for name, prediction in answer.properties.items():
        assert again.properties[name].value == pytest.approx(prediction.value, rel=1e-12), name
    assert again.assessment.cost.value == pytest.approx(answer.cost, rel=1e-12)
    assert again.assessment.joint_probability == answer.joint_probability


def test_checking_the_designed_blend_agrees(answer, demo, catalogue):
    again = check(demo, answer.mix.blend, catalogue, answer.mix.water_ratio)
    assert again.joint_probability == pytest.approx(answer.joint_probability, abs=1e-3)
    assert (again.status == "holds") == (answer.status == "designed")
    assert again.properties["dry_strength"].value == pytest.approx(answer.properties["dry_strength"].value)


def test_equal_blends_save_exactly_nothing(demo, catalogue):
    blend = {"gypsum_cement": 50.0, "rapid_set_mortar": 50.0}
    both = [check(demo, parts, catalogue) for parts in (blend, {k: v / 7 for k, v in blend.items()})]
    pair = compare(*both)
    assert pair.saving == pytest.approx(0.0, abs=1e-12)
    assert pair.retest == ()
    assert comparison_json(pair)["retest"] == []


def test_a_changed_blend_asks_for_seal_check_and_burn_test(demo, catalogue):
    first = check(demo, {"gypsum_cement": 1.0}, catalogue)
    second = check(demo, {"gypsum_cement": 0.9, "marble_flour": 0.1}, catalogue)
    assert compare(first, second).retest == ("seal check", "burn test")


@pytest.mark.parametrize("name", ["dry_strength", "whiteness", "dry_mass", "demold_time", "working_window"])
def test_the_best_value_flips_exactly_at_the_limit(name, demo, catalogue):
    blend = {"gypsum_cement": 0.7, "rapid_set_mortar": 0.3}
    value = check(demo, blend, catalogue).properties[name].value
    sense = "<=" if name in ("dry_mass", "demold_time") else ">="
    way = 1.0 if sense == "<=" else -1.0
    for shift in (1e-4, -1e-4):
        limit = Limit(name, sense, value * (1.0 + way * shift))
        (seen,) = check(replace(demo, limits=(limit,)), blend, catalogue).limits
        assert seen.met == (shift > 0.0)


def test_confidence_moves_limits_and_costs_money(demo, catalogue):
    loose, sure = (design(replace(demo, confidence=x), catalogue, explain=False) for x in (0.2, 0.5))
    assert [loose.status, sure.status] == ["designed", "designed"]
    assert loose.joint_probability >= 0.2
    assert sure.joint_probability >= 0.5
    assert sure.cost >= loose.cost * (1.0 - 2e-3)
    assert sure.nominal is not None
    assert sure.cost >= sure.nominal.objective - 1e-6


def test_what_no_blend_is_sure_of_is_answered_with_the_surest(demo, catalogue):
    answer = design(replace(demo, confidence=0.99), catalogue, explain=False)
    less = design(demo, catalogue, explain=False)
    assert answer.status == "not sure enough"
    assert less.joint_probability - 0.02 <= answer.joint_probability < 0.99
    assert answer.decisive in demo.limits


def test_no_blend_names_limits_and_confirmed_changes(demo, catalogue):
    asked = replace(
        demo, materials=("molding_plaster", "marble_flour"), limits=(Limit("dry_strength", ">=", 40.0),)
    )
    answer = design(asked, catalogue)
    assert answer.status == "no blend meets the limits"
    assert answer.conflict == asked.limits
    change = answer.relaxations[0]
    again = design(replace(asked, limits=change.limits), catalogue, explain=False)
    assert again.status == "designed"
    tighter = replace(change.limits[0], bound=change.limits[0].bound * 1.08)
    assert design(replace(asked, limits=(tighter,)), catalogue, explain=False).status != "designed"


def test_strength_alone_still_gives_a_blend_the_trade_would_accept(demo, catalogue):
    """All materials, only a strength limit: grains, sand, pigment and binder stay within the plain rules."""
    asked = replace(
        demo, materials=EVERYTHING, limits=(Limit("dry_strength", ">=", 20.0),), prices=_priced(demo)
    )
    answer = design(asked, catalogue, explain=False)
    assert answer.status == "designed"
    assert answer.notes == ()
    binder = sum(v for k, v in answer.mix.blend.items() if catalogue[k].role == "binder")
    assert binder > 0.3


def _priced(demo):
    from optimizer.job import Price

    cheap = {name: Price(25.0, 10.0) for name in EVERYTHING}
    return {**cheap, **demo.prices}


@pytest.mark.parametrize(
    ("blend", "water"),
    [
        ({"marble_flour": 1.0}, None),
        ({"silica_sand": 0.5, "titanium_white": 0.5}, None),
        ({"gypsum_cement": 1.0}, 0.10),
        ({"csa_cement": 1.0}, 0.12),
        ({"gypsum_cement": 1.0}, 6.0),
        ({"citric_acid": 1.0}, None),
    ],
    ids=["all-filler", "sand-and-pigment", "gypsum-starved", "cement-starved", "soup", "acid"],
)
def test_impossible_mixes_are_answers_not_crashes(blend, water, demo, catalogue):
    answer = check(demo, blend, catalogue, water)
    assert answer.status == "fails"
    assert answer.barred_by
    assert solution_json(answer)["status"] == "fails"


@pytest.mark.parametrize("objective", [("dry_strength", True), ("dry_mass", False), ("whiteness", True)])
def test_other_objectives(objective, demo, catalogue):
    name, maximize = objective
    answer = design(replace(demo, objective=name, maximize=maximize), catalogue, explain=False)
    cheapest = design(demo, catalogue, explain=False)
    assert answer.status == "designed"
    sign = 1.0 if maximize else -1.0
    assert sign * answer.properties[name].value >= sign * cheapest.properties[name].value * (1 - sign * 2e-3)


def test_a_price_switch_is_where_another_blend_becomes_cheaper(demo, catalogue, answer):
    """Well above the rise another choice of materials, or of their shares, is the cheapest."""
    assert answer.price_switches
    name, rise = min(answer.price_switches.items(), key=lambda pair: pair[1])
    dearer = replace(demo.prices[name], price=demo.prices[name].price * (1.0 + 2.0 * rise + 0.05))
    again = design(replace(demo, prices={**demo.prices, name: dearer}), catalogue, explain=False)
    assert set(again.mix.blend) != set(answer.mix.blend)


def test_limits_in_conflict_are_loosened_together(demo, catalogue):
    asked = replace(
        demo,
        materials=("gypsum_cement", "molding_plaster", "marble_flour"),
        limits=(Limit("dry_strength", ">=", 45.0), Limit("dry_mass", "<=", 330.0)),
    )
    answer = design(asked, catalogue)
    assert set(answer.conflict) == set(asked.limits)
    joint = next(r for r in answer.relaxations if len(r.limits) == 2)
    again = design(replace(asked, limits=joint.limits), catalogue, explain=False)
    assert again.status != "no blend meets the limits"
