"""The hardened body of a mix: which hydrates, which pores, which grains, per liter of slurry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import WATER_DENSITY
from optimizer.property_model.model import INDEX, REGIME_COLUMNS, Model

Array = NDArray[np.float64]

_TINY = 1e-12


@dataclass(frozen=True)
class Body:
    """Sums over the materials of a mix, each of shape (..., mixes).

    Attributes
    ----------
    columns : Array
        The sums named by `property_model.model.COLUMNS`, shape (..., m, mixes), per liter of slurry.
    degree : Array
        How much of what reacts of the cement with plenty of water has found water [fraction].
    hydrates : Array
        Volume of all hydrates [L/L].
    gypsum_share, csa_share : Array
        Shares of the two hydrate types in that volume [fraction].
    porosity, paste_porosity : Array
        Pores, air included, over the body and over the body less its grains [fraction].
    per_hydrate : Array
        One over the volume of hydrates [L/L].
    """

    columns: Array
    degree: Array
    hydrates: Array
    gypsum_share: Array
    csa_share: Array
    porosity: Array
    paste_porosity: Array
    per_hydrate: Array

    def __getitem__(self, name: str) -> Array:
        """Return the sum named `name`, shape (..., mixes)."""
        return np.asarray(self.columns[..., INDEX[name], :])

    def mean(self, name: str) -> Array:
        """Return a hydrate-weighted mean of a log column, 0 where there are no hydrates."""
        return np.asarray(self.columns[..., INDEX[name], :] * self.per_hydrate)


def _sums(model: Model, mixes: Array) -> tuple[Array, Array | None, Array]:
    """Return the sums with all of the binder reacted, those of what has reacted, and the degree.

    The second are only those that hang on the regime of hydration, and None where no mix is short of water.
    """
    full = _summed(mixes, model.tables["excess"])
    lean = _one(full, "sulfate") < 2.0 * _one(full, "yeelimite")
    if np.any(lean):
        short = _summed(mixes, model.tables["short"][..., :REGIME_COLUMNS])
        np.copyto(full[..., :REGIME_COLUMNS, :], short, where=lean[..., None, :])
    water, own = _one(full, "water"), _one(full, "hemihydrate_water")
    wanted = _one(full, "bound") - own
    degree = np.minimum(np.maximum((water - own) / np.maximum(wanted, _TINY), 0.0), 1.0)
    degree = np.where(wanted <= _TINY, np.where(water < own, 0.0, 1.0), degree)
    if np.all(degree >= 1.0):
        return full, None, degree
    idle = _summed(mixes, model.tables["idle"][..., :REGIME_COLUMNS])
    there = full[..., :REGIME_COLUMNS, :] - idle
    there *= degree[..., None, :]
    there += idle
    if np.any(water < own):
        raw = _summed(mixes, model.tables["raw"][..., :REGIME_COLUMNS])
        wet = np.minimum(water / np.maximum(own, _TINY), 1.0)[..., None, :]
        there = np.where(wet < 1.0, raw + wet * (idle - raw), there)
    return full, there, degree


def _summed(mixes: Array, table: Array) -> Array:
    """Return the sums over materials, shape (..., m, mixes): each of them lies together in memory."""
    return np.asarray(np.swapaxes(table, -1, -2) @ np.swapaxes(mixes, -1, -2))


def _one(sums: Array, name: str) -> Array:
    return np.asarray(sums[..., INDEX[name], :])


def body_of(model: Model, mixes: Array) -> Body:
    """Return the body of each mix.

    Parameters
    ----------
    mixes
        Kilograms per liter of slurry of each material and, last, of water; shape (mixes, n + 1). The
        volumes and the air must fill the liter (`per_liter` sees to that).
    """
    columns, there, degree = _sums(model, mixes)
    paste = _paste_porosity(columns)
    if there is not None:
        # Water below the need of hydration never makes a body stronger: judge the pores it would have
        # with just enough water.
        more = np.maximum(_one(columns, "bound") - _one(columns, "water"), 0.0) / WATER_DENSITY
        liters = (_one(columns, "volume") + more) / (1.0 - model["air"])
        enough = _paste_porosity(columns, liters)
        columns[..., :REGIME_COLUMNS, :] = there
        paste = np.maximum(_paste_porosity(columns), enough)
    porosity = 1.0 - _one(columns, "solids")
    gypsum, cement = _one(columns, "gypsum_volume"), _one(columns, "csa_volume")
    hydrates = gypsum + cement
    inverse = 1.0 / np.maximum(hydrates, _TINY)
    share = gypsum * inverse
    return Body(columns, degree, hydrates, share, 1.0 - share, porosity, paste, inverse)


def _paste_porosity(columns: Array, liters: Array | float = 1.0) -> Array:
    grains = (_one(columns, "heavy") + _one(columns, "light")) / liters
    return np.asarray((1.0 - _one(columns, "solids") / liters) / np.maximum(1.0 - grains, 1e-6))


def _need(model: Model, mixes: Array) -> Array:
    """Return the water that all of the binders take up [kg/L]."""
    bound = {regime: mixes @ model.column("bound", regime) for regime in ("excess", "short")}
    lean = mixes @ model.column("sulfate") < 2.0 * (mixes @ model.column("yeelimite"))
    return np.asarray(np.where(lean, bound["short"], bound["excess"]))


def _liters(model: Model, mixes: Array) -> Array:
    volume = model.column("volume")
    liters = mixes @ volume if volume.ndim == 1 else (mixes @ volume[..., None])[..., 0]
    return np.asarray(liters / (1.0 - model["air"]))


def refilled(model: Model, mixes: Array) -> Array:
    """Return the mixes scaled so that each fills its liter, shape (..., mixes, n + 1) [kg/L]."""
    return np.asarray(mixes / _liters(model, mixes)[..., None])


def demand_of(model: Model, shares: Array) -> Array:
    """Return the water ratio each blend asks for: to pour, and at least to hydrate [kg/kg dry].

    Parameters
    ----------
    shares
        Mass share of each dry material, shape (blends, n); sums of 1.
    """
    dry = np.concatenate([shares, np.zeros((*shares.shape[:-1], 1))], axis=-1)
    pour = (dry @ model.column("demand")) * (1.0 - water_cut(model, dry))
    return np.asarray(np.maximum(pour, _need(model, dry)))


def water_cut(model: Model, mixes: Array) -> Array:
    """Return the share of the water demand that the plasticizer saves [-]."""
    powder = np.maximum(mixes @ model.column("powder"), _TINY)
    doses = (mixes @ model.column("plasticizer")) / powder
    return np.asarray((mixes @ model.column("plasticizer_cut")) / powder / np.maximum(doses, 1.0))


def per_liter(model: Model, shares: Array, water_ratio: Array | None = None) -> Array:
    """Return the masses per liter of slurry of blends, shape (blends, n + 1) [kg/L].

    Parameters
    ----------
    model
        Compiled chain (central parameters).
    shares
        Mass share of each dry material, shape (blends, n); sums of 1.
    water_ratio
        Water per dry material, shape (blends,) [kg/kg]; default: the blend's own demand.
    """
    shares = np.atleast_2d(np.asarray(shares, float))
    water = demand_of(model, shares) if water_ratio is None else np.broadcast_to(water_ratio, len(shares))
    raw = np.concatenate([shares, np.asarray(water)[..., None]], axis=-1)
    return np.asarray(raw / _liters(model, raw)[..., None])
