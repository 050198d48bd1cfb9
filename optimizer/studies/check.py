"""Check any blend against the limits, and against another blend: the cheaper-blend question.

With what to weigh for a batch (a mix for so many vessels, waste in, rounded to the scale and still held), and
the job that takes no more than stands on the shelf.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Fault, FileFaults, NoBlend
from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.money.capacity import molds_per_mix
from optimizer.money.landed_cost import landed_price
from optimizer.money.purchase import stock_limits
from optimizer.money.vessel_cost import cost_coefficients
from optimizer.nomenclature import quantity
from optimizer.problem import Problem, problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.parameters import ParameterSet
from optimizer.solution import Solution, shown
from optimizer.tables import data_frame, html_lines, html_table
from optimizer.units import show
from optimizer.verdict.assess import HOLDS, stands
from optimizer.verdict.judge import judge, solution_of

if TYPE_CHECKING:
    import pandas as pd

_RANKS = {"binder": 0, "filler": 0, "pigment": 1, "admixture": 2}

RESERVE = 0.01
"""Share of the shelf that is left for weighing in whole steps of the scale [fraction]."""


@dataclass(frozen=True)
class Comparison:
    """A candidate blend beside the present one.

    Attributes
    ----------
    present, candidate : Solution
        Both checked at the same limits.
    saving : float | None
        Cost of the present less that of the candidate, per good vessel [currency].
    share : float | None
        That saving over the cost of the present vessel [-].
    retest : tuple[str, ...]
        Tests to repeat because blend, water or sealer changed.
    """

    present: Solution
    candidate: Solution
    saving: float | None
    share: float | None
    retest: tuple[str, ...]

    @property
    def even_prices(self) -> Mapping[str, tuple[float, float]]:
        """Price now and where both blends cost the same, by powder that the candidate alone holds.

        Of a usable kilogram, landed [currency/kg], all else as it is; left out where no price is low enough.
        The cost is straight in the price of a powder.
        """
        old, new, job = self.present.mix, self.candidate.mix, self.candidate.job
        if self.saving is None or old is None or new is None:
            return {}
        rise = cost_coefficients(job.shop, 1, 0).per_powder_money
        out = {}
        for name in [name for name in new.blend if name not in old.blend and name in job.prices]:
            now = landed_price(job.prices[name], job.shop.wage).per_usable_kg
            even = now + self.saving / (1e-3 * new.grams[name] * rise)
            if even > 0.0:
                out[name] = (now, even)
        return out

    def table(self) -> pd.DataFrame:
        """Return every property, one a row by its name: present, candidate and their difference."""
        old, new = self.present.properties, self.candidate.properties
        rows = (
            {"property": name, "present": old[name].value, "candidate": new[name].value}
            | {"change": new[name].value - old[name].value, "unit": old[name].unit}
            for name in old
            if name in new
        )
        return data_frame(rows, "property")

    def _repr_html_(self) -> str:
        """Return both blends for a notebook, property by property, with what to test again."""
        old, new = self.present.properties, self.candidate.properties
        rows = [
            (quantity(name).label, shown(name, old[name].value), shown(name, new[name].value))
            for name in old
            if name in new
        ]
        words = [f"present: {self.present.status}; candidate: {self.candidate.status}"]
        if self.saving is not None:
            words.append(f"Saved per good vessel: {show(self.saving, 'cost')} {self.candidate.job.currency}.")
        words += [f"Repeat the {test}." for test in self.retest]
        return html_table(("property", "present", "candidate"), rows) + html_lines(words)


def check(
    job: Job,
    blend: Mapping[str, float],
    catalogue: Catalogue,
    water_ratio: float | None = None,
    parameters: ParameterSet | None = None,
    *,
    explain: bool = False,
) -> Solution:
    """Return the verdict on one blend.

    Parameters
    ----------
    job, catalogue, parameters
        Vessel, shop, limits and prices; the figures; calibrated parameters.
    blend
        Parts by mass of the dry materials; they need not add up to 1.
    water_ratio
        Water per dry mass [-]; default: the blend's own demand.
    explain
        True adds how far a weighing may be off.

    Raises
    ------
    UnknownMaterial
        If the blend names a material the catalogue does not hold.
    """
    problem = problem_of(job, catalogue, parameters, extra=tuple(blend))
    grams = grams_of_blend(problem, blend, water_ratio)
    judged = judge(problem, grams)
    answer = solution_of(problem, judged.verdict, judged)
    return replace(answer, stands=stands(problem, grams)) if explain and judged.sets else answer


def grams_of_blend(problem: Problem, blend: Mapping[str, float], water_ratio: float | None) -> np.ndarray:
    """Return the masses for one filled cavity of a blend, by material and water [g]."""
    parts = np.array([max(blend.get(name, 0.0), 0.0) for name in problem.names])
    ratio = None if water_ratio is None else np.array([water_ratio])
    mix = per_liter(problem.model, (parts / parts.sum())[None, :], ratio)
    return np.asarray(mix[0] * problem.liters * 1e3)


def compare(present: Solution, candidate: Solution) -> Comparison:
    """Return two checked blends side by side; equal blends save exactly nothing."""
    saving = share = None
    if present.cost is not None and candidate.cost is not None:
        saving = present.cost - candidate.cost
        share = saving / present.cost
    return Comparison(present, candidate, saving, share, _retest(present, candidate))


def _retest(present: Solution, candidate: Solution) -> tuple[str, ...]:
    first, second = present.mix, candidate.mix
    if first is None or second is None:
        return ()
    names = set(first.blend) | set(second.blend)
    same = all(abs(first.blend.get(n, 0.0) - second.blend.get(n, 0.0)) < 1e-9 for n in names)
    if same and abs(first.water_ratio - second.water_ratio) < 1e-9 and present.coats == candidate.coats:
        return ()
    return ("seal check", "burn test")


@dataclass(frozen=True)
class Portion:
    """One material on the scale.

    Attributes
    ----------
    name : str
        Material, or ``water``.
    grams : float
        Its mass in one mix [g].
    step : float
        What the scale resolves for it [g].
    running : float
        What the scale shows after it when powders go into one pail [g]; for water its own mass.
    """

    name: str
    grams: float
    step: float
    running: float


@dataclass(frozen=True)
class Batch:
    """One mix, and how often it is made.

    Attributes
    ----------
    vessels : int
        Vessels to cast in all [count].
    mixes, per_mix : int
        Mixes, and vessels cast from each [count].
    portions : tuple[Portion, ...]
        What to weigh for one mix, waste included: powders, pigments, admixtures, water last.
    fill : float
        Wet mix that fills one mold [g].
    """

    vessels: int
    mixes: int
    per_mix: int
    portions: tuple[Portion, ...]
    fill: float

    @property
    def grams(self) -> Mapping[str, float]:
        """Masses of one mix by material and ``water`` [g]."""
        return {portion.name: portion.grams for portion in self.portions}


def batch_of(
    solution: Solution, catalogue: Catalogue, vessels: int, parameters: ParameterSet | None = None
) -> Batch:
    """Return what to weigh to cast `vessels` vessels.

    As few mixes as bucket, molds and working window allow. No rounding lowers the verdict of a limit; where
    none near does, whole multiples of the weighed vessel are taken.

    Parameters
    ----------
    solution : Solution
        A designed or checked blend.
    vessels : int
        Vessels to cast, 1 or more [count].
    parameters : ParameterSet | None
        Calibrated parameters the solution was judged with.

    Raises
    ------
    NoBlend
        If the solution holds no mix.
    """
    if solution.mix is None:
        raise NoBlend("There is no blend to weigh.")
    mixes = math.ceil(vessels / _most_per_mix(solution))
    per_mix = math.ceil(vessels / mixes)
    scale = per_mix * (1.0 + solution.job.shop.waste)
    near = {
        name: _rounded(mass * scale, weighing_step(name, solution, catalogue))
        for name, mass in _mix(solution)
    }
    held = (
        each for each in _near(near, solution, catalogue) if _holds(each, solution, catalogue, parameters)
    )
    grams = next(held, None) or {name: mass * math.ceil(scale) for name, mass in _mix(solution)}
    return Batch(
        vessels, mixes, per_mix, _portions(grams, solution, catalogue), sum(solution.mix.grams.values())
    )


def weighing_order(names: Mapping[str, float], catalogue: Catalogue) -> list[str]:
    """Return materials as they are weighed: powders (most first), pigments, admixtures, water last."""
    dry = sorted((n for n in names if n != "water"), key=lambda n: (_RANKS[catalogue[n].role], -names[n]))
    return [*dry, "water"] if "water" in names else dry


def weighing_step(name: str, solution: Solution, catalogue: Catalogue) -> float:
    """Return what the scale resolves for a material or for ``water`` [g]."""
    shop = solution.job.shop
    fine = name != "water" and catalogue[name].role in ("pigment", "admixture")
    return shop.dose_step if fine else shop.weigh_step


def _most_per_mix(solution: Solution) -> int:
    """Return the vessels of one mix; a blend's window starts where mixing ends, an order's before it."""
    shop = solution.job.shop
    window = solution.properties["working_window"].value + shop.mixing
    return max(1, molds_per_mix(window, shop))


def _mix(solution: Solution) -> Iterator[tuple[str, float]]:
    assert solution.mix is not None
    yield from solution.mix.grams.items()


def _rounded(mass: float, step: float) -> float:
    return round(max(1, round(mass / step)) * step, 9)  # 3.9, not 3.9000000000000004


def _near(
    grams: Mapping[str, float], solution: Solution, catalogue: Catalogue
) -> Iterator[Mapping[str, float]]:
    yield grams
    for name, mass in grams.items():
        step = weighing_step(name, solution, catalogue)
        for moved in (mass + step, mass - step):
            if moved > 0.0:
                yield {**grams, name: round(moved, 9)}


def _holds(
    grams: Mapping[str, float], solution: Solution, catalogue: Catalogue, parameters: ParameterSet | None
) -> bool:
    dry = {name: mass for name, mass in grams.items() if name != "water"}
    ratio = grams["water"] / math.fsum(dry.values())
    judged = check(solution.job, dry, catalogue, ratio, parameters)
    pairs = zip(solution.limits, judged.limits, strict=True)
    sure = solution.job.confidence
    if (judged.joint_probability or 0.0) < sure <= (solution.joint_probability or 0.0):
        return False
    return all(new.verdict == old.verdict or new.verdict == HOLDS for old, new in pairs)


def _portions(grams: Mapping[str, float], solution: Solution, catalogue: Catalogue) -> tuple[Portion, ...]:
    out, running = [], 0.0
    for name in weighing_order(grams, catalogue):
        mass = grams[name]
        running = mass if name == "water" else running + mass
        out.append(Portion(name, mass, weighing_step(name, solution, catalogue), running))
    return tuple(out)


def from_stock(job: Job, vessels: int, where: str = "job") -> Job:
    """Return the job with the materials on the shelf alone, each as far as it goes.

    Parameters
    ----------
    job : Job
        The job; `Price.stock` says what stands on the shelf. What states no stock is not there.
    vessels : int
        Good vessels to make; rejects and waste draw on the same shelf [count].
    where : str
        Place named in a fault.

    Raises
    ------
    FileFaults
        When no material of the job is on the shelf.

    Examples
    --------
    10 kg for 100 vessels without rejects or waste, less the reserve: 99 g in each.

    >>> from optimizer.job import Price, Shop, Vessel
    >>> prices = {"gypsum_cement": Price(25.0, 40.0, stock=10.0), "silica_sand": Price(25.0, 7.0)}
    >>> asked = Job("", "EUR", tuple(prices), Vessel(215.0), Shop(reject=0, waste=0), prices=prices)
    >>> today = from_stock(asked, 100)
    >>> today.materials, today.shelf
    (('gypsum_cement',), {'gypsum_cement': 0.099})
    """
    most = stock_limits(job.prices, vessels, job.shop)
    there = tuple(name for name in job.materials if most.get(name, 0.0) > 0.0)
    if not there:
        repair = 'Give what stands on the shelf, such as stock = "12 kg", under [prices.<material>].'
        raise FileFaults([Fault(f"{where}:prices", "no stock", "a material on the shelf", repair)])
    return replace(job, materials=there, shelf={name: most[name] * (1.0 - RESERVE) for name in there})
