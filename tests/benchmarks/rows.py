"""What is measured: prediction, design, give and take, an order, a sweep, starting up."""

from __future__ import annotations

import datetime as dt
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from optimizer.chain.body import per_liter
from optimizer.chain.predict import cast_of, predict
from optimizer.jobfile import parse_job, template
from optimizer.problem import Problem, problem_of
from optimizer.specs import load_catalogue
from optimizer.studies.design import design, design_problem
from optimizer.studies.frontier import frontier
from optimizer.studies.order_blends import plan_blends, shop_request
from optimizer.sweep import CsvLedger, header_of, plan_of, read_scenarios, sweep
from optimizer.sweep.crews import Crew, ProcessCrew, SoloCrew
from optimizer.toml_files import parse_toml
from tests.benchmarks.oracles import bare_strength, evolution, linear_program
from tests.benchmarks.timing import Row, measure, started, words_of

__all__ = ["TOPICS"]


@cache
def _demo() -> Problem:
    catalogue = load_catalogue()
    return problem_of(parse_job(template("demo"), catalogue, "demo"), catalogue)


def _mixes(problem: Problem, count: int) -> np.ndarray:
    shares = np.random.default_rng(3).dirichlet(np.ones(len(problem.names)), count)
    return per_liter(problem.model, shares)


def prediction() -> Iterator[Row]:
    """Predict all properties of one mix and of 10,000 at once."""
    problem = _demo()
    for count in (1, 10_000):
        mixes = _mixes(problem, count)
        ours = measure(lambda m=mixes: predict(cast_of(problem.model, problem.bench, m)))  # type: ignore[misc]
        bare = measure(bare_strength(mixes))
        ratio = f"{ours.best / bare.best:.0f} times the bare law, for 20 properties"
        each = f"; {1e6 * ours.best / count:.2g} us a mix" if count > 1 else ""
        yield Row(
            f"predict {count:,} mixes", words_of(ours), "strength law in numpy", words_of(bare), ratio + each
        )


def designs() -> Iterator[Row]:
    """Design the demo job, quick and explained, beside a linear program and differential evolution."""
    problem = _demo()
    quick = measure(lambda: design_problem(problem, explain=False), 8.0)
    linear = measure(linear_program(problem), 1.0)
    answer = design_problem(problem, explain=False)
    cost = f"cost {answer.cost:.4f}"
    yield Row("design, quick", words_of(quick), "linear rows alone, HiGHS", words_of(linear), cost)
    told = measure(lambda: design_problem(problem), 12.0, most=5)
    yield Row("design, explained", words_of(told), "design, quick", words_of(quick), "")
    job = replace(
        problem.job,
        confidence=0.9,
        limits=tuple(x for x in problem.job.limits if x.property != "heat_margin"),
    )
    sure = problem_of(replace(job, limits=_loosened(job.limits)), problem.catalogue)
    held = measure(lambda: design_problem(sure, explain=False), 8.0, most=20)
    status = design_problem(sure, explain=False).status
    yield Row(
        "design at 90 % chance, limits loosened", words_of(held), "design, quick", words_of(quick), status
    )
    begun = time.perf_counter()
    found, missed, evaluations = evolution(problem, seed=1)
    seconds = time.perf_counter() - begun
    better = f"its cost {found:.4f} with {missed:.1e} missed, {evaluations:,} mixes looked at"
    yield Row("design, quick", words_of(quick), "differential evolution", f"{seconds:.3g} s", better)


def _loosened(limits: tuple) -> tuple:  # type: ignore[type-arg]
    return tuple(replace(x, bound=x.bound * (1.25 if x.sense == "<=" else 0.8)) for x in limits)


def give_and_take() -> Iterator[Row]:
    """Walk a frontier of 60 points."""
    problem = _demo()
    quick = measure(lambda: design_problem(problem, explain=False), 4.0, most=10)
    ours = measure(lambda: frontier(problem, ("cost", "demold_time"), 60), 1.0, most=3)
    count = len(frontier(problem, ("cost", "demold_time"), 60).blends)
    yield Row(
        "frontier of 60 points", words_of(ours), "design, quick", words_of(quick), f"{count} blends kept"
    )


def order() -> Iterator[Row]:
    """Plan an order of 300 vessels, designs included."""
    problem = _demo()
    job, catalogue = problem.job, problem.catalogue
    request = shop_request(job, 300, dt.date(2026, 11, 2), dt.date(2026, 12, 18), None)
    ours = measure(lambda: plan_blends(job, catalogue, request), 1.0, most=3)
    told = measure(lambda: design(job, catalogue), 1.0, most=3)
    yield Row("order of 300 vessels", words_of(ours), "design, explained", words_of(told), "")


def sweeps(count: int = 24) -> Iterator[Row]:
    """Count scenarios a second: this process, and two."""
    text = template("demo")
    bare = plan_of(text, "demo", load_catalogue(), None)
    vary = f"prices.gypsum_cement.price=30:60:{count // 2}, limits.whiteness=86|88"
    scenarios = read_scenarios([vary], None, parse_toml(text, "demo"))
    plan = replace(bare, variables=scenarios.variables)

    def swept(crew: Crew) -> float:
        with tempfile.TemporaryDirectory() as folder:
            ledger = CsvLedger(Path(folder, "out.csv"), header_of(plan), plan.fingerprint[:16])
            begun = time.perf_counter()
            sweep(plan, scenarios, ledger, crew)
            seconds = time.perf_counter() - begun
            crew.close()
            ledger.close()
        return seconds

    solo, pair = swept(SoloCrew()), swept(ProcessCrew(2))
    note = "the time of two processes includes starting them"
    yield Row(f"sweep of {count} scenarios, 2 processes", f"{pair:.3g} s", "1 process", f"{solo:.3g} s", note)
    yield Row("sweep, scenarios a second", f"{count / pair:.3g}", "1 process", f"{count / solo:.3g}", "")


def starting() -> Iterator[Row]:
    """Start whole processes cold, and see what memory they take."""
    python, least = started(["-c", "pass"])
    arrays, held = started(["-c", "import numpy, scipy.optimize"])
    for what, words in (
        ("load the materials", ["-c", "from optimizer.specs import load_catalogue; load_catalogue()"]),
        ("vesselblend --help", ["-m", "ui", "--help"]),
        ("vesselblend design (demo)", ["-m", "ui", "design", "--json"]),
    ):
        ours, memory = started(words)
        light = "help" in what
        beside, time_of, memory_of = (
            ("python", python, least) if light else ("numpy and scipy.optimize", arrays, held)
        )
        note = f"memory {memory:.0f} MB beside {memory_of:.0f} MB"
        yield Row(what, words_of(ours), beside, words_of(time_of), note)


TOPICS: dict[str, Callable[[], Iterator[Row]]] = {
    "prediction": prediction,
    "design": designs,
    "frontier": give_and_take,
    "order": order,
    "sweep": sweeps,
    "start": starting,
}
