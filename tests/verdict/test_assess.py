"""Chances and expected costs: closed forms, plain draws of the whole chain, and other common draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from optimizer.job import Limit
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.parameters import DISCREPANT, PRIOR_SPREADS, NoTrials
from optimizer.property_model.predict import PREDICTORS, cast_of
from optimizer.property_model.samples import SEARCH, DrawSet, samples_of
from optimizer.verdict.assess import assess, drawn_cost_parts, held_and_cost, is_open, word_of
from optimizer.verdict.judge import cost_parts_of, judge
from tests.property_model.helpers import plain_samples

FEW, MANY = 6, 50
PLAIN = 20_000
STILL = {
    "powder_error": 0.0,
    "water_error": 0.0,
    "temperature_error": 0.0,
    "air_error": 0.0,
    "weigh_step": 1e-9,
    "dose_step": 1e-9,
}


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(demo, catalogue)


def mixes(problem, count, seed=3):
    """Return mixes of one to three materials at about their own demand of water, some good, some not."""
    rng = np.random.default_rng(seed)
    shares = np.zeros((count, len(problem.names)))
    for row in shares:
        binders = rng.choice(4, rng.integers(1, 3), replace=False)
        row[binders] = rng.dirichlet(np.ones(len(binders)))
        row[rng.choice([4, 5])] = rng.uniform(0.0, 0.25)
        row /= row.sum()
    wet = per_liter(problem.model, shares)
    water = wet[:, -1] / wet[:, :-1].sum(axis=1) * rng.uniform(1.0, 1.12, count)
    return per_liter(problem.model, shares, water)


def uncertain_only(problem, figures=(), **spreads):
    """Return the problem with every figure known but the named ones, and only the given discrepancies."""
    items = tuple(x if x.name in figures else replace(x, spread=0.0) for x in problem.parameters.items)
    lacking = NoTrials({name: spreads.get(name, 0.0) for name in DISCREPANT})
    job = replace(problem.job, shop=replace(problem.job.shop, **STILL))
    return problem_of(job, problem.catalogue, replace(problem.parameters, items=items, discrepancy=lacking))


def asking(problem, *limits):
    return problem.with_limits(limits)


@pytest.mark.parametrize("sigmas", [-1.5, -0.4, 0.0, 0.7, 2.0])
def test_one_limit_with_one_gaussian_figure_has_the_closed_form(problem, sigmas):
    """Strength is lognormal about its best value with the spread of its discrepancy: a normal integral."""
    alone = uncertain_only(problem, strength=0.2)
    mix = mixes(problem, 1)[0]
    best = float(cast_of(alone.model, alone.conditions, mix[None, :]).dry_strength[0])
    limit = Limit("dry_strength", ">=", best * np.exp(-0.2 * sigmas))
    seen = assess(asking(alone, limit), mix)
    assert seen.joint_probability == pytest.approx(ndtr(sigmas), abs=1e-3)
    assert seen.probabilities[limit] == seen.joint_probability


def test_one_drawn_figure_alone_has_the_closed_form(problem):
    """CO2 of one powder alone is a share times a lognormal figure (own arithmetic)."""
    name = "gypsum_cement.embodied_co2"
    alone = uncertain_only(problem, (name,))
    (figure,) = (x for x in alone.parameters if x.name == name)
    mix = per_liter(alone.model, np.eye(len(alone.names))[:1])[0]
    best = float(
        np.ravel(PREDICTORS["embodied_co2"](cast_of(alone.model, alone.conditions, mix[None, :])))[0]
    )
    for sigmas in (-1.0, 0.3, 1.6):
        limit = Limit("embodied_co2", "<=", best * np.exp(sigmas * figure.spread))
        assert assess(asking(alone, limit), mix).joint_probability == pytest.approx(ndtr(sigmas), abs=1e-3)


def test_two_independent_limits_hold_with_the_product_of_their_chances(problem):
    alone = uncertain_only(problem, strength=0.2, mass=0.016)
    mix = mixes(problem, 1)[0]
    cast = cast_of(alone.model, alone.conditions, mix[None, :])
    strong = Limit("dry_strength", ">=", float(cast.dry_strength[0]) * np.exp(-0.2 * 0.5))
    light = Limit("dry_mass", "<=", float(PREDICTORS["dry_mass"](cast)[0]) * np.exp(0.016 * 1.0))
    seen = assess(asking(alone, strong, light), mix)
    assert seen.joint_probability == pytest.approx(ndtr(0.5) * ndtr(1.0), abs=0.015)
    assert seen.decisive == strong


def test_one_and_the_same_limit_twice_is_no_surer_than_once(problem):
    """Tied limits are not multiplied: strength dry and bending strength come from one figure."""
    alone = uncertain_only(problem, strength=0.2)
    mix = mixes(problem, 1)[0]
    cast = cast_of(alone.model, alone.conditions, mix[None, :])
    limits = [
        Limit(name, ">=", float(np.ravel(PREDICTORS[name](cast))[0]))
        for name in ("dry_strength", "flexural_strength")
    ]
    assert assess(asking(alone, *limits), mix).joint_probability == pytest.approx(0.5, abs=2e-3)


def compared(problem, count):
    """Return stated and plainly drawn joint chances and expected costs of random mixes."""
    rows = []
    plain = plain_samples(problem, PLAIN, seed=17)
    for mix in mixes(problem, count):
        stated, drawn = assess(problem, mix), assess(problem, mix, plain)
        rows.append((stated.joint_probability, drawn.joint_probability, stated.cost.value, drawn.cost.value))
    return np.array(rows)


def test_chances_and_costs_are_those_of_plain_draws(problem):
    """Against plain draws of the whole chain: within 2 points and 0.5 %."""
    loose = asking(problem, Limit("demold_time", "<=", 50.0), Limit("dry_strength", ">=", 25.0))
    seen = compared(loose, FEW)
    assert np.ptp(seen[:, 0]) > 0.3, "the mixes must not all be sure"
    assert abs(seen[:, 0] - seen[:, 1]).max() < 0.02
    assert abs(seen[:, 2] / seen[:, 3] - 1.0).max() < 0.005


@pytest.mark.slow
def test_chances_and_costs_of_fifty_mixes_are_those_of_plain_draws(problem):
    loose = asking(problem, Limit("demold_time", "<=", 50.0), Limit("dry_strength", ">=", 25.0))
    for asked in (problem, loose):
        seen = compared(asked, MANY)
        chance, cost = abs(seen[:, 0] - seen[:, 1]).max(), abs(seen[:, 2] / seen[:, 3] - 1.0).max()
        assert (chance < 0.02, cost < 0.005) == (True, True), (chance, cost)


def test_other_draws_say_the_same(problem):
    """A repeat with other draws moves a chance by less than two points."""
    loose = asking(problem, Limit("demold_time", "<=", 50.0), Limit("dry_strength", ">=", 25.0))
    again = samples_of(problem.catalogue, problem.names, problem.parameters, DrawSet(2048, 11))
    for mix in mixes(problem, FEW):
        one, other = assess(loose, mix), assess(loose, mix, again)
        assert abs(one.joint_probability - other.joint_probability) < 0.02
        assert one.cost.value == pytest.approx(other.cost.value, rel=0.003)


def test_expected_parts_add_up_and_every_step_counts_at_its_probability(problem):
    """The sealer's part is the price of a coat times the mean number of coats (own arithmetic)."""
    shop = problem.job.shop
    for mix in mixes(problem, FEW):
        seen = assess(problem, mix)
        assert sum(seen.cost.parts.values()) == pytest.approx(seen.cost.value, rel=1e-12)
        assert seen.cost.low <= seen.cost.value <= seen.cost.high
        cast = problem.samples.printed.cast(problem.conditions, mix[None, :])
        coats = float(np.mean(PREDICTORS["sealer_coats"](cast)))
        assert seen.cost.parts["sealer"] == pytest.approx(coats * shop.coat_cost, rel=1e-9)


def test_with_nothing_unknown_the_expected_cost_is_that_at_best_values(problem):
    known = uncertain_only(problem)
    for mix in mixes(problem, 3):
        grams = mix * known.liters * 1e3
        judged = judge(known, grams)
        best = cost_parts_of(known, grams, judged.values)
        for name, part in judged.assessment.cost.parts.items():
            assert part == pytest.approx(best[name], rel=1e-6), name


def test_what_is_too_heavy_for_any_carrier_is_paid_for_by_the_rest(problem):
    """Half of the vessels above the last band: the other half carries the cost of both (own arithmetic)."""
    alone = uncertain_only(problem, mass=0.016)
    mix = mixes(problem, 1)[0]
    mass = float(PREDICTORS["dry_mass"](cast_of(alone.model, alone.conditions, mix[None, :]))[0])
    bare = assess(alone, mix).cost.value
    bands = ((mass + alone.job.shop.shipped_extras, 4.0),)
    shop = replace(alone.job.shop, shipping_bands=bands)
    posted = problem_of(replace(alone.job, shop=shop), alone.catalogue, alone.parameters)
    seen = assess(posted, mix).cost
    assert seen.value == pytest.approx(2.0 * (bare + 4.0), rel=0.01)
    assert seen.high == np.inf


def test_heat_without_a_burn_stands_outside_the_chance_unless_the_job_judges_it(demo, catalogue):
    unburned = replace(demo, candle=replace(demo.candle, measured_outer=None), limits=())
    heat, strong = Limit("heat_margin", ">=", 0.0), Limit("dry_strength", ">=", 20.0)
    job = replace(unburned, limits=(heat, strong))
    left, judged = (problem_of(replace(job, heat_without_burn=word), catalogue) for word in ("open", "judge"))
    mix = mixes(left, 1)[0]
    seen, counted = assess(left, mix), assess(judged, mix)
    assert (is_open(left, heat), is_open(judged, heat), is_open(left, strong)) == (True, False, False)
    assert seen.joint_probability == seen.probabilities[strong]
    assert counted.joint_probability <= min(counted.probabilities.values())
    grams = mix * left.liters * 1e3
    (shown,) = (v for v in judge(left, grams).limits if v.limit == heat)
    assert (shown.verdict, shown.judged) == ("uncertain", "burn one first")
    burned = replace(unburned.candle, measured_outer=44.0)
    assert not is_open(problem_of(replace(job, candle=burned), catalogue), heat)
    assert is_open(problem_of(replace(job, candle=None, heat_without_burn="judge"), catalogue), heat)


@pytest.mark.parametrize("error", [0.0, 2.0, 6.0])
def test_the_range_of_a_measured_wall_is_that_of_its_reading_and_of_what_the_laws_lack(
    demo, catalogue, error
):
    """Closed form: the root of two variances, 5 to 95 % of a normal law; the stated error is such a point."""
    candle = replace(demo.candle, measured_outer=44.0, reading_error=error)
    job = replace(demo, candle=candle, limits=(), materials=("gypsum_cement",))
    problem = problem_of(job, catalogue)
    low, high = assess(problem, per_liter(problem.model, np.ones((1, 1)))[0]).ranges["outer_wall_temperature"]
    spread = np.hypot(error / 1.645, PRIOR_SPREADS["heat"])
    assert (high - low) / 2.0 == pytest.approx(1.645 * spread, rel=0.05)


def test_a_cost_without_prices_is_open_and_a_cost_limit_counts_like_others(problem):
    mix = mixes(problem, 1)[0]
    cost = assess(problem, mix).cost
    asked = asking(problem, Limit("cost", "<=", cost.low))
    assert assess(asked, mix).joint_probability == pytest.approx(0.05, abs=0.05)
    unpriced = asked.with_job(replace(asked.job, prices={}))
    seen = assess(unpriced, mix)
    assert (seen.cost, seen.open, seen.joint_probability) == (None, (True,), 1.0)


def test_a_blend_without_one_of_its_prices_has_no_cost_and_one_it_does_not_use_is_not_missed(problem):
    mix = per_liter(problem.model, np.eye(len(problem.names))[:1])[0]
    grams = mix * problem.liters * 1e3
    values = judge(problem, grams).values
    prices = dict(problem.job.prices)
    unused, used = problem.names[1], problem.names[0]
    for left_out, costs in ((unused, True), (used, False)):
        rest = {name: price for name, price in prices.items() if name != left_out}
        asked = problem.with_job(replace(problem.job, prices=rest))
        assert bool(cost_parts_of(asked, grams, values)) == costs, left_out
    assert cost_parts_of(problem, grams, {**values, "sealer_coats": np.inf}) == {}


def test_draws_in_which_all_limits_hold_are_those_of_the_chance_and_their_costs_those_of_the_mean(problem):
    """The mean of the draws is the joint chance, that of their costs the expected cost (own arithmetic)."""
    loose = asking(problem, Limit("demold_time", "<=", 50.0), Limit("dry_strength", ">=", 25.0))
    for mix in mixes(problem, 3):
        held, costs = held_and_cost(loose, mix)
        seen = assess(loose, mix)
        assert held.shape == costs.shape == (2048,)
        assert held.mean() == seen.joint_probability
        assert costs.mean() == pytest.approx(seen.cost.value, rel=1e-9)


def test_costs_of_draws_are_costs_of_draws(problem):
    """One draw through `vessel_cost` alone is the draw's cost: one computation."""
    mix = mixes(problem, 1)[0]
    cast = problem.samples.search.cast(problem.conditions, mix[None, :])
    parts = drawn_cost_parts(problem, cast)
    for k in (0, 100, 255):
        values = {
            name: float(np.broadcast_to(f(cast), (SEARCH.count, 1))[k, 0]) for name, f in PREDICTORS.items()
        }
        grams = cast.mixes[k, 0] * problem.liters * 1e3
        for name, part in cost_parts_of(problem, grams, values).items():
            assert parts[name][k] == pytest.approx(part, rel=1e-9, abs=1e-12), name


def test_words_at_their_edges():
    assert [word_of(p, 0.8) for p in (0.8, 0.7999, 0.2001, 0.2, 0.0)] == [
        "holds",
        "uncertain",
        "uncertain",
        "fails",
        "fails",
    ]
