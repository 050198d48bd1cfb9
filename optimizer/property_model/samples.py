"""The chain at common draws of all that is not known: figures, what the laws lack, and a batch's scatter.

Every range, chance and expected cost is the property chain evaluated on such draws, so that nothing is
linearized and what is printed of one mix agrees with what is printed of its neighbor. Solvers have sets that
grow as they go on, `FIRST_LOOK`, `EARLY` and `SEARCH`; whatever people read has `PRINTED`, larger and of
other draws.

`perturbations_of` moves each uncertain parameter by its spread, one at a time: the slopes of readings.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from optimizer.job import Job, Shop, Vessel
from optimizer.materials import Catalogue
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.model import Model, compile_model
from optimizer.property_model.parameters import DISCREPANT, PRIOR_SPREADS, VALUE_AT_CAST, ParameterSet
from optimizer.property_model.predict import PREDICTORS, Cast, Conditions, cast_of, conditions_of

Array = NDArray[np.float64]

_FINE_ROLES: Final = ("pigment", "admixture")
"""Roles weighed on the finer scale."""

_UNIFORM: Final = 1.0 / np.sqrt(12.0)
"""Standard deviation of a uniform error over its width [-]: rounding to a scale's step (JCGM 100:2008, 4.3.7,
from memory)."""

_MOST_ERROR: Final = 0.5
"""Largest relative weighing error [-]: what a dose below the scale's step is weighed to, assumption."""

_AIR_TEMPERATURES: Final = (1.0, 60.0)
"""Room temperatures that the drying law covers [degC]; draws beyond are cut there."""

_MOST_CONDITIONS: Final = 8
"""Conditions kept at their drawn temperatures [count]."""

_MOST_DIMENSIONS: Final = 1024
"""Dimensions of draws kept, for figures that the next list of materials has too [count]."""

_MOST_AIR: Final = 0.5
"""Largest share of air a draw may have [fraction]; assumption, never met with figures of a studio."""

_NEAR: Final = 0.03
"""How near a draw is brought to the straight fit [spreads of the discrepancy]; judgement, checked against a
Markov chain."""

_TURNS: Final = 2
"""Times that a draw is moved: a discrepancy of strength or set also moves what follows from it."""


@dataclass(frozen=True)
class DrawSet:
    """How many draws, and which.

    Attributes
    ----------
    count : int
        Number of draws [count].
    seed : int
        Names the set; other seeds give other draws, the same seed the same draws on any machine.
    """

    count: int
    seed: int


SEARCH: Final = DrawSet(512, 1)
"""Draws for solvers."""

EARLY: Final = DrawSet(96, 4)
"""Draws of the first walks of solvers, whose ends are walked on in `SEARCH`."""

SUREST: Final = DrawSet(1024, 5)
"""Draws in which the surest blend is found: near the top of a chance all mixes are nearly alike."""

FIRST_LOOK: Final = DrawSet(32, 3)
"""Draws with which solvers look over a grid of blends before they choose where to start."""

PRINTED: Final = DrawSet(2048, 2)
"""Draws for whatever is printed; no solver sees them."""


@dataclass(frozen=True)
class Samples:
    """The chain compiled at draws of figures and discrepancies, with draws of the batch scatter.

    Attributes
    ----------
    model : Model
        Compiled at the draws; tables of shape (draws, n + 1, m).
    weighing : Array
        Error of each dry material and of water, shape (draws, 1, n + 1) [standard deviations].
    temperature, air : Array
        Departure of room and water temperature and of mixed-in air, shape (draws, 1) [standard deviations].

    Notes
    -----
    How large one standard deviation is, the shop says (`optimizer.job.Shop`), so one set
    serves every job of the same materials and figures.
    """

    model: Model
    weighing: Array
    temperature: Array
    air: Array
    _conditions_kept: dict[int, tuple[Conditions, Conditions]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def __len__(self) -> int:
        """Return how many draws there are."""
        return len(self.air)

    def cast(self, conditions: Conditions, mixes: Array) -> Cast:
        """Return the casts of mixes in every draw: properties of shape (draws, mixes).

        Parameters
        ----------
        conditions
            Where the mixes are cast; its shop states the scatter.
        mixes
            Intended kilograms per liter, shape (mixes, n + 1) [kg/L].
        """
        shop = conditions.shop
        air = np.clip(self.model["air"] + shop.air_error * self.air, 0.0, _MOST_AIR)
        model = replace(self.model, constants={**self.model.constants, "air": air})
        weighed = np.zeros((len(self), *mixes.shape))
        used = np.flatnonzero(mixes.any(axis=0))
        errors = self._weighing_errors(conditions, mixes)[:, used] * self.weighing[:, :, used]
        weighed[:, :, used] = mixes[:, used] * np.exp(errors)
        return cast_of(model, self._drawn_conditions(conditions), weighed, mixes)

    def _drawn_conditions(self, conditions: Conditions) -> Conditions:
        """Return the conditions at the drawn temperatures, worked out once for all mixes cast at it."""
        if id(conditions) not in self._conditions_kept:
            if len(self._conditions_kept) >= _MOST_CONDITIONS:
                self._conditions_kept.clear()
            shop = conditions.shop
            there = np.clip(shop.temperature + shop.temperature_error * self.temperature, *_AIR_TEMPERATURES)
            self._conditions_kept[id(conditions)] = (
                conditions,
                conditions.at(there),
            )  # holding the first keeps its id its own
        return self._conditions_kept[id(conditions)][1]

    def _weighing_errors(self, conditions: Conditions, mixes: Array) -> Array:
        """Return the relative error of each weighing, shape (mixes, n + 1) [standard deviation, -].

        The stated share of the amount and rounding to the scale's step, in one mix of the shop.
        """
        shop = conditions.shop
        grams = mixes * conditions.vessel.cavity_volume * _vessels_per_mix(shop)
        fine = [role in _FINE_ROLES for role in self.model.roles]
        steps = np.array([shop.dose_step if x else shop.weigh_step for x in fine] + [shop.weigh_step])
        shares = np.array([shop.powder_error] * len(fine) + [shop.water_error])
        rounding = _UNIFORM * steps / np.maximum(grams, _UNIFORM * steps)
        return np.asarray(np.minimum(np.hypot(shares, rounding), _MOST_ERROR))


def _vessels_per_mix(shop: Shop) -> float:
    """Return the vessels' worth of slurry that one mix makes, waste included [count]."""
    return shop.molds_per_mix * (1.0 + shop.waste)


def samples_of(
    catalogue: Catalogue,
    names: Sequence[str],
    parameters: ParameterSet,
    draws: DrawSet = PRINTED,
    straightening: Straightening | None = None,
) -> Samples:
    """Compile the chain of the materials `names` at common draws.

    Parameters
    ----------
    catalogue, names
        Where figures come from, and the dry materials of the mixes in order.
    parameters
        What is uncertain, with its correlation where a calibration has found one.
    draws
        Which draws.
    straightening
        That of the same figures, where other sets have it already.
    """
    departures = standard_normals(draws, [f"departure of {name}" for name in DISCREPANT])
    weighing = standard_normals(draws, [f"weighing of {name}" for name in (*names, "water")])
    temperature, air = standard_normals(draws, ("temperature of the day", "air of the day")).T[..., None]
    fitted = parameters.fitted_at(standard_normals(draws, parameters.names))
    straightening = straightening or Straightening(catalogue, tuple(names), parameters)
    fitted = straightening.straightened(fitted)
    model = compile_model(catalogue, names, parameters, fitted, departures)
    return Samples(model, weighing[:, None, :], temperature, air)


@dataclass(frozen=True)
class Straightening:
    """Makes draws of fitted parameters expect at the casts what the straight fit does.

    A fit leaves a normal distribution of the figures: narrow along what the casts have shown, wide along all
    else. The laws are curved, and a draw far out along what is wide expects other readings of the casts than
    the fit does: ranges near the casts would come out twice as wide as what is known there. What the curved
    laws add at the casts is therefore taken back by the discrepancy of the draw.

    Attributes
    ----------
    catalogue, names
        Where figures come from, and the dry materials of the mixes in order.
    parameters
        Where its discrepancy knows of no casts, the draws stay.

    Notes
    -----
    With slopes D of the expectations over the values of the discrepancy, the excess r of a draw over the
    straight expectation is taken back by ``D' (D D' + e^2)^-1 r``: one step of the least squares by which a
    draw of its own would be fitted (randomize-then-optimize, Bardsley et al. 2014, SIAM J. Sci. Comput.
    36:A1895, from memory), over the discrepancy alone, which is nearly straight.
    """

    catalogue: Catalogue
    names: tuple[str, ...]
    parameters: ParameterSet

    def straightened(self, fitted: Array) -> Array:
        """Return draws of shape (draws, m) on the fitted scale, moved."""
        if not self._taught:
            return fitted
        live, slopes, gain, lacking, center = self._fit
        steps = (fitted - self.parameters.centers)[:, live] / self.parameters.spreads[live]
        straight = center + steps @ slopes
        out = fitted.copy()
        for _ in range(_TURNS):
            excess = self._expected(out) - straight  # none where a draw never comes out of its mold
            out[:, live[lacking]] -= np.where(np.isfinite(excess), excess, 0.0) @ gain
        return out

    @cached_property
    def _casts(self) -> Array:
        return self.parameters.discrepancy.casts(self.names)

    @cached_property
    def _taught(self) -> list[str]:
        """Discrepancies that casts have taught something of."""
        told = [name for name in self.parameters.names if name.startswith(VALUE_AT_CAST)]
        if not len(self._casts):
            return []
        return [name for name in DISCREPANT if any(x.startswith(f"{VALUE_AT_CAST}{name}.") for x in told)]

    @cached_property
    def _mixes(self) -> Array:
        model = compile_model(self.catalogue, self.names, self.parameters)
        return per_liter(model, self._casts[:, :-1], self._casts[:, -1] / 2.0)

    def _expected(self, values: Array) -> Array:
        model = compile_model(self.catalogue, self.names, self.parameters, values)
        return _at_casts(model, self._mixes, self._taught)

    @cached_property
    def _fit(self) -> tuple[NDArray[np.intp], Array, Array, NDArray[np.bool_], Array]:
        """Positions of what is not known, slopes over it, gain, which of it is discrepancy, and center."""
        parameters = self.parameters
        moves = perturbations_of(self.catalogue, self.names, parameters)
        live = np.array([parameters.names.index(name) for name in moves.names])
        slopes = np.nan_to_num(moves.changes(_at_casts(moves.model, self._mixes, self._taught)))
        lacking = np.array([name.startswith(VALUE_AT_CAST) for name in moves.names])
        own = slopes[lacking] / parameters.spreads[live[lacking], None]
        gain = np.linalg.solve(own.T @ own + _NEAR**2 * np.eye(own.shape[1]), own.T)
        return live, slopes, gain, lacking, self._expected(parameters.centers[None, :])


def _at_casts(model: Model, mixes: Array, taught: Sequence[str]) -> Array:
    """Return what is expected of the casts, shape (draws, readings) [spreads of the discrepancy].

    One property for each discrepancy that casts have taught: what else there is follows it.
    """
    cast = cast_of(model, conditions_of(Job("casts", "", (), Vessel(1000.0))), mixes)
    with np.errstate(divide="ignore", invalid="ignore"):
        rows = {
            "demold_time": np.log(PREDICTORS["demold_time"](cast)),
            "strength": np.log(cast.dry_strength),
            "mass": np.log(PREDICTORS["dry_mass"](cast)),
            "set": np.log(cast.clock.initial),
            "whiteness": PREDICTORS["whiteness"](cast),
            "absorption": np.log(cast.absorption),
        }
    shape = (len(cast.fresh_density), len(mixes))
    scaled = [np.broadcast_to(rows[name], shape) / PRIOR_SPREADS[name] for name in taught if name in rows]
    return np.concatenate([np.zeros((len(cast.fresh_density), 0)), *scaled], axis=1)


@dataclass(frozen=True)
class SampleSets:
    """The sets of one list of materials, each compiled when first asked for.

    Attributes
    ----------
    catalogue, names, parameters
        As for `samples_of`.
    """

    catalogue: Catalogue
    names: tuple[str, ...]
    parameters: ParameterSet

    @cached_property
    def _straightening(self) -> Straightening:
        return Straightening(self.catalogue, self.names, self.parameters)

    def _of(self, draws: DrawSet) -> Samples:
        return samples_of(self.catalogue, self.names, self.parameters, draws, self._straightening)

    @cached_property
    def search(self) -> Samples:
        """Draws for solvers."""
        return self._of(SEARCH)

    @cached_property
    def early(self) -> Samples:
        """Draws of the first walks of solvers."""
        return self._of(EARLY)

    @cached_property
    def surest(self) -> Samples:
        """Draws for the last walks of the surest blend."""
        return self._of(SUREST)

    @cached_property
    def first_look(self) -> Samples:
        """Draws for choosing where solvers start."""
        return self._of(FIRST_LOOK)

    @cached_property
    def printed(self) -> Samples:
        """Draws for whatever is printed."""
        return self._of(PRINTED)


def standard_normals(draws: DrawSet, names: Sequence[str]) -> Array:
    """Return draws of independent standard normals, one dimension for each name, shape (count, names).

    Notes
    -----
    Latin hypercube (McKay, Beckman and Conover 1979, Technometrics 21:239, from memory): in each dimension
    one draw at the middle of each of `count` equally likely strata, in an order of its own. The order hangs
    on the name alone: a range does not move because another material is listed or another figure is drawn.
    It comes from the raw bits of a counter-based generator, the same in every version of the library.

    Examples
    --------
    >>> draws = standard_normals(DrawSet(256, 1), ("air", "gamma", "cavity"))
    >>> draws.shape, bool(abs(draws.mean(axis=0)).max() < 1e-12)
    ((256, 3), True)
    """
    return np.stack([_dimension(draws, name) for name in names], axis=1)


@lru_cache(maxsize=_MOST_DIMENSIONS)
def _dimension(draws: DrawSet, name: str) -> Array:
    key = int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "little")
    stream = np.random.Philox(key=np.array([draws.seed, key], np.uint64))
    order = np.argsort(stream.random_raw(draws.count), kind="stable")
    return np.asarray(ndtri((order + 0.5) / draws.count))


def points_of(draws: Array, shares: Array | Sequence[float] | float) -> Array:
    """Return the points of draws that `shares` of them do not exceed [their unit].

    Parameters
    ----------
    draws
        Values, infinity among them where some draws never set, dry or seal; all are taken together.
    shares
        Shares of the draws [fraction].

    Notes
    -----
    Each point is one of the draws: between two of them there is nothing to interpolate where one is
    infinite. Draws that are no number give points that are none.

    Examples
    --------
    >>> points_of(np.array([30.0, np.inf, 20.0, np.inf]), (0.25, 0.5, 0.95)).tolist()
    [20.0, 30.0, inf]
    """
    if np.isnan(draws).any():
        return np.full(np.shape(shares), np.nan)
    return np.asarray(np.quantile(np.ravel(draws), shares, method="inverted_cdf"), float)


@dataclass(frozen=True)
class Perturbations:
    """The chain with each uncertain parameter moved down and up by one standard deviation.

    Attributes
    ----------
    model : Model
        Compiled with 2 k draws: first all moves down, then all moves up.
    correlation : Array
        Correlation of the moved parameters, shape (k, k); the identity when independent.
    names : tuple[str, ...]
        Moved parameters.
    """

    model: Model
    correlation: Array
    names: tuple[str, ...]

    def changes(self, values: Array) -> Array:
        """Return the change per standard deviation of values of shape (2 k, ...), shape (k, ...)."""
        half = len(self.names)
        return np.asarray((values[half:] - values[:half]) / 2.0)

    def spread(self, changes: Array) -> Array:
        """Return the standard deviation that changes of shape (k, ...) add up to."""
        flat = changes.reshape(len(self.names), -1)
        return np.asarray(np.sqrt(np.sum(flat * (self.correlation @ flat), axis=0))).reshape(
            changes.shape[1:]
        )


def perturbations_of(catalogue: Catalogue, names: tuple[str, ...], parameters: ParameterSet) -> Perturbations:
    """Compile the chain once for all single moves of the parameters."""
    spreads = parameters.spreads
    live = np.flatnonzero(spreads > 0.0)
    shifts = np.zeros((len(live), len(spreads)))
    shifts[np.arange(len(live)), live] = spreads[live]
    fitted = np.concatenate([parameters.centers - shifts, parameters.centers + shifts])
    correlation = np.eye(len(spreads)) if parameters.correlation is None else parameters.correlation
    return Perturbations(
        compile_model(catalogue, names, parameters, fitted),
        correlation[np.ix_(live, live)],
        tuple(parameters.names[k] for k in live),
    )
