"""Money asked of materials without a price is refused, every name at once, and only where money matters."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.errors import FileFaults
from optimizer.problem import problem_of
from optimizer.studies.design import design
from optimizer.studies.frontier import frontier


@pytest.fixture(scope="module")
def demo(demo):
    """Return the demo with a chance that its shipped figures can give."""
    return replace(demo, confidence=0.5)


@pytest.fixture
def bare(demo):
    """Return the demo with two materials more, neither of them priced."""
    return replace(demo, materials=(*demo.materials, "csa_cement", "expanded_perlite"))


def test_every_unpriced_material_is_named(bare, catalogue):
    with pytest.raises(FileFaults) as caught:
        design(bare, catalogue)
    assert [fault.where for fault in caught.value.faults] == ["prices.csa_cement", "prices.expanded_perlite"]
    assert all("pack and price" in fault.repair for fault in caught.value.faults)


def test_a_frontier_of_cost_needs_prices(bare, catalogue):
    with pytest.raises(FileFaults, match="csa_cement"):
        frontier(problem_of(bare, catalogue), ("cost", "demold_time"), 5)


def test_other_objectives_need_none(bare, catalogue):
    answer = design(replace(bare, objective="dry_strength", maximize=True), catalogue, explain=False)
    assert answer.status == "designed"
