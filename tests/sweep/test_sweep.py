"""Sweeps as a whole: rows are those of `design`, with any workers, in any order, after any interruption."""

from __future__ import annotations

from concurrent.futures import CancelledError, Executor, Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

import pytest

from optimizer.errors import FileFaults, VesselblendError
from optimizer.fingerprint import fingerprint
from optimizer.jobfile import parse_job
from optimizer.specs import load_catalogue
from optimizer.studies.design import design
from optimizer.sweep import header_of, solve
from optimizer.sweep.run import (
    ClusterWorkers,
    Workers,
    in_order,
    process_workers,
    workers_of,
)
from optimizer.sweep.worker import FAULTY, OWN_FAULT, check_first
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
    progress = swept(tmp_path / "out.csv", workers=process_workers(2))
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
    monkeypatch.setattr("optimizer.sweep.worker.design_problem", lambda *_, **__: 1 / 0)
    (row,) = solve(plan, (next(iter(scenarios)),))
    assert row[4] == OWN_FAULT
    assert row[-2] == "ZeroDivisionError: division by zero"
    assert len(row) == len(header_of(plan))


def test_a_worker_with_other_materials_refuses(tmp_path):
    plan, scenarios = planned()
    values = next(iter(scenarios))
    with pytest.raises(VesselblendError, match="a worker has other material files"):
        solve(replace(plan, fingerprint="0" * 64), (values,))
    with pytest.raises(VesselblendError, match="a worker cannot read the job or its materials"):
        solve(replace(plan, specs=str(tmp_path / "none")), (values,))
    with pytest.raises(VesselblendError, match="The sweep cannot go on: a worker has other material files"):
        list(in_order(process_workers(1), replace(plan, fingerprint="0" * 64), [tuple(scenarios)]))


def test_a_slip_in_the_values_is_told_before_anything_runs():
    with pytest.raises(FileFaults, match=r"vessel\.wall"):
        check_first(*planned("vessel.wall=60mm|70mm"))
    check_first(*planned("vessel.wall=60mm|8mm"))


@pytest.mark.parametrize(
    ("word", "error"), [("threads", FileFaults), ("tcp://127.0.0.1:1", VesselblendError)]
)
def test_an_executor_that_is_none_is_told(word, error, monkeypatch):
    monkeypatch.setattr("optimizer.sweep.run._PATIENCE", 0.2)
    if word.startswith("tcp"):
        pytest.importorskip("distributed")
    with pytest.raises(error):
        workers_of(word)


class Flaky(Executor):
    """Answers backward, and breaks at given submissions of a whole sweep: a machine short of memory."""

    def __init__(self, deaths):
        self.deaths, self.count, self.most, self.given, self.broken = set(deaths), 0, 0, [], False

    def started(self):
        self.broken = False
        return self

    def submit(self, solve, plan, values):
        self.count += 1
        if self.broken or self.count in self.deaths:
            self.broken = True
            for future, _ in self.given:
                if not future.done():
                    future.set_exception(BrokenProcessPool("killed"))
            raise BrokenProcessPool("killed")
        future = Late(self)
        self.given.append((future, values))
        self.most = max(self.most, sum(not each.done() for each, _ in self.given))
        return future

    def work(self):
        for future, values in self.given[::-1]:
            if not future.done():
                future.set_result(((values,),))
                return

    def shutdown(self, wait=True, *, cancel_futures=False):
        """Nothing to end."""


class Late(Future):
    """Kept when somebody waits for it: the newest first."""

    def __init__(self, executor):
        super().__init__()
        self.executor = executor

    def result(self, timeout=None):
        while not self.done():
            self.executor.work()
        return super().result(timeout)


@pytest.mark.parametrize("deaths", [(), (1,), (3,), (7, 8), (20,)])
def test_rows_keep_the_order_and_the_queue_stays_short(deaths):
    flaky = Flaky(deaths)
    workers = Workers(flaky.started, 2)
    scenarios = [(float(k),) for k in range(25)]
    assert [row[0] for row in in_order(workers, None, iter(scenarios))] == scenarios
    assert 4 <= flaky.most <= workers.ahead == 6


@pytest.mark.parametrize("at_once", [True, False])
def test_workers_that_die_again_and_again_end_the_sweep(at_once):
    class Deadly(Flaky):
        def submit(self, solve, plan, values):
            if at_once:
                raise BrokenProcessPool("killed")
            future = Future()
            future.set_exception(BrokenProcessPool("killed"))
            return future

    with pytest.raises(VesselblendError, match="Workers died 3 times"):
        list(in_order(Workers(Deadly(()).started, 1), None, [(1.0,), (2.0,)]))


def test_futures_of_a_lost_cluster_end_the_sweep_with_what_is_kept(monkeypatch):
    """Dask cancels them; only workers say whether they can be replaced."""
    workers = object.__new__(ClusterWorkers)
    cancelled = Future()
    cancelled.cancel()
    monkeypatch.setattr(workers, "submit", lambda *_: cancelled, raising=False)
    workers.ahead, workers.lost = 3, (CancelledError,)
    with pytest.raises(VesselblendError, match=r"The cluster was lost\. What was answered before is kept"):
        list(in_order(workers, None, [(1.0,)]))
