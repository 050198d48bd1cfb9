"""Sweeps that are killed, stopped, or lose workers: nothing acknowledged is lost, nothing is doubled."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from optimizer.sweep import CsvResults
from tests.sweep.samples import JOB

psutil = pytest.importorskip("psutil")

ROOT = Path(__file__).parents[2]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}
GRID = "prices.gypsum_cement.price=30:60:3, limits.dry_strength=20 MPa:30 MPa:4"
COUNT = 12


def started(folder, out, *words, vary=GRID):
    (folder / "job.toml").write_text(JOB)
    command = [sys.executable, "-m", "ui", "sweep", "job.toml", "--vary", vary, "-o", out, *words]
    return subprocess.Popen(
        command, cwd=folder, env=ENV, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def finished(folder, out, *words, vary=GRID):
    with started(folder, out, *words, vary=vary) as running:
        _, said = running.communicate(timeout=300)
    assert running.returncode == 0, said
    return said


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return the bytes of an undisturbed sweep."""
    folder = tmp_path_factory.mktemp("whole")
    finished(folder, "out.csv", "--executor", "solo")
    return (folder / "out.csv").read_bytes()


def lines(path):
    return path.read_bytes().splitlines(keepends=True) if path.exists() else []


def wait_for(condition, seconds=60.0):
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.01)


def assert_whole_after_kills(folder, whole, chance, kills):
    """Kill a sweep after random rows, then let it finish; the file must be as if nothing happened."""
    path = folder / "out.csv"
    for rows in sorted(chance.sample(range(COUNT), kills)):
        with started(folder, "out.csv", "--workers", "2") as running:
            wait_for(lambda rows=rows, running=running: len(lines(path)) > rows or running.poll() is not None)
            children = psutil.Process(running.pid).children(recursive=True) if running.poll() is None else []
            running.kill()
            running.communicate()
        held = lines(path)
        assert whole.startswith(b"".join(line for line in held if line.endswith(b"\n")))
        _, alive = psutil.wait_procs(children, timeout=30)
        assert not alive, "workers outlived their boss"
    finished(folder, "out.csv", "--workers", "2")
    assert path.read_bytes() == whole


def test_a_killed_sweep_goes_on(tmp_path, whole):
    assert_whole_after_kills(tmp_path, whole, random.Random(1), kills=1)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 22))
def test_a_sweep_killed_often_goes_on(tmp_path, whole, seed):
    assert_whole_after_kills(tmp_path, whole, random.Random(seed), kills=3)


def test_a_killed_worker_is_replaced(tmp_path, whole):
    with started(tmp_path, "out.csv", "--workers", "2") as running:
        path = tmp_path / "out.csv"
        wait_for(lambda: len(lines(path)) > 3)
        workers = [
            child
            for child in psutil.Process(running.pid).children(recursive=True)
            if "spawn_main" in " ".join(child.cmdline())
        ]
        workers[0].kill()
        _, said = running.communicate(timeout=300)
    assert running.returncode == 0, said
    assert path.read_bytes() == whole


@pytest.mark.parametrize("executor", ["solo", "processes"])
def test_ctrl_c_leaves_130_and_whole_rows(tmp_path, whole, executor):
    with started(tmp_path, "out.csv", "--executor", executor) as running:
        path = tmp_path / "out.csv"
        wait_for(lambda: len(lines(path)) > 2)
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=60)
    assert running.returncode == 128 + signal.SIGINT
    assert "the same command goes on from there" in said
    assert "Traceback" not in said
    assert whole.startswith(path.read_bytes())
    assert path.read_bytes().endswith(b"\n")


@pytest.mark.parametrize("rows", [-1, 2], ids=["while workers start", "between rows"])
def test_ctrl_c_at_a_terminal_says_one_line(tmp_path, rows):
    """A terminal sends Ctrl-C to the workers too; they neither print nor outlive the command."""
    (tmp_path / "job.toml").write_text(JOB)
    command = [sys.executable, "-m", "ui", "sweep", "job.toml", "--vary", GRID, "-o", "out.csv"]
    with subprocess.Popen(
        [*command, "--workers", "2"],
        cwd=tmp_path,
        env=ENV,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as running:
        boss = psutil.Process(running.pid)
        wait_for(lambda: len(lines(tmp_path / "out.csv")) > rows and len(boss.children()) > 1)
        children = boss.children(recursive=True)
        os.killpg(running.pid, signal.SIGINT)
        _, said = running.communicate(timeout=60)
    assert running.returncode == 128 + signal.SIGINT
    told = "Stopped. What was answered is in out.csv; the same command goes on from there."
    assert said.split("\n") in (["", told, ""], [told, ""])
    _, alive = psutil.wait_procs(children, timeout=10)
    assert not alive


def test_a_request_to_end_says_what_is_kept(tmp_path, whole):
    with started(tmp_path, "out.csv", "--workers", "2") as running:
        path = tmp_path / "out.csv"
        wait_for(lambda: len(lines(path)) > 2)
        children = psutil.Process(running.pid).children(recursive=True)
        running.send_signal(signal.SIGTERM)
        _, said = running.communicate(timeout=60)
    assert running.returncode == 128 + signal.SIGTERM
    assert "What was answered is in out.csv" in said
    assert "Traceback" not in said
    assert whole.startswith(path.read_bytes())
    _, alive = psutil.wait_procs(children, timeout=10)
    assert not alive


def test_a_file_in_use_is_left_to_its_sweep(tmp_path):
    results = CsvResults(tmp_path / "out.csv", (("scenario", False), ("job", False)), "0" * 16)
    with started(tmp_path, "out.csv", "--executor", "solo") as second:
        _, said = second.communicate(timeout=60)
    results.close()
    assert second.returncode == 4
    assert "in use by another sweep" in said


CLUSTER = """
import sys, time
from distributed import LocalCluster

if __name__ == "__main__":
    with LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]
        print(cluster.scheduler_address, *pids, flush=True)
        sys.stdin.read()
"""


@pytest.fixture
def cluster(tmp_path):
    """Run a Dask cluster of two workers on this machine; give its address, its process and their ids."""
    pytest.importorskip("distributed")
    script = tmp_path / "cluster.py"
    script.write_text(CLUSTER)
    with subprocess.Popen(
        [sys.executable, str(script)],
        env={**ENV, "DASK_DISTRIBUTED__WORKER__DAEMON": "True"},
        cwd=tmp_path,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as running:
        address, *pids = running.stdout.readline().split()
        yield address, running, [int(pid) for pid in pids]
        running.stdin.close()
        running.wait(timeout=60)


@pytest.mark.slow
def test_a_cluster_that_loses_a_worker_writes_the_same_file(tmp_path, whole, cluster):
    address, _, pids = cluster
    folder = tmp_path / "sweep"
    folder.mkdir()
    with started(folder, "out.csv", "--executor", address) as running:
        wait_for(lambda: len(lines(folder / "out.csv")) > 2)
        psutil.Process(pids[0]).kill()
        _, said = running.communicate(timeout=300)
    assert running.returncode == 0, said
    assert (folder / "out.csv").read_bytes() == whole


@pytest.mark.slow
def test_a_cluster_that_is_lost_ends_the_sweep_in_one_line(tmp_path, whole, cluster):
    address, scheduler, pids = cluster
    folder = tmp_path / "sweep"
    folder.mkdir()
    with started(folder, "out.csv", "--executor", address) as running:
        wait_for(lambda: len(lines(folder / "out.csv")) > 2)
        for process in (scheduler, *map(psutil.Process, pids)):
            process.kill()
        _, said = running.communicate(timeout=60)
    assert running.returncode == 1
    kept = "What was answered before is kept; the same command goes on from there."
    assert said == f"The cluster was lost. {kept}\n"
    assert whole.startswith((folder / "out.csv").read_bytes())
