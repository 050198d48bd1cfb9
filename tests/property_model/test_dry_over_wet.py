"""Strength dry over wet is drawn, also where a file states both strengths; own arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.materials import Catalogue
from optimizer.property_model.anchors import anchor_in
from optimizer.property_model.parameters import SPREAD_OF_RANGE, ln_spread, parameters_of
from optimizer.property_model.samples import PRINTED, standard_normals

PLASTERS = ("gypsum_cement", "molding_plaster")


def drawn(catalogue: Catalogue, name: str) -> dict[str, np.ndarray]:
    """Return draws of wet and dry strength at the reference mix and of their ratio, on the log."""
    known = parameters_of(catalogue, [name])
    moved = [item for item in known if item.name in (f"{name}.strength", f"{name}.dry_wet_ratio")]
    values = {
        item.name: item.natural(item.center + item.spread * standard_normals(PRINTED, [item.name])[:, 0])
        for item in moved
    }

    def lookup(key, default):
        figure = catalogue.model.get(key)
        return values.get(key, np.asarray(default if figure is None else figure.value, float))

    anchor = anchor_in(catalogue.materials, name, lookup)
    wet = anchor.ln_top + np.log(catalogue[name].reference_points[0].strength.value) - np.mean(anchor.ln_top)
    dry = anchor.ln_top + anchor.ln_dry_ratio
    return {"wet": wet, "dry": dry, "ratio": dry - wet}


def stated(catalogue: Catalogue, name: str) -> dict[str, object]:
    wet, dry = catalogue[name].reference_points
    return {"wet": wet.strength, "dry": dry.strength, "ratio": catalogue[name].figures["dry_wet_ratio"]}


@pytest.mark.parametrize("what", ["wet", "dry", "ratio"])
@pytest.mark.parametrize("name", PLASTERS)
def test_each_of_three_ranges_comes_out_as_stated(catalogue, name, what):
    draws, figure = drawn(catalogue, name)[what], stated(catalogue, name)[what]
    assert draws.std() == pytest.approx(ln_spread(figure), rel=0.05)
    assert np.exp(np.median(draws)) == pytest.approx(figure.value, rel=0.01)


def with_ratio(catalogue: Catalogue, low: float, high: float) -> Catalogue:
    """Return gypsum cement that states another range of the ratio, or none at all when high is nought."""
    base = catalogue["gypsum_cement"]
    figures = dict(base.figures)
    ratio = figures.pop("dry_wet_ratio")
    if high:
        figures["dry_wet_ratio"] = replace(ratio, low=low, high=high)
    return replace(catalogue, materials={**catalogue.materials, base.name: replace(base, figures=figures)})


@pytest.mark.parametrize(
    ("low", "high"), [(2.07, 2.09), (1.0, 4.0), (0.0, 0.0)], ids=["narrow", "wide", "none"]
)
def test_no_range_of_the_ratio_makes_a_stronger_bag_weaker_dry(catalogue, low, high):
    """Ranges that no tie brings together: as tied as can be, or not at all; that of the dry point stays."""
    own = with_ratio(catalogue, low, high)
    draws = drawn(own, "gypsum_cement")
    assert np.corrcoef(draws["wet"], draws["dry"])[0, 1] > -0.1
    assert draws["ratio"].std() > 0.05
    dry = catalogue["gypsum_cement"].reference_points[1].strength
    assert draws["dry"].std() == pytest.approx(np.log(dry.high / dry.low) / SPREAD_OF_RANGE, rel=0.05)


@pytest.mark.parametrize("name", ["gypsum_cement", "csa_cement"])
def test_a_file_that_states_no_ratio_and_no_dry_strength_has_a_range_too(catalogue, name):
    base = catalogue[name]
    figures = {key: each for key, each in base.figures.items() if key != "dry_wet_ratio"}
    wet = tuple(point for point in base.reference_points if point.state == "wet")
    bare = replace(base, figures=figures, reference_points=wet)
    draws = drawn(replace(catalogue, materials={**catalogue.materials, name: bare}), name)
    assert draws["ratio"].std() > 0.08
