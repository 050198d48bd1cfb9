"""The linear tables of the chain equal the stand-alone hydration of any mix."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.constants import MOLAR_MASSES, MOLAR_VOLUMES
from optimizer.properties.hydration import hydrate
from tests.property_model.helpers import EVERYTHING, all_materials, cast

SHARES = st.lists(st.floats(0.0, 1.0), min_size=5, max_size=5).filter(lambda x: sum(x) > 0.1)


def phase_masses(catalogue, mix):
    out = dict.fromkeys(("yeelimite", "hemihydrate", "anhydrite"), 0.0)
    for name, mass in zip(EVERYTHING, mix[:-1], strict=True):
        phases = catalogue[name].phases
        out["yeelimite"] += mass * phases.get("yeelimite", 0.0)
        out["anhydrite"] += mass * phases.get("anhydrite", 0.0)
        out["hemihydrate"] += mass * (
            phases.get("hemihydrate_alpha", 0.0) + phases.get("hemihydrate_beta", 0.0)
        )
    return out


@given(SHARES, st.floats(0.5, 1.0))
def test_hydrates_and_bound_water_agree(catalogue, demo, parts, water):
    problem = all_materials(demo, catalogue)
    there = cast(problem, dict(zip(EVERYTHING, parts, strict=False)), water)
    masses = phase_masses(catalogue, there.mixes[0])
    alone = hydrate(
        masses["yeelimite"],
        masses["hemihydrate"],
        masses["anhydrite"],
        0.0,
        0.0,
        there.mixes[0, -1],
        float(problem.model["yeelimite_degree"]),
    )
    assert there.body["bound"][0] == pytest.approx(float(alone.bound_water), rel=1e-9)
    assert there.body["ettringite_mass"][0] == pytest.approx(float(alone.ettringite), rel=1e-9, abs=1e-12)
    assert there.body["monosulfate_mass"][0] == pytest.approx(float(alone.monosulfate), rel=1e-9, abs=1e-12)
    hydrates = ("gypsum", "ettringite", "monosulfate", "aluminum_hydroxide")
    total = sum(float(getattr(alone, name)) * MOLAR_VOLUMES[name] / MOLAR_MASSES[name] for name in hydrates)
    assert there.body.hydrates[0] == pytest.approx(total, rel=1e-9)


@given(SHARES)
def test_the_liter_is_full(catalogue, demo, parts):
    """Powders, water and air fill the liter; mass is kept from slurry to body."""
    problem = all_materials(demo, catalogue)
    there = cast(problem, dict(zip(EVERYTHING, parts, strict=False)))
    air = float(problem.model["air"])
    assert there.body["volume"][0] + air == pytest.approx(1.0, abs=1e-12)
    free = there.body["water"][0] - there.body["bound"][0]
    assert there.body["dry"][0] + free == pytest.approx(there.fresh_density[0], rel=1e-12)
    assert there.body["dry"][0] <= there.dry_density[0]
    assert there.dry_density[0] <= there.body["dry"][0] + there.body["moisture"][0] + 1e-12


def test_gypsum_bound_water_is_stoichiometric(catalogue, demo):
    """0.1862 g per g hemihydrate (atomic weights, IUPAC abridged), times the purity of the powder."""
    problem = all_materials(demo, catalogue)
    there = cast(problem, {"gypsum_cement": 1.0})
    purity = catalogue["gypsum_cement"].phases["hemihydrate_alpha"]
    ratio = there.body["bound"][0] / there.body["powder"][0]
    assert ratio == pytest.approx(0.18617 * purity, rel=2e-4)


def test_amounts_are_linear_within_a_regime(catalogue, demo):
    problem = all_materials(demo, catalogue)
    ends = [cast(problem, b, 0.5) for b in ({"gypsum_cement": 1.0}, {"gypsum_cement": 6, "csa_cement": 4})]
    middle = ends[0].mixes * 0.5 + ends[1].mixes * 0.5
    table = problem.model.tables["excess"]
    assert middle @ table == pytest.approx(0.5 * (ends[0].mixes @ table) + 0.5 * (ends[1].mixes @ table))
    assert MOLAR_MASSES["water"] == pytest.approx(18.015, abs=1e-3)
    assert np.all(np.isfinite(table))
