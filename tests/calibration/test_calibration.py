"""From trials to figures: what a book teaches, what it does not, and that nothing is lost or swallowed."""

from __future__ import annotations

import datetime as dt
import math
import time
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from optimizer.calibration.agreement import agreement
from optimizer.calibration.files import calibration_text
from optimizer.calibration.fit import calibrate
from optimizer.calibration.measurement_errors import BAG
from optimizer.calibration.readings import Studio
from optimizer.calibration.record import parameter_set
from optimizer.errors import FileFaults, NoVerdict
from optimizer.job import Candle, Vessel
from optimizer.properties.service_heat import flame_share_from_burn, wall_case
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import DISCREPANT, parameters_of
from optimizer.property_model.predict import PREDICTORS, cast_of
from optimizer.trials.records import Burn, Portion, Strength, Trial, Weighing
from tests.calibration.studios import BENCH, NAMES, TARGET, World, blank, cast, filled, ranges, values

PURE = {"gypsum_cement": 1.0}
PLAIN = Trial(dt.date(2026, 3, 2), "x", (Portion("gypsum_cement", 300.0),), 105.0)
"""A batch of gypsum cement of which nothing was noted yet."""


@pytest.fixture(scope="module")
def world(catalogue) -> World:
    return World(catalogue, 11)


@pytest.fixture(scope="module")
def trials(world) -> list[Trial]:
    return [world.trial(number) for number in range(6)]


def learned(fit, name):
    return next(one for one in fit.calibration.learned if one.name == name)


def expected_trial(catalogue, number=0, blend=TARGET):
    """Return a trial whose readings are exactly what the shipped figures expect."""
    prior = parameters_of(catalogue, NAMES)
    return filled([blank(number, blend)], catalogue, prior, prior.centers)[0]


class TestAgreement:
    """What a trial that agrees, or does not, does to the figures."""

    def test_a_trial_as_expected_moves_little_and_shrinks_ranges(self, catalogue):
        prior = parameters_of(catalogue, NAMES)
        told = parameter_set(calibrate([expected_trial(catalogue)], catalogue).calibration, catalogue, NAMES)
        before, after = values(cast(catalogue, prior)), values(cast(catalogue, told))
        wide, narrow = ranges(catalogue, prior), ranges(catalogue, told)
        for name, value in before.items():
            assert after[name] == pytest.approx(value, abs=0.05 * (wide[name][1] - wide[name][0])), name
            assert narrow[name][1] - narrow[name][0] < 0.8 * (wide[name][1] - wide[name][0]), name

    def test_the_same_fit_gives_the_same_parameters(self, catalogue):
        """Draws are kept by which set they were compiled for: a set made anew compiles them anew."""
        kept = calibrate([expected_trial(catalogue)], catalogue).calibration
        assert parameter_set(kept, catalogue, NAMES) is parameter_set(kept, catalogue, list(NAMES))
        assert parameter_set(kept, catalogue, NAMES[:2]) is not parameter_set(kept, catalogue, NAMES)

    def test_readings_are_less_off_than_before(self, catalogue, trials):
        found = agreement(calibrate(trials, catalogue))
        assert {one.kind for one in found} >= {"dry_strength", "initial_set", "whiteness", "fresh_density"}
        assert all(one.readings == 6 and one.after <= 1.05 * one.before for one in found)
        assert sum(one.after < 0.8 * one.before for one in found) >= 5

    def test_stronger_cubes_teach_a_stronger_binder(self, catalogue):
        as_expected = expected_trial(catalogue, blend=PURE)
        strong = tuple(replace(one, value=1.2 * one.value) for one in as_expected.strengths)
        fit = calibrate([replace(as_expected, strengths=strong)], catalogue)
        assert learned(fit, "gypsum_cement.strength").center > 0.3
        assert learned(fit, "gypsum_cement.strength").spread < 1.0

    def test_the_flame_share_of_a_burn_is_that_of_the_burn_test(self, catalogue):
        """Against `flame_share_from_burn`, which solves the heat balance of the wall backward."""
        vessel, candle = Vessel(215.0), Candle(burn_rate=4.0)
        burn = Burn(outer=46.0, error=0.1, burn_rate=4.0)
        one = replace(PLAIN, burns=(burn,))
        days = [replace(one, id=f"b{day}", date=one.date + dt.timedelta(days=day)) for day in range(100)]
        fit = calibrate(days, catalogue, Studio(vessel=vessel))
        share = float(flame_share_from_burn(wall_case(vessel, candle), 46.0))
        assert learned(fit, "flame_share").after[0] == pytest.approx(share, rel=0.01)

    def test_bent_bars_and_cubes_of_one_batch_agree(self, catalogue):
        as_expected = expected_trial(catalogue)
        for kind in ("compressive", "flexural"):
            only = tuple(one for one in as_expected.strengths if one.kind == kind)
            fit = calibrate([replace(as_expected, strengths=only)], catalogue)
            assert abs(learned(fit, "gypsum_cement.strength").center) < 0.02

    def test_a_stated_error_is_believed(self, catalogue):
        spreads = []
        for error in (1.0, 8.0):
            strength = Strength(25.0, 120.0, "wet", "compressive", "test house", "=", error)
            fit = calibrate([replace(PLAIN, strengths=(strength,))], catalogue)
            spreads.append(learned(fit, "gypsum_cement.strength").spread)
        assert spreads[0] < spreads[1]


class TestBounds:
    """Held, broke, left the mold: one side only."""

    def strength(self, catalogue, value, sense):
        one = Strength(value, 120.0, "wet", "compressive", "held or broke", sense)
        fit = calibrate([replace(PLAIN, strengths=(one,))], catalogue)
        return learned(fit, "gypsum_cement.strength").center

    def test_held_well_below_expectation_says_next_to_nothing(self, catalogue):
        assert abs(self.strength(catalogue, 8.0, ">=")) < 0.01

    def test_held_above_expectation_says_stronger(self, catalogue):
        assert self.strength(catalogue, 30.0, ">=") > 0.1

    def test_broke_below_expectation_says_weaker(self, catalogue):
        assert self.strength(catalogue, 15.0, "<=") < -0.1

    def test_a_casting_may_wait_in_its_mold(self, catalogue):
        late = calibrate([replace(PLAIN, demold=960.0)], catalogue)
        early = calibrate([replace(PLAIN, demold=20.0)], catalogue)
        assert max(abs(one.center - one.prior_center) for one in late.calibration.learned) < 1e-3
        assert learned(early, "gypsum_cement.set_time").center < -0.2


class TestOutOfTheMold:
    """Taken out is a bound, first out a reading; what moved a row away from its reading is named."""

    LEAN = replace(
        PLAIN, portions=(Portion("gypsum_cement", 1150.0), Portion("silica_sand", 950.0)), water=428.0
    )
    """Under a rim of 3.76 mm the shipped figures expect it never to leave its mold."""
    THIN = Studio(vessel=Vessel(190.0, outer_diameter=95.0, height=110.0, wall=3.76, base=8.0))

    def seen(self, catalogue, trial, kind="demold"):
        fit = calibrate([trial], catalogue, self.THIN)
        return next(one for one in fit.seen if one.reading.kind == kind)

    @pytest.mark.parametrize("age", [5.0, 15.0, 30.0])
    def test_alone_it_never_moves_the_expectation_away(self, catalogue, age):
        """Even long before set, where no strength is expected at all."""
        one = self.seen(catalogue, replace(PLAIN, demold=age))
        assert one.after < one.before
        assert not one.worse

    def test_never_is_evidence_against_the_figures(self, catalogue):
        one = self.seen(catalogue, replace(self.LEAN, demold=75.0))
        assert one.before == math.inf
        assert one.after < math.inf
        assert one.enough[1] > one.enough[0]

    def test_what_pulled_it_away_is_named(self, catalogue):
        one = self.seen(catalogue, replace(PLAIN, initial_set=18.0, final_set=52.0), "initial_set")
        assert one.worse
        assert [(pull.trial, pull.kind) for pull in one.pulled] == [("x", "final_set")]

    def test_a_first_possible_time_counts_on_both_sides(self, catalogue):
        late = {"demold": 90.0}
        waited = self.seen(catalogue, replace(PLAIN, **late))
        tried = self.seen(catalogue, replace(PLAIN, demold_first=90.0, **late))
        # by then it was ready: the late ages that were feared are out, and the mean of the rest is less
        assert 0.8 * waited.before < waited.after < waited.before
        assert tried.before < 50.0 < 1.15 * tried.before < tried.after < 90.0
        assert tried.reading.side == 0

    def test_a_first_possible_time_as_expected_moves_nothing(self, catalogue):
        time = self.seen(catalogue, replace(PLAIN, demold=60.0)).before
        one = self.seen(catalogue, replace(PLAIN, demold_first=time))
        assert one.after == pytest.approx(time, rel=1e-3)

    @pytest.mark.parametrize("age", [12.0, 19.0, 45.0, 90.0])
    def test_a_first_possible_time_is_what_is_predicted_then(self, catalogue, age):
        """Figures and discrepancy both move the way the reading points (own arithmetic)."""
        parts = (Portion("gypsum_cement", 380.0), Portion("white_csa_cement", 620.0))
        fit = calibrate([replace(PLAIN, portions=parts, water=457.0, demold_first=age)], catalogue)
        one = next(each for each in fit.seen if each.reading.kind == "demold")
        assert one.after == pytest.approx(age, rel=0.05)
        assert learned(fit, "discrepancy.demold_time.0").center * (age - one.before) > 0.0

    def test_a_time_that_is_never_expected_is_not_in_the_agreement(self, catalogue):
        weak = Strength(15.0, age=10_080.0, state="dry", method="cube")
        fit = calibrate([replace(self.LEAN, demold_first=75.0, strengths=(weak,))], catalogue, self.THIN)
        assert [one.kind for one in agreement(fit)] == ["dry_strength"]


class TestSealing:
    """Water soaked up and coats counted teach two figures: what the pores drink, and what a coat leaves."""

    def test_a_count_beside_a_soaked_piece_teaches_what_a_coat_leaves(self, catalogue):
        """Two coats where three were expected, against integration over prior and count (own arithmetic).

        A piece is soaked as expected, known within 2 % and 2 % of batch. Two coats down to 3 % leave as much
        of it each; the shop states 0.45, the prior of their ratio is 0.667 to 1.333, and a count errs by a
        tenth of a coat.
        """
        soaked, ratio = self.sealed(catalogue)
        bound = math.log(0.03 / soaked) / 2.0 - math.log(0.45)
        assert bound < 0.0
        axis = np.linspace(-2.0, 1.0, 30_001)
        error = math.sqrt(0.08**2 + 0.02**2 + 0.02**2 + 0.02**2) / 2.0
        density = norm.pdf(axis, 0.0, math.log(1.333 / 0.667) / 3.29) * norm.cdf((bound - axis) / error)
        density /= density.sum()
        mean = float(axis @ density)
        spread = math.sqrt(float((axis - mean) ** 2 @ density))
        assert ratio.center == pytest.approx(mean, abs=0.01)
        assert ratio.spread == pytest.approx(spread, rel=0.1)

    def sealed(self, catalogue):
        """Return what a piece soaks up as expected, and what two coats on it teach of a coat."""
        guessed = calibrate([replace(PLAIN, absorption=0.2)], catalogue)
        soaked = next(one.before for one in guessed.seen if one.reading.kind == "absorption")
        trial = replace(PLAIN, absorption=soaked, absorption_error=0.02 * soaked, coats=2)
        return soaked, learned(calibrate([trial], catalogue), "coat_error")

    def test_a_count_alone_tells_less_of_a_coat(self, catalogue):
        alone = learned(calibrate([replace(PLAIN, coats=2)], catalogue), "coat_error")
        assert alone.spread > self.sealed(catalogue)[1].spread


def test_masses_of_the_vessels_own_mold_teach_what_it_holds(catalogue):
    """A mold of another volume tells nothing of how far the vessel's is off (own arithmetic)."""
    heavy = replace(PLAIN, cavity_volume=215.0, weighings=(Weighing(0.0, 430.0),))
    own, other = (calibrate([heavy], catalogue, Studio(vessel=Vessel(size))) for size in (215.0, 190.0))
    assert learned(own, "cavity").center > 0.0
    assert learned(own, "cavity").spread < learned(own, "cavity").prior_spread
    assert "cavity" not in {one.name for one in other.calibration.learned}


class TestUndo:
    """A calibration is a function of the book."""

    def test_order_of_entry_does_not_show(self, catalogue, trials):
        assert calibration_text(calibrate(trials, catalogue).calibration) == calibration_text(
            calibrate(trials[::-1], catalogue).calibration
        )

    def test_taking_a_trial_out_restores_the_former_state(self, catalogue, trials):
        day = dt.date(2026, 11, 25)
        former = calibration_text(calibrate(trials[:5], catalogue, date=day).calibration)
        grown = calibration_text(calibrate(trials, catalogue, date=day).calibration)
        again = calibration_text(calibrate(trials[:5], catalogue, date=day).calibration)
        assert grown != former
        assert again == former

    def test_one_by_one_ends_where_all_at_once_ends(self, catalogue, trials):
        growing: list[Trial] = []
        for trial in trials:
            growing.append(trial)
            last = calibrate(growing, catalogue).calibration
        whole = calibrate(trials, catalogue).calibration
        for one, other in zip(last.learned, whole.learned, strict=True):
            assert (one.center, one.spread) == pytest.approx((other.center, other.spread), abs=1e-6)
        assert last.correlation == pytest.approx(whole.correlation, abs=1e-6)

    def test_the_inputs_are_left_as_they_were(self, catalogue, trials):
        before = tuple(trials)
        calibrate(trials, catalogue)
        assert tuple(trials) == before


class TestOutliers:
    """Wild readings are named and hardly count."""

    def test_one_wild_trial_is_flagged_not_swallowed(self, catalogue, trials):
        wild = tuple(replace(one, value=3.0 * one.value) for one in trials[2].strengths)
        spoiled = [*trials[:2], replace(trials[2], strengths=wild), *trials[3:]]
        clean, fit = calibrate(trials, catalogue), calibrate(spoiled, catalogue)
        assert {one.trial for one in fit.calibration.flagged} == {trials[2].id}
        assert len(fit.calibration.trials) == len(trials), "kept in the book and in the count"
        shift = abs(
            learned(fit, "gypsum_cement.strength").center - learned(clean, "gypsum_cement.strength").center
        )
        assert shift < 0.5 * learned(clean, "gypsum_cement.strength").spread

    def test_ordinary_scatter_is_rarely_flagged(self, catalogue):
        flagged = readings = 0
        for seed in range(6):
            world = World(catalogue, 300 + seed)
            fit = calibrate([world.trial(number) for number in range(8)], catalogue)
            flagged += len(fit.calibration.flagged)
            readings += len(fit.seen)
        assert flagged <= 0.01 * readings

    def test_the_other_readings_of_a_wild_trial_still_count(self, catalogue, trials):
        wild = tuple(replace(one, value=3.0 * one.value) for one in trials[2].strengths)
        fit = calibrate([*trials[:2], replace(trials[2], strengths=wild), *trials[3:]], catalogue)
        trust = {one.reading.kind: one.trust for one in fit.seen if one.reading.trial == trials[2].id}
        assert trust["dry_strength"] < 0.1
        assert trust["initial_set"] > 0.3


class TestBags:
    """Lots beside each other."""

    def lots(self, trials, names):
        return [
            replace(
                trial,
                portions=tuple(
                    replace(p, lot=lot if p.material == "gypsum_cement" else "") for p in trial.portions
                ),
            )
            for trial, lot in zip(trials, names, strict=True)
        ]

    def test_one_lot_has_no_effect_of_its_own(self, catalogue, trials):
        same = self.lots(trials, ["G1"] * 6)
        assert calibrate(same, catalogue).calibration.bags == ()
        assert calibration_text(calibrate(same, catalogue).calibration) == calibration_text(
            calibrate(trials, catalogue).calibration
        )

    def test_a_weak_bag_is_told_from_a_strong_one(self, catalogue):
        world = World(catalogue, 11)  # its own errors of reading, whatever other tests have drawn
        truth = world.truth()
        place = world.prior.names.index("gypsum_cement.strength")
        found = []
        for number in range(10):
            there = truth.copy()
            there[place] += 0.6 if number % 2 else -0.6
            one = blank(number, PURE, 0.33, {"gypsum_cement": "strong" if number % 2 else "weak"})
            found += filled([one], catalogue, world.prior, there, world.rng)
        fit = calibrate(found, catalogue)
        factor = {bag.lot: bag.factor for bag in fit.calibration.bags if bag.figure == "strength"}
        assert factor["strong"] > 1.03 > 0.97 > factor["weak"]
        # 1.2 spreads apart, of a strength from 20 to 30 MPa at its 5 and 95 % points: a factor of 1.16
        apart = (30.0 / 20.0) ** (1.2 / (2.0 * 1.645))
        assert factor["strong"] / factor["weak"] == pytest.approx(apart, rel=0.06)
        assert not fit.calibration.flagged

    def test_the_next_bag_stays_unknown(self, catalogue):
        """Two lots known to a percent: their mean is known to 0.7 of a lot's spread, the next lot to 1.2."""
        exact = tuple(Strength(25.0, 1440.0, "wet", "compressive", "test house", "=", 0.01) for _ in range(9))
        lots = ("G1", "G2")
        many = [
            replace(
                PLAIN,
                id=str(number),
                portions=(Portion("gypsum_cement", 300.0, lots[number % 2]),),
                water=98.7,
                strengths=exact,
            )
            for number in range(60)
        ]
        one_lot = [replace(one, portions=PLAIN.portions) for one in many]
        spread = self.of_a_bag(catalogue)
        assert self.of_this_blend(many, catalogue) == pytest.approx(
            spread * BAG["strength"] * math.sqrt(1.5), rel=0.1
        )
        assert self.of_this_blend(one_lot, catalogue) < 0.25 * spread

    def of_this_blend(self, trials, catalogue):
        """Return the spread of the log of wet strength of the blend the trials are of, in a next bag."""
        told = parameter_set(calibrate(trials, catalogue).calibration, catalogue, ("gypsum_cement",))
        return float(np.std(self.log_strength(catalogue, told, told.draws(4000, 1))))

    def of_a_bag(self, catalogue):
        """Return what one unit of the binder's strength is worth in the log of this blend's."""
        prior = parameters_of(catalogue, ("gypsum_cement",))
        moved = np.stack([prior.centers, prior.centers])
        moved[1, prior.names.index("gypsum_cement.strength")] += 1.0
        return float(np.diff(self.log_strength(catalogue, prior, moved))[0])

    def log_strength(self, catalogue, parameters, fitted):
        none = np.zeros((len(fitted), len(DISCREPANT)))
        model = compile_model(catalogue, ("gypsum_cement",), parameters, fitted, none)
        mix = per_liter(compile_model(catalogue, ("gypsum_cement",)), np.ones((1, 1)), np.array([98.7 / 300]))
        return np.log(PREDICTORS["wet_strength"](cast_of(model, BENCH, mix))[:, 0])


class TestHalfFilled:
    """A half-filled trial teaches what it can."""

    @pytest.mark.parametrize(
        ("reading", "figure"),
        [
            ({"initial_set": 15.0}, "gypsum_cement.set_time"),
            ({"window_end": 9.0}, "gypsum_cement.set_time"),
            ({"fresh_density": 1.80}, "air"),
            ({"whiteness": 90.0}, "gypsum_cement.reflectance"),
            ({"strengths": (Strength(30.0, None, "dry"),)}, "gypsum_cement.strength"),
            ({"weighings": (Weighing(0, 400.0),), "cavity_volume": 215.0}, "air"),
            ({"weighings": (Weighing(0, 400.0), Weighing(2, 355.0), Weighing(3, 355.0))}, "loss_in_mold"),
        ],
        ids=["set", "window", "density", "whiteness", "dry strength", "mold mass", "dry share"],
    )
    def test_one_reading_teaches_its_figure(self, catalogue, reading, figure):
        fit = calibrate([replace(PLAIN, **reading)], catalogue)
        one = learned(fit, figure)
        assert one.spread < one.prior_spread
        assert one.trials == 1

    def test_what_is_missing_is_said(self, catalogue, trials):
        odd = [
            replace(PLAIN, id="no water", water=None, initial_set=15.0),
            Trial(dt.date(2026, 3, 1), "no spec", (Portion("moon_dust", 3.0),), 1.0, initial_set=15.0),
            replace(PLAIN, id="no state", strengths=(Strength(30.0, 60.0),)),
            Trial(dt.date(2026, 3, 1), "no binder", (Portion("marble_flour", 3.0),), 1.0, initial_set=15.0),
            replace(PLAIN, id="no reading"),
        ]
        fit = calibrate([*trials, *odd], catalogue)
        said = {one.trial: one.reason for one in fit.evidence.unused}
        assert "weigh the water" in said["no water"]
        assert "moon_dust" in said["no spec"]
        assert "binder" in said["no binder"]
        assert said["no reading"] == "nothing was measured"
        assert fit.calibration.trials == calibrate(trials, catalogue).calibration.trials

    def test_a_book_without_a_reading_gives_no_verdict(self, catalogue):
        with pytest.raises(NoVerdict, match="the book is empty"):
            calibrate([], catalogue)


class TestParameters:
    """What the chain is handed."""

    def test_only_what_the_trials_touch_is_moved(self, catalogue, trials):
        kept = calibrate(trials, catalogue).calibration
        names = (*NAMES, "white_csa_cement")
        told, prior = parameter_set(kept, catalogue, names), parameters_of(catalogue, names)
        assert told.names[: len(prior)] == prior.names
        assert all(name.startswith("discrepancy.") for name in told.names[len(prior) :])
        for one, other in zip(told, prior, strict=False):
            if one.name.startswith("white_csa_cement."):
                assert one == other
        assert told.origin["gypsum_cement.strength"] == 6
        assert "white_csa_cement.strength" not in told.origin

    def test_covariance_is_one(self, catalogue, trials):
        told = parameter_set(calibrate(trials, catalogue).calibration, catalogue, NAMES)
        assert np.linalg.eigvalsh(told.covariance()).min() > -1e-12

    def test_figures_that_changed_since_ask_for_a_new_fit(self, catalogue, trials):
        kept = calibrate(trials, catalogue).calibration
        density = replace(catalogue["gypsum_cement"].figures["density"], value=2.70)
        figures = {**catalogue["gypsum_cement"].figures, "density": density}
        other = replace(
            catalogue,
            materials={
                **catalogue.materials,
                "gypsum_cement": replace(catalogue["gypsum_cement"], figures=figures),
            },
        )
        with pytest.raises(FileFaults, match="Fit the trials again"):
            parameter_set(kept, other, NAMES)


@pytest.mark.slow
def test_two_hundred_trials_within_a_second(catalogue):
    """On a machine of its own; processor time, so that a busy one does not fail it."""
    world = World(catalogue, 5)
    many = [world.trial(number) for number in range(200)]
    start = time.process_time()
    fit = calibrate(many, catalogue)
    assert len(fit.calibration.trials) == 200
    assert time.process_time() - start < 2.0
