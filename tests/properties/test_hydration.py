"""Hydration of any mix: worked tables, balances, invariants, and the cusp at full ettringite."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_rows import reference_rows

from optimizer.constants import FORMULAS, MOLAR_MASSES
from optimizer.properties.hydration import (
    NO_YEELIMITE,
    hydrate,
)

MASSES = ("ettringite", "monosulfate", "gypsum", "aluminum_hydroxide", "bound_water")
amount = st.one_of(st.just(0.0), st.floats(1e-6, 1e3))
mix = st.tuples(amount, amount, amount, amount, amount, amount)


def blend(yeelimite, anhydrite, hemihydrate, water):
    """One hundred grams of a cement with `hemihydrate` percent of hemihydrate."""
    cement = 100.0 - hemihydrate
    return hydrate(yeelimite * cement, hemihydrate, anhydrite * cement, 0.0, 0.0, water)


@pytest.mark.parametrize("row", reference_rows("hydration_yeelimite_hemihydrate.csv"))
def test_yeelimite_with_hemihydrate_own_arithmetic(row):
    found = blend(1.0, 0.0, row["hemihydrate"], 200.0)
    for name in MASSES:
        assert getattr(found, name) == pytest.approx(row[name], abs=0.01)
    assert found.sulfate_ratio == pytest.approx(row["sulfate_ratio"], abs=0.003)
    assert found.full_demand == pytest.approx(row["bound_water"], abs=0.01)


@pytest.mark.parametrize("row", reference_rows("hydration_model_cement.csv"))
def test_model_cement_with_hemihydrate_own_arithmetic(row):
    found = blend(0.50, 0.15, row["hemihydrate"], 200.0)
    for name in MASSES:
        assert getattr(found, name) == pytest.approx(row[name], abs=0.01)
    assert found.sulfate_ratio == pytest.approx(row["sulfate_ratio"], abs=0.008)


@pytest.mark.parametrize(
    ("hemihydrate", "demand", "ettringite"),
    [(0.0, 31.82, 55.32), (5.0, 32.55, 58.62), (50.0, 25.95, 30.85)],
    ids=["neat-own-arithmetic", "5-percent-own-arithmetic", "half-own-arithmetic"],
)
def test_belite_rich_cement(hemihydrate, demand, ettringite):
    found = blend(0.30, 0.12, hemihydrate, 100.0)
    assert found.full_demand == pytest.approx(demand, abs=0.01)
    assert found.ettringite == pytest.approx(ettringite, abs=0.01)


def test_lime_worked_example_own_arithmetic():
    found = hydrate(60.0, 30.0, 0.0, 0.0, 10.0, 200.0)
    assert found.ettringite == pytest.approx(101.473, abs=0.01)
    assert found.monosulfate == pytest.approx(38.882, abs=0.01)
    assert found.aluminum_hydroxide == pytest.approx(23.658, abs=0.01)
    assert found.bound_water == pytest.approx(64.014, abs=0.01)
    assert found.gypsum == 0.0
    assert found.lime == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("ratio", "hemihydrate", "gypsum", "anhydrite"),
    [
        (1.0, 0.2378, 0.2821, 0.2231),
        (1.5, 0.3568, 0.4232, 0.3346),
        (2.0, 0.4757, 0.5643, 0.4462),
        (2.5, 0.5946, 0.7053, 0.5577),
    ],
    ids=lambda value: f"own-arithmetic-{value}",
)
def test_sulfate_ratio_by_source_of_sulfate(ratio, hemihydrate, gypsum, anhydrite):
    for given_sulfate in ((hemihydrate, 0.0, 0.0), (0.0, anhydrite, 0.0), (0.0, 0.0, gypsum)):
        found = hydrate(1.0, *given_sulfate, 0.0, 3.0)
        assert found.sulfate_ratio == pytest.approx(ratio, abs=5e-4)


def test_hemihydrate_per_yeelimite_at_full_ettringite_own_arithmetic():
    assert 2.0 * MOLAR_MASSES["hemihydrate"] / MOLAR_MASSES["yeelimite"] == pytest.approx(0.47570, abs=1e-4)


@pytest.mark.parametrize(("yeelimite", "anhydrite"), [(1.0, 0.0), (0.5, 0.15), (0.3, 0.12)])
def test_water_demand_peaks_at_full_ettringite(yeelimite, anhydrite):
    shares = np.linspace(0.0, 0.6, 601)
    cement = 1.0 - shares
    demand = hydrate(yeelimite * cement, shares, anhydrite * cement, 0.0, 0.0, 2.0).full_demand
    need = 2.0 * yeelimite / MOLAR_MASSES["yeelimite"] - anhydrite / MOLAR_MASSES["anhydrite"]
    full = need / (need + 1.0 / MOLAR_MASSES["hemihydrate"])
    assert shares[np.argmax(demand)] == pytest.approx(full, abs=1e-3)


def elements(amounts):
    """Atoms by element in masses by phase [mol]."""
    total = {}
    for phase, mass in amounts.items():
        for element, count in FORMULAS[phase].items():
            total[element] = total.get(element, 0.0) + count * mass / MOLAR_MASSES[phase]
    return total


@given(mix)
def test_no_atom_is_lost_or_made(amounts):
    phases = ("yeelimite", "hemihydrate", "anhydrite", "gypsum", "lime", "water")
    before = dict(zip(phases, amounts, strict=True))
    found = hydrate(*amounts)
    after = {
        **{phase: getattr(found, phase) for phase in phases[:-1]},
        **{phase: getattr(found, phase) for phase in MASSES[:-1]},
        "water": amounts[-1] - found.bound_water,
    }
    left, right = elements(before), elements(after)
    scale = max(sum(left.values()), 1e-30)
    assert max(abs(left[element] - right[element]) for element in left) < 1e-9 * scale
    assert sum(after.values()) == pytest.approx(sum(amounts), rel=1e-9)


def complete_reaction(yeelimite, sulfate, lime):
    """Moles of ettringite, monosulfate, gypsum and aluminum hydroxide, one rule after the other."""
    limed = min(yeelimite, lime / 6, sulfate / 8)
    yeelimite, sulfate = yeelimite - limed, sulfate - 8 * limed
    early = min(yeelimite, sulfate / 2)
    return 3 * limed + early, yeelimite - early, sulfate - 2 * early, 2 * yeelimite


@given(mix)
def test_with_water_enough_the_rules_run_one_after_the_other_own_arithmetic(amounts):
    phases = ("yeelimite", "hemihydrate", "anhydrite", "gypsum", "lime")
    moles = [mass / MOLAR_MASSES[phase] for mass, phase in zip(amounts[:5], phases, strict=True)]
    expected = complete_reaction(moles[0], sum(moles[1:4]), moles[4])
    found = hydrate(*amounts[:5], 10.0 * sum(amounts) + 1.0)
    for name, wanted in zip(MASSES[:4], expected, strict=True):
        assert getattr(found, name) / MOLAR_MASSES[name] == pytest.approx(wanted, rel=1e-9, abs=1e-12)


@given(mix)
def test_hydrates_keep_their_bounds(amounts):
    found = hydrate(*amounts)
    scale = sum(amounts) + 1e-30
    assert found.monosulfate * found.gypsum == 0.0
    assert 0.0 <= found.degree <= 1.0
    assert 0.0 <= found.hemihydrate_degree <= 1.0
    for name in (*MASSES, "yeelimite", "hemihydrate", "anhydrite", "lime"):
        assert getattr(found, name) >= -1e-12 * scale
    assert found.bound_water <= min(amounts[-1], found.full_demand) + 1e-9 * scale


@given(mix)
def test_water_short_of_the_demand_is_all_bound(amounts):
    found = hydrate(*amounts)
    scale = sum(amounts) + 1e-30
    assert found.bound_water == pytest.approx(min(amounts[-1], found.full_demand), abs=1e-9 * scale)


@given(mix, st.floats(1.0, 2.0))
def test_more_water_never_hydrates_less(amounts, factor):
    wetter = hydrate(*amounts[:-1], factor * amounts[-1])
    assert wetter.degree >= hydrate(*amounts).degree - 1e-12


@given(st.tuples(amount, amount, amount, amount, amount), st.floats(1e-3, 1e3))
def test_the_unit_of_mass_does_not_matter(amounts, factor):
    one = hydrate(*amounts[:4], 0.0, amounts[4])
    other = hydrate(*(factor * mass for mass in amounts[:4]), 0.0, factor * amounts[4])
    assert other.bound_water == pytest.approx(factor * one.bound_water, rel=1e-9, abs=1e-150)


def test_hemihydrate_takes_its_water_first():
    found = hydrate(50.0, 50.0, 0.0, 0.0, 0.0, 0.18618 * 50.0)
    assert found.hemihydrate == pytest.approx(0.0, abs=1e-3)
    assert found.yeelimite == pytest.approx(50.0, abs=1e-2)


def test_ettringite_comes_before_monosulfate_when_water_runs_short():
    found = hydrate(90.0, 10.0, 0.0, 0.0, 0.0, 15.0)
    assert found.monosulfate == 0.0
    assert found.gypsum > 0.0
    assert found.ettringite > 0.0


def test_sulfate_ratio_without_yeelimite_is_finite():
    assert hydrate(0.0, 1.0, 0.0, 0.0, 0.0, 1.0).sulfate_ratio == NO_YEELIMITE
    assert hydrate(0.0, 0.0, 0.0, 0.0, 0.0, 1.0).sulfate_ratio == 0.0


def test_arrays_agree_with_one_mix_at_a_time():
    rng = np.random.default_rng(7)
    mixes = rng.random((6, 3, 40))
    together = hydrate(*mixes)
    apart = hydrate(*(float(values[2, 5]) for values in mixes))
    assert together.ettringite.shape == (3, 40)
    assert together.ettringite[2, 5] == pytest.approx(apart.ettringite, rel=1e-12)
    assert together.bound_water[2, 5] == pytest.approx(apart.bound_water, rel=1e-12)
