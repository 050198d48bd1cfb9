"""The reactions as data: balance, water, solid growth."""

from __future__ import annotations

import pytest

from optimizer.constants import FORMULAS, MOLAR_MASSES, MOLAR_VOLUMES
from optimizer.properties.reactions import REACTIONS, imbalance, reactions, water_per_gram


@pytest.mark.parametrize("name", REACTIONS)
def test_every_reaction_balances_in_every_element(name):
    assert reactions()[name] == REACTIONS[name]
    assert all(abs(moles) < 1e-9 for moles in imbalance(reactions()[name]).values())


@pytest.mark.parametrize("name", REACTIONS)
def test_every_reaction_keeps_mass(name):
    moved = [moles * MOLAR_MASSES[phase] for phase, moles in REACTIONS[name].items()]
    assert sum(moved) == pytest.approx(0.0, abs=1e-9 * sum(map(abs, moved)))


def test_a_wrong_coefficient_shows_in_the_balance():
    assert imbalance({**REACTIONS["R2"], "water": -17})["H"] == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("name", "moles"),
    [("R1h", 37), ("R1g", 34), ("R1a", 38), ("R2", 18), ("R3", 1.5), ("R4", 16), ("R5", 86), ("R6", 5)],
    ids=lambda value: f"{value}-Glasser-Zhang-2001-from-memory",
)
def test_water_of_reaction(name, moles):
    assert -REACTIONS[name]["water"] == moles


@pytest.mark.parametrize(
    ("name", "phase", "water"),
    [
        ("R1h", "yeelimite", 1.0923),
        ("R1g", "yeelimite", 1.0037),
        ("R1a", "yeelimite", 1.1218),
        ("R2", "yeelimite", 0.5314),
        ("R3", "hemihydrate", 0.18617),
        ("R5", "yeelimite", 2.5388),
        ("R6", "belite", 0.5230),
    ],
    ids=lambda value: f"{value}-own-arithmetic",
)
def test_water_per_gram(name, phase, water):
    assert water_per_gram(REACTIONS[name], phase) == pytest.approx(water, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "ratio"),
    [("R1h", 2.457), ("R1g", 2.175), ("R2", 1.867), ("R3", 1.419), ("R4", 1.539)],
    ids=lambda value: f"{value}-Cemdata18-own-arithmetic",
)
def test_solids_swell_by_the_ratio_of_molar_volumes(name, ratio):
    volumes = {**MOLAR_VOLUMES, "hemihydrate": MOLAR_VOLUMES["hemihydrate_alpha"], "gypsum": 74.69}
    solids = {phase: moles for phase, moles in REACTIONS[name].items() if phase != "water"}
    formed = sum(moles * volumes[phase] for phase, moles in solids.items() if moles > 0)
    used = -sum(moles * volumes[phase] for phase, moles in solids.items() if moles < 0)
    assert formed / used == pytest.approx(ratio, rel=0.003)


@pytest.mark.parametrize(
    ("name", "change", "percent"),
    [
        ("R1h", -173.5, -17.2),
        ("R1g", -163.4, -16.4),
        ("R2", -121.8, -21.8),
        ("R3", -5.06, -6.3),
        ("R4", -41.5, None),
    ],
    ids=lambda value: f"{value}-Cemdata18-own-arithmetic",
)
def test_solids_and_water_together_shrink(name, change, percent):
    """Molar volumes of the data file, water at 25 degC."""
    volumes = {
        **MOLAR_VOLUMES,
        "hemihydrate": MOLAR_VOLUMES["hemihydrate_alpha"],
        "gypsum": 74.69,
        "water": 18.068,
    }
    moved = {phase: moles * volumes[phase] for phase, moles in REACTIONS[name].items()}
    assert sum(moved.values()) == pytest.approx(change, rel=0.003)
    if percent is not None:
        used = -sum(volume for volume in moved.values() if volume < 0.0)
        assert 100.0 * sum(moved.values()) / used == pytest.approx(percent, abs=0.1)


def test_clinker_sulfate_bounds_its_yeelimite():
    """Li et al. 2018, CCR 108:103, table 1: 9.7 % SO3 by analysis, 69.5 % ye'elimite by X-ray."""
    trioxide = MOLAR_MASSES["anhydrite"] - 40.078 - 15.999
    bound = 0.097 / (trioxide / MOLAR_MASSES["yeelimite"])
    assert bound == pytest.approx(0.739, abs=0.001)
    assert bound == pytest.approx(0.695, rel=0.08)


def test_formulas_name_only_known_elements():
    assert {element for formula in FORMULAS.values() for element in formula} <= set(
        ["H", "C", "O", "Al", "Si", "S", "Ca", "Fe"]
    )
