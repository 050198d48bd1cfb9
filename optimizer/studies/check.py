"""Check any blend against the limits, and against another blend: the cheaper-blend question."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.money.landed_cost import landed_price
from optimizer.money.vessel_cost import cost_coefficients
from optimizer.nomenclature import quantity
from optimizer.problem import Problem, problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.parameters import ParameterSet
from optimizer.solution import Solution, shown
from optimizer.tables import data_frame, html_lines, html_table
from optimizer.units import show
from optimizer.verdict.assess import stands
from optimizer.verdict.judge import judge, solution_of

if TYPE_CHECKING:
    import pandas as pd


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
