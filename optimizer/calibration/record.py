"""A calibration as a record, and as the parameters the chain takes."""

from __future__ import annotations

import datetime as dt
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.process import TaughtDiscrepancy
from optimizer.errors import Fault, FileFaults
from optimizer.identity import Same
from optimizer.materials import Catalogue, Figure, Material, canonical_text
from optimizer.property_model.parameters import VALUE_AT_CAST, Parameter, ParameterSet, parameters_of
from optimizer.tables import data_frame, html_lines, html_table
from optimizer.units import show

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Bag",
    "Calibration",
    "Flagged",
    "Learned",
    "figure_spread",
    "parameter_set",
    "priors_fingerprint",
    "version",
]

Array = NDArray[np.float64]

_DIGITS: Final = 9
_REFERENCE_BINDERS: Final = ("gypsum_cement", "csa_cement")


@dataclass(frozen=True)
class Learned:
    """One figure before and after the trials.

    Attributes
    ----------
    name : str
        As in `optimizer.property_model.parameters`.
    log : bool
        True when center and spread are those of the natural log.
    prior_center, prior_spread : float
        As the specs have it [fitted scale].
    center, spread : float
        After the trials [fitted scale].
    trials : int
        Trials that had something to say about it [count].
    """

    name: str
    log: bool
    prior_center: float
    prior_spread: float
    center: float
    spread: float
    trials: int

    @property
    def before(self) -> tuple[float, float]:
        """Value and standard error before the trials [the figure's own unit]."""
        return self._natural(self.prior_center, self.prior_spread)

    @property
    def after(self) -> tuple[float, float]:
        """Value and standard error after the trials [the figure's own unit]."""
        return self._natural(self.center, self.spread)

    def _natural(self, center: float, spread: float) -> tuple[float, float]:
        value = math.exp(center) if self.log else center
        return value, value * spread if self.log else spread


@dataclass(frozen=True)
class Flagged:
    """One reading that does not fit the others: kept in the book, hardly used.

    Attributes
    ----------
    trial : str
        Id of the trial.
    reading : str
        What was read.
    value : float
        The reading [its unit].
    distance : float
        Standard errors from what all other batches say [-].
    """

    trial: str
    reading: str
    value: float
    distance: float

    @property
    def quantity(self) -> str:
        """Row of `optimizer.nomenclature` with whose unit the reading is shown; empty where none is known."""
        return next((kind.quantity for kind in KINDS.values() if kind.words == self.reading), "")


@dataclass(frozen=True)
class Bag:
    """One lot of a binder beside the others.

    Attributes
    ----------
    material, lot : str
        Which.
    figure : str
        ``strength`` or ``set_time``.
    factor, error : float
        Over what all lots have in common, and its standard error [-].
    """

    material: str
    lot: str
    figure: str
    factor: float
    error: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """What a studio's trials say about the figures.

    Attributes
    ----------
    date : datetime.date
        Day of the calibration.
    version : str
        Version of the package that made it.
    priors : str
        Fingerprint of the figures it began from.
    trials : tuple[str, ...]
        Ids of the trials used.
    materials : tuple[str, ...]
        Materials in them.
    learned : tuple[Learned, ...]
        Figures the readings depend on.
    correlation : Array
        Of the learned figures, shape (m, m).
    taught : tuple[str, ...]
        Discrepancies from the laws that the readings depend on.
    supports : Array
        Castings, as shares of `materials` and twice the water ratio, at which the discrepancies are learned,
        shape (p, n + 1) [-].
    flagged : tuple[Flagged, ...]
        Readings that do not fit.
    bags : tuple[Bag, ...]
        Lots beside each other, where more than one was used.
    """

    date: dt.date
    version: str
    priors: str
    trials: tuple[str, ...]
    materials: tuple[str, ...]
    learned: tuple[Learned, ...]
    correlation: Array
    taught: tuple[str, ...] = ()
    supports: Array = field(default_factory=lambda: np.zeros((0, 1)))
    flagged: tuple[Flagged, ...] = ()
    bags: tuple[Bag, ...] = ()

    @property
    def figures(self) -> tuple[Learned, ...]:
        """What was learned of figures of the chain, without the discrepancies from its laws."""
        return tuple(one for one in self.learned if not one.name.startswith(VALUE_AT_CAST))

    def table(self) -> pd.DataFrame:
        """Return the figures the readings depend on, one a row by its name, before and after."""
        rows = (
            {"figure": one.name, "before": one.before[0], "before_error": one.before[1]}
            | {"after": one.after[0], "after_error": one.after[1], "trials": one.trials}
            for one in self.figures
        )
        return data_frame(rows, "figure")

    def _repr_html_(self) -> str:
        """Return what was learned for a notebook: the figures the trials say anything about."""
        rows = [
            (
                one.name,
                *(f"{value:.4g} ± {left:.2g}" for value, left in (one.before, one.after)),
                one.trials,
            )
            for one in self.figures
            if one.trials
        ]
        words = [
            f"Trial {one.trial}: {one.reading} of {_shown(one)} does not fit the others; look it up."
            for one in self.flagged
        ]
        return html_table(("figure", "before", "after", "trials"), rows) + html_lines(words)

    def rounded(self) -> Calibration:
        """Return the record with the digits its file keeps, so that what is read back is the same."""
        return replace(
            self,
            learned=tuple(_short(one) for one in self.learned),
            correlation=np.round(self.correlation, _DIGITS) + 0.0,
            supports=np.round(self.supports, _DIGITS) + 0.0,
            flagged=tuple(_short(one) for one in self.flagged),
            bags=tuple(_short(one) for one in self.bags),
        )


_Record = TypeVar("_Record", Learned, Flagged, Bag)


def _shown(one: Flagged) -> str:
    return show(one.value, one.quantity) if one.quantity else f"{one.value:.4g}"


def _short(record: _Record) -> _Record:
    numbers: dict[str, Any] = {
        one.name: _digits(getattr(record, one.name))
        for one in fields(record)
        if isinstance(getattr(record, one.name), float)
    }
    return replace(record, **numbers)


def _digits(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}") + 0.0


def figure_spread(catalogue: Catalogue, material: str, figure: str) -> float:
    """Return what one unit of a binder's ``strength`` or ``set_time`` is worth [of the log].

    Both count in spreads of the binder's own figures.
    """
    binder = catalogue[material]
    if figure == "set_time":
        stated = binder.figures["set_initial"]
    else:
        stated = max(binder.reference_points, key=lambda point: point.age).strength
    return Parameter.of_figure("", stated).spread


def version() -> str:
    """Return the version of the package."""
    try:
        return installed("vesselblend")
    except PackageNotFoundError:
        return "not installed"


def priors_fingerprint(catalogue: Catalogue, names: Sequence[str]) -> str:
    """Return the SHA-256 of all numbers of the model and of the materials `names`; words do not enter."""
    whole = {
        "model": _numbers(catalogue.model),
        "materials": {name: _of_material(catalogue[name]) for name in names},
    }
    return hashlib.sha256(canonical_text(whole).encode()).hexdigest()


def _numbers(figures: Mapping[str, Figure]) -> dict[str, tuple[float, float, float]]:
    return {name: (figure.value, figure.low, figure.high) for name, figure in figures.items()}


def _of_material(material: Material) -> dict[str, object]:
    return {
        "role": (material.role, material.kind, material.cement),
        "phases": dict(material.phases),
        "figures": _numbers(material.figures),
        "points": [
            (p.strength.value, p.strength.low, p.strength.high, p.age, p.state, p.water_ratio, p.added_sand)
            for p in material.reference_points
        ],
    }


def parameter_set(calibration: Calibration, catalogue: Catalogue, names: Sequence[str]) -> ParameterSet:
    """Return the chain's parameters for the materials `names`, calibrated where the trials say anything.

    Name every material of the job, and of a blend to be checked: what is not named here is taken as exact.

    Parameters
    ----------
    calibration
        From `calibrate` or a file.
    catalogue
        The figures the calibration began from.
    names
        Materials of the question.

    Raises
    ------
    FileFaults
        If the figures have changed since, so that the trials must be fitted again.

    Notes
    -----
    The same calibration, catalogue and names give the same set, so that what it is compiled to is kept, too.
    """
    return _parameter_set(Same(calibration), Same(catalogue), tuple(names))


@lru_cache(maxsize=8)
def _parameter_set(
    calibrated: Same[Calibration], figures_of: Same[Catalogue], names: tuple[str, ...]
) -> ParameterSet:
    calibration, catalogue = calibrated.thing, figures_of.thing
    known = [name for name in calibration.materials if name in catalogue.materials]
    if priors_fingerprint(catalogue, known) != calibration.priors:
        raise FileFaults([_stale(calibration)])
    # Their bags lend strength to other binders' sulfate, named or not.
    lenders = [name for name in _REFERENCE_BINDERS if name in calibration.materials]
    prior = parameters_of(catalogue, tuple(dict.fromkeys((*names, *lenders))))
    figures = {item.name: item for item in prior}
    here = [k for k, one in enumerate(calibration.learned) if one.name in figures or _of_process(one)]
    learned = [calibration.learned[k] for k in here]
    processes = [
        Parameter(one.name, one.center, one.spread, log=False) for one in learned if _of_process(one)
    ]
    changes = {
        one.name: replace(figures[one.name], center=one.center, spread=one.spread)
        for one in learned
        if one.name in figures
    }
    told = replace(prior, items=(*prior.moved(changes).items, *processes))
    place = {name: k for k, name in enumerate(told.names)}
    places = [place[one.name] for one in learned]
    correlation = np.eye(len(told))
    correlation[np.ix_(places, places)] = calibration.correlation[np.ix_(here, here)]
    origin = {one.name: one.trials for one in learned if one.trials}
    taught = TaughtDiscrepancy(calibration.materials, calibration.supports, calibration.taught)
    discrepancy = taught if calibration.taught else prior.discrepancy
    return replace(told, correlation=correlation, origin=origin, discrepancy=discrepancy)


def _of_process(learned: Learned) -> bool:
    return learned.name.startswith(VALUE_AT_CAST)


def _stale(calibration: Calibration) -> Fault:
    return Fault(
        f"calibration of {calibration.date.isoformat()}",
        "figures other than those it began from",
        "the spec files it was made with",
        "Fit the trials again: vesselblend trials fit; or ask without them: --calibration none",
    )
