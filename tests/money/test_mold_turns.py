"""Mold turns against a clock that is walked turn by turn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.job import Shop
from optimizer.money.capacity import demold_edges, molds_needed, pours_needed, turns_per_day

_MINUTES = st.integers(1, 700)


def _walk(demold: int, shift: int, prep: int, overnight: bool) -> int:
    """Walk one mold through its day: fill, wait, empty; at last clean it, or fill it for the night."""
    best = 0
    clock = 0
    for turns in range(2000):
        if clock + prep > shift:
            break
        night = int(overnight and clock + prep + demold <= 1440)
        best = max(best, turns + night)
        clock += prep + demold
    return best


@given(demold=_MINUTES, shift=st.integers(30, 900), prep=st.integers(1, 60), overnight=st.booleans())
def test_turns_are_what_the_clock_allows(demold, shift, prep, overnight):
    shop = Shop(shift=shift, prep=prep, overnight=overnight)
    assert turns_per_day(demold, shop) == _walk(demold, shift, prep, overnight)


@pytest.mark.parametrize(
    ("demold", "turns"),
    [
        pytest.param(400.0, 1, id="one-turn-ends-with-the-shift"),
        pytest.param(401.0, 0, id="a-minute-too-late"),
        pytest.param(126.0, 3, id="three"),
        pytest.param(72.0, 5, id="five"),
        pytest.param(31.0, 10, id="ten"),
    ],
)
def test_turns_by_hand(demold, turns):
    """A shift of 420 min and 10 min to prepare: floor(410 / (demold + 10)) (own arithmetic)."""
    assert turns_per_day(demold, Shop(shift=420.0, prep=10.0)) == turns


def test_a_night_adds_a_turn_where_it_is_long_enough():
    """Eight hours at 470 min a turn: one by day and one by night; 1440 min hold no third turn of 500."""
    shop = Shop(shift=480.0, prep=10.0, overnight=True)
    assert turns_per_day(460.0, shop) == 2
    assert turns_per_day(1430.0, shop) == 1
    assert turns_per_day(1431.0, shop) == 0
    assert turns_per_day(490.0, Shop(shift=1020.0, prep=10.0, overnight=True)) == 2


@pytest.mark.parametrize("overnight", [False, True])
@pytest.mark.parametrize(("shift", "prep"), [(420.0, 10.0), (433.0, 7.5), (600.0, 0.0), (90.0, 30.0)])
def test_each_edge_is_the_latest_demold_time_of_its_turns(shift, prep, overnight):
    shop = Shop(shift=shift, prep=prep, overnight=overnight, demold_floor=8.0)
    edges = demold_edges(shop)
    assert edges
    for turns, edge in edges:
        assert turns_per_day(edge, shop) == turns
        assert turns_per_day(edge + 1e-3, shop) < turns


@pytest.mark.parametrize("overnight", [False, True])
def test_edges_say_the_turns_of_every_demold_time(overnight):
    shop = Shop(shift=450.0, prep=12.0, overnight=overnight, demold_floor=10.0)
    edges = demold_edges(shop)
    for demold in np.linspace(10.0, 1450.0, 2881):
        counted = max((turns for turns, edge in edges if demold <= edge), default=0)
        assert counted == turns_per_day(float(demold), shop)


def test_a_job_limit_cuts_the_edges():
    shop = Shop(shift=420.0, prep=10.0, demold_floor=30.0)
    edges = demold_edges(shop, longest=60.0)
    assert edges[0] == (5, 60.0)
    assert all(edge <= 60.0 for _, edge in edges)
    assert demold_edges(shop, longest=29.0) == ()
    assert demold_edges(Shop(shift=5.0, prep=10.0)) == ()


@pytest.mark.parametrize(
    ("vessels", "reject", "late", "pours"),
    [(300, 0.08, 0.0, 327), (300, 0.0, 0.0, 300), (0, 0.5, 0.5, 0), (1, 0.08, 0.0, 2), (90, 0.1, 0.1, 112)],
)
def test_pours_by_hand(vessels, reject, late, pours):
    """Vessels over the share that survives, rounded up (own arithmetic)."""
    assert pours_needed(vessels, reject, late) == pours


def test_molds_by_hand():
    """327 pours in 12 days: 28, 10 and 6 molds at one, three and five turns (own arithmetic)."""
    assert [molds_needed(327, 12, turns) for turns in (1, 3, 5)] == [28, 10, 6]
    assert molds_needed(0, 12, 0) == 0
    with pytest.raises(ValueError, match="no number of molds"):
        molds_needed(327, 12, 0)
