"""Sweeps as a whole: rows are those of `design`, with any crew, in any order, after any interruption."""

from __future__ import annotations

from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

import pytest

from optimizer.errors import FileFaults, VesselblendError
from optimizer.fingerprint import fingerprint
from optimizer.jobfile import parse_job
from optimizer.specs import load_catalogue
from optimizer.studies.design import design
from optimizer.sweep import header_of, solve
from optimizer.sweep.crews import ProcessCrew, SoloCrew, crew_of, in_order
from optimizer.sweep.worker import FAULTY, OWN_FAULT, Refused, check_first
from tests.sweep.samples import HOPELESS, JOB, VARY, planned, rows_of, swept


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Write the file of an undisturbed sweep."""
    path = tmp_path_factory.mktemp("sweep") / "whole.csv"
    swept(path)
    return path


def test_each_row_is_the_design_of_its_own_job(whole):
    catalogue = load_catalogue()
    rows = rows_of(whole)
    assert len(rows) == 6
    for each in rows[::3]:
        text = JOB.replace("41.50", each["prices.gypsum_cement.price [EUR]"])
        text = text.replace(">= 25 MPa", f">= {each['limits.dry_strength >= [MPa]']} MPa")
        job = parse_job(text, catalogue, "job.toml")
        alone = design(job, catalogue, explain=False)
        assert each["fingerprint"] == fingerprint(job, catalogue)
        # six digits of what design prints: no second computation of either
        assert each["expected_cost [EUR]"] == f"{alone.expected.value:.6g}"
        assert each["joint_probability"] == f"{alone.joint_probability:.6g}"
        assert each["share_marble_flour"] == f"{alone.mix.blend.get('marble_flour', 0.0):.6g}"
        assert each["dry_mass [g]"] == f"{alone.properties['dry_mass'].value:.6g}"


def test_processes_write_the_same_file(whole, tmp_path):
    progress = swept(tmp_path / "out.csv", crew=ProcessCrew(2))
    assert (tmp_path / "out.csv").read_bytes() == whole.read_bytes()
    assert (progress.total, progress.before, progress.now, progress.left) == (6, 0, 6, 0)
    assert progress.statuses == {"designed": 6}


def test_a_finished_scenario_is_never_done_again(whole, tmp_path):
    path = tmp_path / "out.csv"
    path.write_bytes(b"".join(whole.read_bytes().splitlines(keepends=True)[:4]))
    progress = swept(path)
    assert (progress.before, progress.now) == (3, 3)
    assert path.read_bytes() == whole.read_bytes()
    again = swept(path)
    assert (again.before, again.now) == (6, 0)


def test_a_wider_grid_adds_only_what_is_new(whole, tmp_path):
    path = tmp_path / "out.csv"
    path.write_bytes(whole.read_bytes())
    progress = swept(path, VARY.replace("30:60:3", "30|45|50|60"))
    assert (progress.before, progress.now) == (6, 2)
    assert len({each["scenario"] for each in rows_of(path)}) == 8


def test_another_job_is_refused(whole):
    with pytest.raises(FileFaults, match="another job"):
        swept(whole, text=JOB.replace("14.00", "15.00"))


def test_no_blend_and_no_job_are_rows_too(tmp_path):
    progress = swept(tmp_path / "out.csv", HOPELESS)
    assert progress.statuses == {"designed": 1, "no blend meets the limits": 1, FAULTY: 2}
    rows = rows_of(tmp_path / "out.csv")
    assert {
        each["expected_cost [EUR]"] + each["joint_probability"] == ""
        for each in rows
        if each["status"] != "designed"
    } == {True}
    assert "less than half the outer diameter" in rows[1]["fault"]
    assert all(
        len(each) == len(header_of(planned(HOPELESS)[0])) and None not in each.values() for each in rows
    )


def test_shared_scans_change_no_answer():
    plan, scenarios = planned("limits.dry_strength=20 MPa:30 MPa:3, bounds.marble_flour.max=0.1|1")
    forward = [solve(plan, (values,)) for values in scenarios]
    from optimizer.sweep.worker import _workbench

    _workbench.cache_clear()
    backward = [solve(plan, (values,)) for values in list(scenarios)[::-1]]
    assert forward == backward[::-1]


def test_a_fault_of_ours_ends_one_scenario_not_the_night(monkeypatch):
    plan, scenarios = planned()
    monkeypatch.setattr("optimizer.sweep.neighbors.design_problem", lambda *_, **__: 1 / 0)
    (row,) = solve(plan, (next(iter(scenarios)),))
    assert row[4] == OWN_FAULT
    assert row[-2] == "ZeroDivisionError: division by zero"
    assert len(row) == len(header_of(plan))


def test_a_worker_with_other_materials_refuses(tmp_path):
    plan, scenarios = planned()
    values = next(iter(scenarios))
    assert isinstance(solve(replace(plan, fingerprint="0" * 64), (values,)), Refused)
    assert isinstance(solve(replace(plan, specs=str(tmp_path / "none")), (values,)), Refused)
    with pytest.raises(VesselblendError, match="other material files"):
        list(in_order(SoloCrew(), replace(plan, fingerprint="0" * 64), [tuple(scenarios)]))


def test_a_slip_in_the_values_is_told_before_anything_runs():
    with pytest.raises(FileFaults, match=r"vessel\.wall"):
        check_first(*planned("vessel.wall=60mm|70mm"))
    check_first(*planned("vessel.wall=60mm|8mm"))


@pytest.mark.parametrize(
    ("word", "error"), [("threads", FileFaults), ("tcp://127.0.0.1:1", VesselblendError)]
)
def test_a_crew_that_is_none_is_told(word, error, monkeypatch):
    monkeypatch.setattr("optimizer.sweep.cluster._PATIENCE", 0.2)
    if word.startswith("tcp"):
        pytest.importorskip("distributed")
    with pytest.raises(error):
        crew_of(word)


class FlakyCrew:
    """Answers backward, and dies at given submissions: a machine short of memory."""

    def __init__(self, ahead, deaths):
        self.ahead, self.deaths, self.count, self.most, self.given = ahead, set(deaths), 0, 0, []

    def submit(self, plan, values):
        self.count += 1
        if self.count in self.deaths:
            for promise, _ in self.given:
                if not promise.done():
                    promise.set_exception(BrokenProcessPool("killed"))
            raise BrokenProcessPool("killed")
        promise = Late(self)
        self.given.append((promise, values))
        self.most = max(self.most, sum(not each.done() for each, _ in self.given))
        return promise

    def work(self):
        for promise, values in self.given[::-1]:
            if not promise.done():
                promise.set_result(((values,),))
                return

    def renew(self):
        self.given = [(promise, values) for promise, values in self.given if promise.done()]

    def close(self):
        """Nothing to do."""


class Late(Future):
    """Kept when somebody waits for it: the newest first."""

    def __init__(self, crew):
        super().__init__()
        self.crew = crew

    def result(self, timeout=None):
        while not self.done():
            self.crew.work()
        return super().result(timeout)


@pytest.mark.parametrize("deaths", [(), (1,), (3,), (7, 8), (20,)])
def test_rows_keep_the_order_and_the_queue_stays_short(deaths):
    crew = FlakyCrew(4, deaths)
    scenarios = [(float(k),) for k in range(25)]
    assert [row[0] for row in in_order(crew, None, iter(scenarios))] == scenarios
    assert crew.most <= 4


@pytest.mark.parametrize("at_once", [True, False])
def test_workers_that_die_again_and_again_end_the_sweep(at_once):
    class Deadly(FlakyCrew):
        def submit(self, plan, values):
            if at_once:
                raise BrokenProcessPool("killed")
            promise = Future()
            promise.set_exception(BrokenProcessPool("killed"))
            return promise

    with pytest.raises(VesselblendError, match="Workers died 3 times"):
        list(in_order(Deadly(2, ()), None, [(1.0,), (2.0,)]))
