"""The problem: a job with its catalogue compiled into all a solver needs, frozen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import Fault, FileFaults
from optimizer.job import Bounds, Job, Limit
from optimizer.materials import Catalogue, Material
from optimizer.money.landed_cost import landed_price
from optimizer.property_model.model import Model, compile_model
from optimizer.property_model.parameters import ParameterSet, parameters_of
from optimizer.property_model.predict import Conditions, conditions_of
from optimizer.property_model.samples import SampleSets

Array = NDArray[np.float64]

_LEAST = {"binder": 0.02, "filler": 0.02, "pigment": 0.002}
"""Smallest share worth weighing and keeping a bag for, when the job states none [fraction]; judgement."""


@dataclass(frozen=True)
class Problem:
    """A job ready to be solved.

    Attributes
    ----------
    job, catalogue : Job, Catalogue
        What was asked, and where the figures come from.
    names : tuple[str, ...]
        Dry materials in order; mixes hold one more column, water.
    parameters : ParameterSet
        What the chain is unsure of.
    conditions : Conditions
        Vessel, shop, candle.
    model : Model
        The chain at the centers of the parameters.
    """

    job: Job
    catalogue: Catalogue
    names: tuple[str, ...]
    parameters: ParameterSet
    conditions: Conditions
    model: Model

    @cached_property
    def samples(self) -> SampleSets:
        """The chain at common draws of what is not known, kept by `with_job`."""
        return SampleSets(self.catalogue, self.names, self.parameters)

    @cached_property
    def materials(self) -> tuple[Material, ...]:
        """The dry materials in order."""
        return tuple(self.catalogue[name] for name in self.names)

    @cached_property
    def prices(self) -> Array:
        """Landed price of each dry material and of water, shape (n + 1,) [currency/kg]; nan: not priced."""
        shop = self.job.shop
        out = [
            landed_price(self.job.prices[name], shop.wage).per_usable_kg
            if name in self.job.prices
            else np.nan
            for name in self.names
        ]
        return np.array([*out, shop.water_price])

    @cached_property
    def bounds(self) -> tuple[Bounds, ...]:
        """Least and most share of the dry powder of each material, defaults filled in."""
        return tuple(self._bounds(material) for material in self.materials)

    def _bounds(self, material: Material) -> Bounds:
        stated = self.job.bounds.get(material.name)
        most = material.figure("max_share", 1.0)
        if stated is not None:
            return Bounds(stated.least, min(stated.most, most))
        return Bounds(min(_LEAST.get(material.role, 0.0), most), most)

    @cached_property
    def doses(self) -> tuple[int, ...]:
        """Positions of the admixtures: fixed doses, tried one by one."""
        return tuple(k for k, m in enumerate(self.materials) if m.role == "admixture")

    @cached_property
    def solids(self) -> tuple[int, ...]:
        """Positions of the materials with a free share."""
        return tuple(k for k, m in enumerate(self.materials) if m.role != "admixture")

    @property
    def liters(self) -> float:
        """Slurry in one vessel [L]."""
        return self.job.vessel.cavity_volume * 1e-3

    def limit(self, name: str, sense: str) -> Limit | None:
        """Return the limit on a property in one sense, or None."""
        return next((x for x in self.job.limits if x.property == name and x.sense == sense), None)

    def with_limits(self, limits: Sequence[Limit]) -> Problem:
        """Return the same problem with other limits; nothing is compiled again."""
        return self.with_job(replace(self.job, limits=tuple(limits)))

    def with_job(self, job: Job) -> Problem:
        """Return the same problem asking another job of the same materials, vessel, shop and candle.

        Nothing is compiled again: the draws are shared.
        """
        other = replace(self, job=job)
        other.__dict__["samples"] = self.samples
        return other


def problem_of(
    job: Job,
    catalogue: Catalogue,
    parameters: ParameterSet | None = None,
    extra: Sequence[str] = (),
) -> Problem:
    """Compile a job.

    Parameters
    ----------
    job, catalogue
        The question and the figures.
    parameters
        Calibrated parameters; default: those of the specs.
    extra
        Materials to know beside the job's own, for `check` of a blend that uses them.

    Raises
    ------
    UnknownMaterial
        If a name is not in the catalogue.
    """
    names = tuple(dict.fromkeys((*job.materials, *extra)))
    known = parameters or parameters_of(catalogue, names)
    conditions = conditions_of(job)
    return Problem(job, catalogue, names, known, conditions, compile_model(catalogue, names, known))


def counts_money(job: Job) -> bool:
    """Return whether cost is the objective or has a limit, so that every material needs a price."""
    return job.objective == "cost" or any(limit.property == "cost" for limit in job.limits)


def price_faults(job: Job, names: Sequence[str], where: str = "") -> tuple[Fault, ...]:
    """Return a fault for each of the materials `names` that the job gives no price.

    Parameters
    ----------
    job : Job
        Holds the prices.
    names : Sequence[str]
        Materials that may be used.
    where : str
        Name of the job's file in the faults; empty for a job made in code.
    """
    place = f"{where}:prices" if where else "prices"
    return tuple(
        Fault(
            f"{place}.{name}",
            "nothing",
            "pack and price of every material that may be used",
            f"Write pack and price below a line [prices.{name}], or take {name} out of materials.",
        )
        for name in names
        if name not in job.prices
    )


def require_prices(problem: Problem) -> None:
    """Refuse a problem that asks for money of materials without a price.

    Raises
    ------
    FileFaults
        Naming every unpriced material, when cost is the objective or a limit.
    """
    faults = price_faults(problem.job, problem.names) if counts_money(problem.job) else ()
    if faults:
        raise FileFaults(faults)
