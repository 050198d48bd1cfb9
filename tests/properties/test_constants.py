"""Constants against figures printed outside the project."""

from __future__ import annotations

import pytest

from optimizer.constants import (
    MOLAR_MASSES,
    MOLAR_VOLUMES,
    MPA_PER_PSI,
    WATER_DENSITY,
    molar_mass,
)


@pytest.mark.parametrize(
    ("phase", "expected", "tolerance"),
    [
        pytest.param("hemihydrate", 145.2, 0.06, id="hemihydrate-NIOSH-npgd0518"),
        pytest.param("gypsum", 172.2, 0.06, id="gypsum-NIOSH-npgd0308"),
        pytest.param("water", 18.015, 0.001, id="water-IUPAC-from-memory"),
        pytest.param("anhydrite", 136.14, 0.01, id="anhydrite-Cemdata18"),
        pytest.param("yeelimite", 610.26, 0.02, id="yeelimite-Cemdata18"),
        pytest.param("ettringite", 1255.1, 0.05, id="ettringite-Cemdata18"),
        pytest.param("monosulfate", 622.52, 0.02, id="monosulfate-Cemdata18"),
        pytest.param("aluminum_hydroxide", 156.007, 0.005, id="aluminum-hydroxide-Cemdata18"),
        pytest.param("belite", 172.24, 0.01, id="belite-Cemdata18"),
        pytest.param("lime", 74.093, 0.005, id="slaked-lime-Cemdata18"),
    ],
)
def test_molar_mass(phase, expected, tolerance):
    assert MOLAR_MASSES[phase] == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("phase", "volume", "density", "tolerance"),
    [
        pytest.param("hemihydrate", "hemihydrate_alpha", 2.757, 0.01, id="alpha-from-memory"),
        pytest.param("hemihydrate", "hemihydrate_beta", 2.63, 0.01, id="beta-from-memory"),
        pytest.param("gypsum", "gypsum", 2.32, 0.01, id="gypsum-NIOSH-npgd0308"),
        pytest.param("yeelimite", "yeelimite", 2.61, 0.02, id="yeelimite-xray-from-memory"),
        pytest.param("anhydrite", "anhydrite", 2.97, 0.02, id="anhydrite-mineral-handbook-from-memory"),
        pytest.param("ettringite", "ettringite", 1.78, 0.02, id="ettringite-mineral-handbook-from-memory"),
        pytest.param("aluminum_hydroxide", "aluminum_hydroxide", 2.42, 0.03, id="gibbsite-from-memory"),
        pytest.param("lime", "lime", 2.24, 0.02, id="portlandite-from-memory"),
        pytest.param("water", "water", WATER_DENSITY, 1e-4, id="own-arithmetic"),
    ],
)
def test_molar_volume_gives_the_crystal_density(phase, volume, density, tolerance):
    assert MOLAR_MASSES[phase] / MOLAR_VOLUMES[volume] == pytest.approx(density, abs=tolerance)


@pytest.mark.parametrize(
    ("psi", "megapascals"),
    [
        pytest.param(3000.0, 20.684, id="ASTM-SI10-factor-from-memory"),
        pytest.param(1800.0, 12.41, id="ASTM-C59-casting-plaster"),
        pytest.param(2500.0, 17.24, id="UFGS-09210-base-coat"),
    ],
)
def test_pounds_per_square_inch(psi, megapascals):
    assert psi * MPA_PER_PSI == pytest.approx(megapascals, abs=0.005)


@pytest.mark.parametrize(
    ("lithium", "percent"),
    [(0.05, 0.185), (0.11, 0.406), (0.16, 0.591), (0.22, 0.813)],
    ids=lambda value: f"Materials-2020-13-3465-doses-own-arithmetic-{value}",
)
def test_lithium_carbonate_dose_by_lithium(lithium, percent):
    carbonate = molar_mass({"Li": 2, "C": 1, "O": 3})
    assert 100.0 * lithium * 1e-3 * carbonate / 2.0 == pytest.approx(percent, abs=0.001)
