"""Late ettringite in damp: potential and class."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.constants import MOLAR_MASSES
from optimizer.job import DAMP_CLASSES
from optimizer.properties.hydration import (
    GROWTH_PER_MOLE,
    damp_class,
    damp_margins,
    hydrate,
    late_ettringite_potential,
)

BULK = 70.16
PORES = 0.125
LOW, MEDIUM, HIGH = (DAMP_CLASSES.index(word) for word in ("low", "medium", "high"))


def cement(hemihydrate, water, lime=0.0):
    """One hundred grams of the model cement with hemihydrate."""
    share = 100.0 - hemihydrate
    return hydrate(0.50 * share, hemihydrate, 0.15 * share, 0.0, lime, water)


def classed(body, porosity=PORES, **service):
    return int(damp_class(body, late_ettringite_potential(body, BULK), porosity, **service))


def test_growth_of_solids_cemdata18_own_arithmetic():
    assert pytest.approx(450.9, rel=0.003) == GROWTH_PER_MOLE


def test_potential_of_a_mix_short_of_water_own_arithmetic():
    body = cement(20.0, 35.0)
    assert body.degree == pytest.approx(0.722, abs=0.001)
    assert body.given_yeelimite / MOLAR_MASSES["yeelimite"] == pytest.approx(0.06555, abs=1e-5)
    assert late_ettringite_potential(body, BULK) == pytest.approx(0.117, abs=0.002)


def test_potential_needs_sulfate_left_over():
    assert late_ettringite_potential(hydrate(100.0, 0.0, 0.0, 0.0, 0.0, 20.0), BULK) == 0.0


def test_potential_stops_where_the_sulfate_left_over_is_used_up():
    """Two moles of calcium sulfate per mole of ye'elimite: Glasser and Zhang 2001 (from memory)."""
    body = hydrate(90.0, 10.0, 0.0, 0.0, 0.0, 15.0)
    sulfate = body.gypsum / MOLAR_MASSES["gypsum"]
    assert body.yeelimite / MOLAR_MASSES["yeelimite"] > sulfate
    assert late_ettringite_potential(body, BULK) == pytest.approx(GROWTH_PER_MOLE * sulfate / 2.0 / BULK)


def test_nothing_is_left_to_expand_with_water_enough():
    assert late_ettringite_potential(cement(20.0, 60.0), BULK) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("body", "service", "expected"),
    [
        pytest.param(cement(20.0, 35.0), {}, HIGH, id="short-of-water-in-damp"),
        pytest.param(cement(20.0, 60.0), {}, MEDIUM, id="sulfate-in-excess-in-damp"),
        pytest.param(cement(0.0, 60.0), {}, LOW, id="cement-alone-as-supplied"),
        pytest.param(cement(3.0, 60.0), {}, MEDIUM, id="monosulfate-beside-added-hemihydrate"),
        pytest.param(cement(0.0, 60.0, 5.0), {}, LOW, id="lime-without-hemihydrate"),
        pytest.param(cement(20.0, 60.0, 5.0), {}, MEDIUM, id="lime-with-hemihydrate-Telesca-2013"),
        pytest.param(cement(96.0, 60.0), {}, LOW, id="nearly-pure-gypsum"),
        pytest.param(cement(100.0, 60.0), {}, LOW, id="pure-gypsum"),
        pytest.param(cement(93.0, 60.0), {"hemihydrate_share": 0.93}, MEDIUM, id="share-of-binder-stated"),
    ],
)
def test_damp_class_judgement(body, service, expected):
    assert classed(body, **service) == expected


def test_more_pores_take_up_the_growth():
    body = cement(20.0, 35.0)
    assert classed(body, porosity=0.20) == HIGH
    assert classed(body, porosity=0.30) == MEDIUM


def test_classes_of_many_mixes():
    share = np.array([0.0, 20.0, 100.0])
    body = hydrate(0.5 * (100.0 - share), share, 0.15 * (100.0 - share), 0.0, 0.0, 35.0)
    potential = late_ettringite_potential(body, BULK)
    assert damp_class(body, potential, PORES).tolist() == [LOW, HIGH, LOW]


def test_margins_change_sign_where_the_class_steps():
    """Own arithmetic: the pores at which the growth takes half of them part medium from high."""
    body = cement(20.0, 35.0)
    potential = float(late_ettringite_potential(body, BULK))
    near = [damp_margins(body, potential, 2.0 * potential * x) for x in (0.999, 1.001, 2.0)]
    assert [float(high) for _, high in near] == pytest.approx([np.log(0.999), np.log(1.001), np.log(2.0)])
    assert all(float(medium) < 0.0 for medium, _ in near), "sulfate in excess is medium whatever the pores"
    assert [int(damp_class(body, potential, 2.0 * potential * x)) for x in (0.999, 1.001)] == [HIGH, MEDIUM]
