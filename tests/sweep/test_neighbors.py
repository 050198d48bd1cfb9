"""Long sweeps start scenarios from their neighbors: answers as in full, whoever works, whenever stopped."""

from __future__ import annotations

import pytest

from optimizer.engine import warm_start
from optimizer.sweep.run import process_workers
from tests.sweep.samples import rows_of, swept

LONG = (
    "prices.gypsum_cement.price=30:60:8, "
    "limits.dry_strength=18 MPa|24 MPa|240 MPa|300 MPa, vessel.wall=6mm|8mm"
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    path = tmp_path_factory.mktemp("sweep") / "whole.csv"
    swept(path, LONG)
    return path


def test_rows_are_those_of_full_searches(whole, tmp_path):
    swept(tmp_path / "full.csv", LONG, in_full=True)
    near, full = rows_of(whole), rows_of(tmp_path / "full.csv")
    assert len(near) == len(full) == 64
    assert [x["status"] for x in near] == [x["status"] for x in full]
    assert {x["status"] for x in near} == {"designed", "no blend meets the limits"}
    for mine, alone in zip(near, full, strict=True):
        assert mine["scenario"] == alone["scenario"]
        if mine["status"] == "designed":
            assert mine["verdict"] == "holds"
            assert float(mine["expected_cost [EUR]"]) == pytest.approx(
                float(alone["expected_cost [EUR]"]), rel=1e-3
            )


def test_most_scenarios_are_not_searched_in_full(monkeypatch, tmp_path):
    asked = []
    real = warm_start.chance_blends

    def counted(questions, **how):
        asked.extend(bool(question.near) for question in questions)
        return real(questions, **how)

    monkeypatch.setattr(warm_start, "chance_blends", counted)
    swept(tmp_path / "out.csv", LONG)
    assert asked.count(False) <= asked.count(True)


def test_processes_write_the_same_file(whole, tmp_path):
    swept(tmp_path / "out.csv", LONG, workers=process_workers(2))
    assert (tmp_path / "out.csv").read_bytes() == whole.read_bytes()


SLOW = pytest.mark.slow


@pytest.mark.parametrize(
    "rows", [pytest.param(1, marks=SLOW), 5, *(pytest.param(n, marks=SLOW) for n in (12, 40))]
)
def test_a_chunk_cut_short_goes_on_as_if_nothing_had_been(whole, tmp_path, rows):
    path = tmp_path / "out.csv"
    path.write_bytes(b"".join(whole.read_bytes().splitlines(keepends=True)[: rows + 1]))
    progress = swept(path, LONG)
    assert (progress.before, progress.now) == (rows, 64 - rows)
    assert path.read_bytes() == whole.read_bytes()
