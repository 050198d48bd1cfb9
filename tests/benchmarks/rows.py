"""What is measured: prediction, design, trade-offs, an order, a sweep, starting up."""

from __future__ import annotations

import datetime as dt
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from statistics import median

import numpy as np

from optimizer.calibration.fit import calibrate
from optimizer.jobfile import parse_job, template
from optimizer.problem import Problem, problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.predict import PREDICTORS, cast_of, predict
from optimizer.specs import load_catalogue
from optimizer.studies.design import design, design_problem
from optimizer.studies.frontier import Frontier, frontier
from optimizer.studies.order_blends import plan_blends, shop_request
from optimizer.sweep import CsvResults, header_of, plan_of, read_scenarios, sweep
from optimizer.sweep.run import Workers, process_workers, this_process
from optimizer.toml_files import parse_toml
from tests.benchmarks.agreement import compared
from tests.benchmarks.oracles import bare_strength, evolution, linear_program, many_objective_evolution
from tests.benchmarks.timing import Row, measure, started, words_of
from tests.calibration.studios import World
from tests.certificate.invented import invented_problem
from tests.solvers.hypervolume import hypervolume

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
        ours = measure(lambda m=mixes: predict(cast_of(problem.model, problem.conditions, m)))  # type: ignore[misc]
        bare = measure(bare_strength(mixes))
        ratio = f"{ours.best / bare.best:.0f} times the bare law, for {len(PREDICTORS)} properties"
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


def trade_offs() -> Iterator[Row]:
    """Walk a frontier of 60 points."""
    problem, over = _demo(), ("cost", "demold_time")
    quick = measure(lambda: design_problem(problem, explain=False), 4.0, most=10)
    ours = measure(lambda: frontier(problem, over, 60), 1.0, most=3)
    found = _values(frontier(problem, over, 60))
    fine = _values(frontier(problem, over, 400))
    worst = np.vstack([found, fine]).max(axis=0) * 1.02
    whole = hypervolume(fine, worst)
    share = f"{len(found)} blends kept; hypervolume {hypervolume(found, worst) / whole:.4f} of 400 points"
    yield Row("frontier of 60 points", words_of(ours), "design, quick", words_of(quick), share)
    begun = time.perf_counter()
    proved = frontier(problem, over, 60, proof_seconds=5.0)
    seconds = time.perf_counter() - begun
    count = sum(blend.proof is not None and blend.proof.proved for blend in proved.blends)
    yield Row(
        "the same, each blend proved",
        f"{seconds:.3g} s",
        "not proved",
        words_of(ours),
        f"{count} of {len(proved.blends)} proved",
    )
    try:
        evolved = many_objective_evolution(problem, over, ours.best, seed=1)
    except ModuleNotFoundError:
        return
    reached = f"hypervolume {hypervolume(evolved, worst) / whole:.4f} of 400 points, {len(evolved)} blends"
    yield Row("frontier of 60 points", words_of(ours), "NSGA-II (pymoo)", f"{ours.best:.3g} s given", reached)
    begun = time.perf_counter()
    wide = frontier(problem, (*over, "whiteness"), 200)
    seconds = time.perf_counter() - begun
    yield Row(
        "frontier of three quantities, 200 points",
        f"{seconds:.3g} s",
        "design, quick",
        words_of(quick),
        f"{len(wide.blends)} blends kept",
    )


def _values(found: Frontier) -> np.ndarray:
    return np.array([[blend.values[name] for name in found.over] for blend in found.blends])


def proofs(jobs: int = 24) -> Iterator[Row]:
    """Solve and prove made-up jobs of 6 to 48 materials, and see how both grow."""
    first = None
    for materials in (6, 12, 24, 48):
        asked = [invented_problem(load_catalogue(), materials, seed) for seed in range(jobs)]
        compared_all = [compared(problem, seed, 20.0, 0.0) for seed, problem in enumerate(asked)]
        search, proof = ([getattr(job, name) for job in compared_all] for name in ("search", "proof"))
        quick = sum(job.quick == "best" for job in compared_all)
        first = first or median(search)
        note = f"{quick} of {jobs} quick answers best; search {median(search) / first:.2g} times that of 6"
        yield Row(
            f"proof, {materials} materials, {jobs} jobs",
            _spread(proof),
            "quick answer",
            _spread(search),
            note,
        )


def _spread(times: Sequence[float]) -> str:
    middle, high = 1e3 * np.percentile(times, (50, 95))
    return f"{middle:.3g} ms median, {high:.3g} ms at 95 %"


def fits() -> Iterator[Row]:
    """Fit a book of 200 made-up trials, beside the bare least squares of as many readings."""
    catalogue = load_catalogue()
    world = World(catalogue, 5)
    many = [world.trial(number) for number in range(200)]
    fit = calibrate(many, catalogue)
    ours = measure(lambda: calibrate(many, catalogue), 2.0, most=3)
    readings, unknowns = len(fit.seen), len(fit.calibration.learned)
    chance = np.random.default_rng(0)
    matrix, seen = chance.normal(size=(readings, unknowns)), chance.normal(size=readings)
    bare = measure(lambda: np.linalg.lstsq(matrix, seen), 1.0)
    yield Row(
        "fit 200 trials",
        words_of(ours),
        "linear least squares in numpy",
        words_of(bare),
        f"{readings} readings, {unknowns} figures",
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

    def swept(workers: Workers) -> float:
        with tempfile.TemporaryDirectory() as folder:
            results = CsvResults(Path(folder, "out.csv"), header_of(plan), plan.fingerprint[:16])
            begun = time.perf_counter()
            sweep(plan, scenarios, results, workers)
            seconds = time.perf_counter() - begun
            workers.close()
            results.close()
        return seconds

    solo, pair = swept(this_process()), swept(process_workers(2))
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
    "proof": proofs,
    "frontier": trade_offs,
    "fit": fits,
    "order": order,
    "sweep": sweeps,
    "start": starting,
}
