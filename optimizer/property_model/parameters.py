"""What the chain is unsure of: named parameters with a center and a spread, and what its laws lack.

A calibration changes centers and spreads and adds correlation; the chain never knows where they came from.

A law that leaves something out is wrong even at its best figures, and by different amounts for different
blends. Each reading y of a blend is taken as ``y = law + d(z) + error`` with one discrepancy d per property
over ``z = (shares of the dry materials, 2 x water ratio)``. Before any trial d has mean zero and a spread; a
calibration conditions it on the casts of the studio (Kennedy and O'Hagan 2001, J. R. Stat. Soc. B 63:425,
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from optimizer.materials import Catalogue, Figure, Material, canonical_text

Array = NDArray[np.float64]

SPREAD_OF_RANGE = 2.0 * 1.6448536269514722
"""Standard deviations between the 5 % and the 95 % point of a normal distribution."""

_NORMAL_MODEL = (
    "gamma",
    "gamma_damp",
    "gamma_time",
    "filler_exponent_csa",
    "yeelimite_degree",
    "pool_temperature",
    "ettringite_limit",
    "burn_reading",
)
_CUT_AT = {
    "gamma_time": (-math.inf, 0.0),
    "yeelimite_degree": (0.3, 1.0),
    "inner_face": (0.0, 1.0),
    "strength_ceiling": (1.02, math.inf),
    "gypsum_end": (1.2, math.inf),
    "coat_error": (0.25 / 0.45, 0.65 / 0.45),
}
"""Least and most value of figures of the model that have an end."""

_MATERIAL_LOG = (
    "density",
    "water_demand",
    "dry_wet_ratio",
    "scattering",
    "embodied_co2",
    "set_factor",
    "conductivity",
    "gypsum_retardation",
    "csa_retardation",
    "gypsum_strength_loss",
    "csa_strength_loss",
    "gypsum_acceleration",
    "csa_acceleration",
)
_MATERIAL_NORMAL = ("reflectance", "water_reduction", "crystalline_silica")
_MOST = {"reflectance": 0.995, "crystalline_silica": 1.0}
_LEAST = {"reflectance": 0.01}
"""A powder of which little is known may be dark in some draws, and no powder is black."""
_DRY_WET = {
    "gypsum": Figure(2.0, 1.67, 2.5, "-", "aij_gypsum_3", "abstract: 0.50 +/- 0.1 wet over dry"),
    "csa": Figure(1.08, 0.95, 1.3, "-", "judgement", "assumption: drying adds little to ettringite"),
}
"""Strength dry over wet of a binder whose file does not state it, by kind."""
_OF_EACH_BAG = {"yeelimite_share": "yeelimite", "anhydrite_share": "anhydrite"}
"""Figures of the model that are the range of a phase of every clinker, drawn bag by bag."""

PRIOR_SPREADS: Final[Mapping[str, float]] = MappingProxyType(
    {
        "demold_time": 0.20,
        "strength": 0.20,
        "mass": 0.016,
        "set": 0.16,
        "whiteness": 1.9,
        "heat": 1.0,
        "absorption": 0.08,
    }
)
"""Standard deviation of the discrepancy before any trial, by its name.

On the natural log [-] but for `whiteness` [L*] and `heat`, of the wall in use [K]. `strength` is that of the
wet and the dry body; bending strength takes its own part of it through its law. `set` is of both setting
times, `mass` of the vessel's masses, `demold_time` of the age with the strength that demolding needs.

Assumption: chosen in simulated studios whose truth followed other laws of strength, set and mixing than
the chain's, as the spreads under which stated chances held best and smaller ones were refuted by the next
casts; half of the studios chose them, the other half agreed."""

DISCREPANT: Final = tuple(PRIOR_SPREADS)
"""Names of the discrepancies, in the order of their draws."""

VALUE_AT_CAST: Final = "discrepancy."
"""How the names of parameters begin that hold what casts have taught of a discrepancy."""


class Discrepancy(Protocol):
    """The discrepancy of every property, with what trials have taught of it."""

    def mean(self, name: str, z: Array) -> Array:
        """Return the mean of discrepancy `name` at mixes ``z`` of shape (mixes, n + 1).

        Shape (mixes,); or (draws, mixes) where it depends on draws of the parameters.
        """

    def sd(self, name: str, z: Array) -> Array:
        """Return its standard deviation at mixes ``z`` of shape (mixes, n + 1), shape (mixes,)."""

    def over(self, names: Sequence[str]) -> Discrepancy:
        """Return the same discrepancy for mixes of the dry materials `names`, in that order."""

    def at(self, parameters: Mapping[str, Array]) -> Discrepancy:
        """Return the discrepancy at values of the parameters, by name, each of shape () or (draws,)."""

    def casts(self, names: tuple[str, ...]) -> Array:
        """Return coordinates of the casts made of the dry materials `names` alone, shape (casts, n + 1)."""


@dataclass(frozen=True)
class NoTrials:
    """The discrepancy before any trial: mean zero, the same spread for every mix.

    Attributes
    ----------
    spreads : Mapping[str, float]
        By name; `PRIOR_SPREADS` unless stated.
    """

    spreads: Mapping[str, float] = field(default_factory=lambda: PRIOR_SPREADS)

    def mean(self, name: str, z: Array) -> Array:
        """Return zeros, see `Discrepancy`."""
        return np.zeros(z.shape[:-1])

    def sd(self, name: str, z: Array) -> Array:
        """Return the spread of `name`, see `Discrepancy`."""
        return np.full(z.shape[:-1], self.spreads[name])

    def over(self, names: Sequence[str]) -> Discrepancy:
        """Return itself: no material is known better than another."""
        return self

    def at(self, parameters: Mapping[str, Array]) -> Discrepancy:
        """Return itself: no parameter says anything of it."""
        return self

    def casts(self, names: tuple[str, ...]) -> Array:
        """Return none."""
        return np.zeros((0, len(names) + 1))


def mix_coordinates(mixes: Array) -> Array:
    """Return ``z`` of mixes [kg/L], both of shape (mixes, n + 1).

    Shares of the dry materials, then twice the water ratio, for a tenth of water changes a body about as
    much as a fifth of its powder (assumption).

    Examples
    --------
    >>> mix_coordinates(np.array([[0.6, 0.6, 0.48]])).tolist()
    [[0.5, 0.5, 0.8]]
    """
    dry = np.maximum(mixes[..., :-1].sum(axis=-1, keepdims=True), 1e-12)
    return np.asarray(np.concatenate([mixes[..., :-1], 2.0 * mixes[..., -1:]], axis=-1) / dry)


@dataclass(frozen=True)
class Parameter:
    """One uncertain number.

    Attributes
    ----------
    name : str
        ``b_gypsum`` for the model, ``gypsum_cement.density`` for a material.
    center, spread : float
        Mean and standard deviation of the parameter itself, or of its natural log when `log`.
    log : bool
        True when the parameter is positive and its log is normal.
    most, least : float
        Largest and smallest allowed value; draws beyond are cut there.
    """

    name: str
    center: float
    spread: float
    log: bool = True
    most: float = math.inf
    least: float = -math.inf

    @classmethod
    def of_figure(
        cls,
        name: str,
        figure: Figure,
        *,
        log: bool = True,
        most: float = math.inf,
        least: float = -math.inf,
    ) -> Parameter:
        """Read low and high of a figure as the 5 % and 95 % points of a (log)normal distribution."""
        if log:
            return cls(name, math.log(figure.value), ln_spread(figure), True, most, least)
        return cls(name, figure.value, (figure.high - figure.low) / SPREAD_OF_RANGE, False, most, least)

    def natural(self, value: Array | float) -> Array:
        """Turn a value of the fitted scale into the parameter's own unit."""
        out = np.exp(value) if self.log else np.asarray(value, float)
        return np.minimum(np.maximum(out, self.least), self.most)


@dataclass(frozen=True)
class ParameterSet:
    """Parameters with their joint normal distribution on the fitted scale.

    Attributes
    ----------
    items : tuple[Parameter, ...]
        Names, centers and spreads.
    correlation : Array | None
        Correlation matrix of a calibration, shape (m, m); None when independent.
    origin : Mapping[str, int]
        Trials that taught a parameter, by name; missing means none.
    discrepancy : Discrepancy
        What the laws lack at every value of the parameters.
    """

    items: tuple[Parameter, ...]
    correlation: Array | None = None
    origin: Mapping[str, int] = field(default_factory=dict)
    discrepancy: Discrepancy = field(default_factory=NoTrials)

    def __len__(self) -> int:
        """Return how many parameters there are."""
        return len(self.items)

    def __iter__(self) -> Iterator[Parameter]:
        """Iterate over the parameters."""
        return iter(self.items)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names in order."""
        return tuple(item.name for item in self.items)

    @cached_property
    def taught_text(self) -> str:
        """What trials have taught, as text for a fingerprint; empty for shipped figures."""
        if not self.origin:
            return ""
        return canonical_text((self.items, () if self.correlation is None else self.correlation.tolist()))

    @property
    def centers(self) -> Array:
        """Centers on the fitted scale, shape (m,)."""
        return np.array([item.center for item in self.items])

    @property
    def spreads(self) -> Array:
        """Standard deviations on the fitted scale, shape (m,)."""
        return np.array([item.spread for item in self.items])

    def covariance(self) -> Array:
        """Return the covariance on the fitted scale, shape (m, m)."""
        spreads = self.spreads
        if self.correlation is None:
            return np.diag(spreads**2)
        return self.correlation * np.outer(spreads, spreads)

    def values(self, fitted: Array | None = None) -> dict[str, Array]:
        """Return each parameter in its own unit, of shape () for `fitted` (m,), (draws,) for (draws, m)."""
        points = self.centers if fitted is None else np.asarray(fitted, float)
        return {item.name: item.natural(points[..., k]) for k, item in enumerate(self.items)}

    def draws(self, count: int, seed: int) -> Array:
        """Return `count` draws on the fitted scale, shape (count, m); same seed, same draws."""
        return self.fitted_at(np.random.default_rng(seed).standard_normal((count, len(self))))

    def fitted_at(self, noise: Array) -> Array:
        """Return the values on the fitted scale at independent standard normals, both of shape (count, m)."""
        if self.correlation is not None:
            noise = noise @ _root(self.correlation).T
        return self.centers + noise * self.spreads

    def moved(self, changes: Mapping[str, Parameter]) -> ParameterSet:
        """Return a copy with some parameters replaced by name."""
        return replace(self, items=tuple(changes.get(item.name, item) for item in self.items))


def _root(matrix: Array) -> Array:
    """Return the symmetric root: the only one that does not hang on which eigenvectors a machine picks."""
    values, vectors = np.linalg.eigh(matrix)
    return np.asarray((vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T)


def ln_spread(figure: Figure) -> float:
    """Return the standard deviation of the natural log of a positive figure [-]."""
    return math.log(figure.high / figure.low) / SPREAD_OF_RANGE


def dry_wet_ratio(material: Material) -> Figure:
    """Return the strength dry over wet of a binder [-]: its file's figure, or that of its kind."""
    return material.figures.get("dry_wet_ratio", _DRY_WET[material.kind])


def parameters_of(catalogue: Catalogue, names: Sequence[str]) -> ParameterSet:
    """List the parameters of the model and of the materials `names`, as shipped or as the specs say."""
    items = [
        _model_parameter(key, figure) for key, figure in catalogue.model.items() if key not in _OF_EACH_BAG
    ]
    for name in names:
        items.extend(_of_material(catalogue[name]))
        for key, phase in _OF_EACH_BAG.items():
            if catalogue[name].phases.get(phase, 0.0) > 0.0:
                items.append(Parameter.of_figure(f"{name}.{phase}", catalogue.model[key]))
    return ParameterSet(tuple(items))


def _model_parameter(key: str, figure: Figure) -> Parameter:
    least, most = _CUT_AT.get(key, (-math.inf, math.inf))
    log = key not in _NORMAL_MODEL and figure.value > 0.0 and figure.low > 0.0
    return Parameter.of_figure(key, figure, log=log, most=most, least=least)


def _of_material(material: Material) -> Iterator[Parameter]:
    for key in (*_MATERIAL_LOG, *_MATERIAL_NORMAL):
        figure = material.figures.get(key)
        if figure is not None:
            log = key in _MATERIAL_LOG and figure.low > 0.0
            name, most = f"{material.name}.{key}", _MOST.get(key, math.inf)
            yield Parameter.of_figure(name, figure, log=log, most=most, least=_LEAST.get(key, 0.0))
    if material.role == "binder":
        # One common factor a bag for its strengths and one for its times: bags differ as a whole.
        yield Parameter(f"{material.name}.strength", 0.0, 1.0, log=False)
        yield Parameter(f"{material.name}.set_time", 0.0, 1.0, log=False)
        if "dry_wet_ratio" not in material.figures:
            yield Parameter.of_figure(f"{material.name}.dry_wet_ratio", dry_wet_ratio(material))
