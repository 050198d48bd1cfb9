"""The problem: a job with its catalogue compiled into all a solver needs, frozen, and its limits as rows.

Rows (`limit_rows`) are smooth, of size one, positive where the limit is met. A row is judged by the same
property functions as a report; where a property has a step or a time without an end (coats, demold time) the
row asks the equivalent smooth question.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.errors import Fault, FileFaults
from optimizer.identity import Same
from optimizer.job import Bounds, Job, Limit
from optimizer.materials import Catalogue, Material
from optimizer.money.landed_cost import landed_price
from optimizer.properties.drying import absorption_edge
from optimizer.property_model.model import Model, compile_model
from optimizer.property_model.parameters import ParameterSet, parameters_of
from optimizer.property_model.predict import (
    PREDICTORS,
    Cast,
    Conditions,
    coat_factor_of,
    conditions_of,
    damp_margins_of,
)
from optimizer.property_model.samples import SampleSets
from optimizer.property_model.strength import gain_at

Array = NDArray[np.float64]

_LEAST = {"binder": 0.02, "filler": 0.02, "pigment": 0.002}
"""Smallest share worth weighing and keeping a bag for, when the job states none [fraction]; judgement."""

_LOG: Final = frozenset(
    {
        "fresh_density",
        "demolded_mass",
        "dry_mass",
        "porosity",
        "absorption",
        "wet_strength",
        "dry_strength",
        "flexural_strength",
        "drying_time",
        "embodied_co2",
        "drying_shrinkage",
    }
)
_SCALE: Final = {
    "whiteness": 5.0,
    "casting_peak": 10.0,
    "outer_wall_temperature": 10.0,
    "inner_wall_temperature": 10.0,
    "heat_margin": 10.0,
    "setting_expansion": 1.0,
    "damp_risk": 1.0,
    "sealer_coats": 1.0,
}
"""What counts as one unit of margin for properties that may be zero or negative [the property's unit]."""

_LEAST_SCALE: Final = {"crystalline_silica": 1e-3}
"""Least `row_scale` of shares that may be bounded at a trace or at none [fraction]."""

_FAR = 50.0


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
        return _sample_sets(Same(self.catalogue), self.names, Same(self.parameters))

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

    def most_dose(self, k: int, *, gypsum: bool) -> float:
        """Return the most of an admixture that is used, a share of the binder [-]; infinite: none stated.

        Gypsum bears far less retarder than cement, so its ceiling rules as soon as there is some of it.
        """
        material = self.materials[k]
        return material.figure("max_dose_gypsum" if gypsum else "max_dose_csa", np.inf) / 100.0

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
    known = parameters or _shipped(Same(catalogue), names)
    conditions = conditions_of(job)
    return Problem(job, catalogue, names, known, conditions, compile_model(catalogue, names, known))


@lru_cache(maxsize=4)
def _shipped(catalogue: Same[Catalogue], names: tuple[str, ...]) -> ParameterSet:
    return parameters_of(catalogue.thing, names)


@lru_cache(maxsize=4)
def _sample_sets(
    catalogue: Same[Catalogue], names: tuple[str, ...], parameters: Same[ParameterSet]
) -> SampleSets:
    """Return the sets of like problems, compiled once for the design and for every check beside it."""
    return SampleSets(catalogue.thing, names, parameters.thing)


def counts_money(job: Job) -> bool:
    """Return whether cost is the objective or has a limit, so that every material needs a price."""
    return job.objective == "cost" or any(limit.property == "cost" for limit in job.limits)


def price_faults(job: Job, names: Sequence[str], where: str = "") -> tuple[Fault, ...]:
    """Return a fault for each of the materials `names` that the job gives no price.

    Parameters
    ----------
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


def row_scale(name: str, bound: float) -> float:
    """Return the change of a property that moves its row by about one [the property's unit]."""
    return float(_scale(name, np.asarray(bound, float)))


def _scale(name: str, bound: Array) -> Array:
    return np.asarray(_SCALE.get(name, np.maximum(np.abs(bound), _LEAST_SCALE.get(name, 1e-9))))


def limit_rows(limit: Limit, cast: Cast, bounds: Array | None = None) -> tuple[Array, ...]:
    """Return the margins of each mix to one limit, all >= 0 when met; 1 is 100 % (log) or a `row_scale`.

    Parameters
    ----------
    limit
        The bound; its property must have a predictor (cost is handled by the money rows).
    cast
        Mixes with the conditions they are cast in.
    bounds
        A bound for each mix in place of the limit's own, shape (mixes,) [the property's unit]; infinite
        where a mix has none.
    """
    asked = np.asarray(limit.bound if bounds is None else bounds, float)
    special = _SPECIAL.get((limit.property, limit.sense))
    with np.errstate(divide="ignore", invalid="ignore"):
        if special is not None:
            rows = special(asked, cast)
        else:
            rows = (_plain_row(limit, PREDICTORS[limit.property](cast), asked),)
    if bounds is None:
        return tuple(_tame(row) for row in rows)
    return tuple(np.where(np.isfinite(asked), _tame(row), _FAR) for row in rows)


def _plain_row(limit: Limit, value: Array, bound: Array) -> Array:
    sign = 1.0 if limit.sense == ">=" else -1.0
    if limit.property in _LOG and np.all(bound > 0.0):
        return np.asarray(sign * (np.log(np.maximum(value, 0.0)) - np.log(bound)))
    return np.asarray(sign * (value - bound) / _scale(limit.property, bound))


def held_bound(limit: Limit, shift: float = 0.0) -> float:
    """Return the bound a property keeps where the row of its limit is over-met by `shift`.

    Holds for limits judged by their own value; demold time and working window have rows of their own.

    Examples
    --------
    >>> round(held_bound(Limit("dry_mass", "<=", 400.0), 0.05), 1)
    380.5
    >>> held_bound(Limit("whiteness", ">=", 88.0), 0.2)
    89.0
    """
    sign = 1.0 if limit.sense == ">=" else -1.0
    if limit.property in _LOG and limit.bound > 0:
        return float(limit.bound * np.exp(sign * shift))
    return limit.bound + sign * shift * row_scale(limit.property, limit.bound)


def row_count(limit: Limit) -> int:
    """Return how many rows `limit_rows` gives for a limit."""
    return 2 if (limit.property, limit.sense) == ("demold_time", "<=") else 1


def _tame(row: Array) -> Array:
    # fmax and fmin let a number win over nan: what no chain can evaluate is far from meeting a limit.
    return np.asarray(np.fmin(np.fmax(row, -_FAR), _FAR))


def _demold_within(bound: Array, cast: Cast) -> tuple[Array, ...]:
    """Strong enough at the age of the limit, and set by then."""
    clock = cast.clock
    sooner = bound * np.exp(-cast.departure("demold_time"))
    reached = clock.ln_end + np.log(np.maximum(gain_at(clock, sooner), 1e-9))
    early = bound < cast.conditions.shop.demold_floor
    strong = np.where(early, -_FAR, reached - np.log(cast.demold_need))
    return strong, np.where(early, -_FAR, np.log(bound) - np.log(clock.final))


def _window_at_least(bound: Array, cast: Cast) -> tuple[Array, ...]:
    return (np.log(cast.clock.initial) - np.log(bound + cast.conditions.shop.mixing),)


def _window_at_most(bound: Array, cast: Cast) -> tuple[Array, ...]:
    return (-_window_at_least(bound, cast)[0],)


def _coats_at_most(bound: Array, cast: Cast) -> tuple[Array, ...]:
    """No more absorption than so many whole coats still seal."""
    coats = np.maximum(np.floor(np.where(np.isfinite(bound), bound, 0.0)), 0.0)
    edge = absorption_edge(cast.conditions.shop.target_absorption, coat_factor_of(cast), coats)
    return (np.log(edge) - np.log(np.maximum(cast.absorption, 1e-12)),)


def _damp_at_most(bound: Array, cast: Cast) -> tuple[Array, ...]:
    """How far the next class beyond the bound is; the class itself has no slopes."""
    medium, high = damp_margins_of(cast)
    return (np.where(bound < 1.0, medium, np.where(bound < 2.0, high, _FAR)),)


def _damp_at_least(bound: Array, cast: Cast) -> tuple[Array, ...]:
    medium, high = damp_margins_of(cast)
    return (np.where(bound > 1.0, -high, np.where(bound > 0.0, -medium, _FAR)),)


_SPECIAL: Final[dict[tuple[str, str], Callable[[Array, Cast], tuple[Array, ...]]]] = {
    ("demold_time", "<="): _demold_within,
    ("working_window", ">="): _window_at_least,
    ("working_window", "<="): _window_at_most,
    ("sealer_coats", "<="): _coats_at_most,
    ("damp_risk", "<="): _damp_at_most,
    ("damp_risk", ">="): _damp_at_least,
}
