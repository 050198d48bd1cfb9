"""Setting expansion against textbook figures and the limits of the dental standard."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.properties.expansion import setting_expansion


@pytest.mark.parametrize(
    ("water", "percent"),
    [(0.45, 0.41), (0.50, 0.29), (0.60, 0.24)],
    ids=lambda value: f"Phillips-from-memory-{value}",
)
def test_expansion_of_beta_plaster_by_water(water, percent):
    assert 100.0 * setting_expansion(water, "hemihydrate_beta") == pytest.approx(percent, rel=0.17)


def test_plaster_expands_more_than_stone_textbooks():
    """Plaster 0.20 to 0.30 %, stone 0.08 to 0.10 %."""
    plaster, stone = setting_expansion(0.50, "hemihydrate_beta"), setting_expansion(0.30)
    assert 0.0020 <= plaster <= 0.0030
    assert 0.0008 <= stone <= 0.0010


def test_stone_stays_within_iso_6873_type_3_from_memory():
    assert 0.0 <= setting_expansion(0.30) <= 0.0020


@pytest.mark.parametrize("hemihydrate", ["hemihydrate_alpha", "hemihydrate_beta"])
def test_less_water_expands_more(hemihydrate):
    assert np.all(np.diff(setting_expansion(np.linspace(0.2, 0.8, 30), hemihydrate)) < 0.0)
