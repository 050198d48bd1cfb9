"""The compiled chain of one list of materials: a table of coefficients and the global constants.

``table[regime]`` has shape (..., n + 1, m): row i turns one kilogram of material i, the last row one
kilogram of water, into the m columns named by `COLUMNS`. Leading axes are draws of the parameters.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import WATER_DENSITY
from optimizer.materials import Catalogue, Material
from optimizer.property_model.anchors import Anchor, anchor_in
from optimizer.property_model.coefficients import (
    REGIMES,
    WATER_CAPACITY,
    Lookup,
    bound_of,
    lookup_of,
    own_columns,
    plain_columns,
    regime_columns,
)
from optimizer.property_model.parameters import DISCREPANT, Discrepancy, NoTrials, ParameterSet, parameters_of

Array = NDArray[np.float64]

COLUMNS: Final = (
    # regime-dependent
    "gypsum_volume",
    "csa_volume",
    "solids",
    "bound",
    "gypsum_mass",
    "ettringite_mass",
    "monosulfate_mass",
    "dry",
    "moisture",
    "heat_gypsum",
    "heat_csa",
    "capacity",
    "ln_intrinsic_gypsum",
    "ln_intrinsic_csa",
    "ln_dry_ratio",
    "ln_top",
    "ln_initial",
    "ln_final",
    "ln_rate",
    # the same in all regimes
    "volume",
    "powder",
    "binder",
    "heavy",
    "light",
    "heavy_conduct",
    "light_conduct",
    "sand",
    "pigment",
    "demand",
    "reference_water",
    "filler_water",
    "hemihydrate_water",
    "sulfate",
    "yeelimite",
    "silica",
    "co2",
    "scatter",
    "absorb",
    "retard_gypsum",
    "retard_csa",
    "weaken_gypsum",
    "weaken_csa",
    "plasticizer",
    "plasticizer_cut",
    "plasticizer_set",
    "water",
)
INDEX: Final[Mapping[str, int]] = {name: k for k, name in enumerate(COLUMNS)}

REGIME_COLUMNS: Final = INDEX["volume"]
"""How many of them, the first ones, hang on the regime of hydration."""

_REFERENCE_BINDERS = {"gypsum": "gypsum_cement", "csa": "csa_cement"}
"""Sulfate that one binder lends to another's ettringite is credited at these binders' own parameters."""


@dataclass(frozen=True)
class Model:
    """The chain, ready to evaluate mixes of `names`.

    Attributes
    ----------
    names : tuple[str, ...]
        Dry materials in order.
    tables : Mapping[str, Array]
        Per regime the coefficients, shape (..., n + 1, m).
    constants : Mapping[str, Array]
        Global parameters, each of shape () or (draws, 1).
    roles, kinds : tuple[str, ...]
        Role and kind by material.
    anchors : Mapping[str, Anchor]
        Solved reference points by binder.
    discrepancy : Discrepancy
        What the laws lack, for mixes of `names`.
    departures : Mapping[str, Array]
        Its draws by name, each of shape (draws, 1) [standard deviations]; empty at best values.
    """

    names: tuple[str, ...]
    tables: Mapping[str, Array]
    constants: Mapping[str, Array]
    roles: tuple[str, ...]
    kinds: tuple[str, ...]
    anchors: Mapping[str, Anchor]
    discrepancy: Discrepancy = field(default_factory=NoTrials)
    departures: Mapping[str, Array] = field(default_factory=dict)

    def column(self, name: str, regime: str = "excess") -> Array:
        """Return one column's coefficients, shape (..., n + 1): per kg of each material, then of water."""
        return np.asarray(self.tables[regime][..., INDEX[name]])

    @property
    def drawn(self) -> bool:
        """True when the tables carry draws of the parameters."""
        return self.tables["excess"].ndim > 2

    def departure(self, name: str, z: Array) -> Array:
        """Return what the laws lack of discrepancy `name` at mixes ``z``, shape (mixes,) or (draws, mixes).

        On its own scale: the natural log [-], or the property's unit where that is additive.
        """
        mean = self.discrepancy.mean(name, z)
        drawn = self.departures.get(name)
        return mean if drawn is None else np.asarray(mean + self.discrepancy.sd(name, z) * drawn)

    def __getitem__(self, name: str) -> Array:
        """Return the global constant `name`."""
        return self.constants[name]


def compile_model(
    catalogue: Catalogue,
    names: Sequence[str],
    parameters: ParameterSet | None = None,
    fitted: Array | None = None,
    departures: Array | None = None,
) -> Model:
    """Compile the chain for the materials `names`.

    Parameters
    ----------
    catalogue, names
        Where figures come from, and the dry materials of the mix in order.
    parameters
        Uncertain parameters; default: those of the specs.
    fitted
        Values on the fitted scale, shape (m,) or (draws, m); default: the centers.
    departures
        Draws of the discrepancies, shape (draws, len(DISCREPANT)) [sd]; default: their means.
    """
    parameters = parameters or parameters_of(catalogue, names)
    values = parameters.values(fitted)
    materials = {name: catalogue[name] for name in names}
    lookup = lookup_of(catalogue, values)
    anchors = _anchors(catalogue, materials, lookup)
    tables = _tables(materials, lookup, anchors, () if fitted is None else np.shape(fitted)[:-1])
    constants = {key: _expand(values.get(key, figure.value)) for key, figure in catalogue.model.items()}
    return Model(
        tuple(names),
        tables,
        constants,
        tuple(m.role for m in materials.values()),
        tuple(m.kind for m in materials.values()),
        anchors,
        parameters.discrepancy.over(names).at(values),
        {} if departures is None else {name: departures[:, k, None] for k, name in enumerate(DISCREPANT)},
    )


def _expand(value: Array | float) -> Array:
    array = np.asarray(value, float)
    return array[..., None] if array.ndim else array


def _anchors(catalogue: Catalogue, materials: dict[str, Material], lookup: Lookup) -> dict[str, Anchor]:
    binders = dict.fromkeys(name for name, m in materials.items() if m.role == "binder")
    binders |= dict.fromkeys(_REFERENCE_BINDERS.values())
    return {name: anchor_in(catalogue.materials, name, lookup) for name in binders}


def _tables(
    materials: Mapping[str, Material], lookup: Lookup, anchors: Mapping[str, Anchor], draws: tuple[int, ...]
) -> dict[str, Array]:
    """Return the table of each regime, shape (*draws, n + 1, m); what no regime changes is filled in once."""
    shared = np.zeros((*draws, len(materials) + 1, len(COLUMNS)))
    _fill(shared, -1, {"volume": 1.0 / WATER_DENSITY, "capacity": 1e3 * WATER_CAPACITY, "water": 1.0})
    reactive: dict[int, Material] = {}
    for i, material in enumerate(materials.values()):
        _fill(shared, i, plain_columns(material, lookup))
        if bound_of(material).any:
            reactive[i] = material
        else:
            _fill(shared, i, regime_columns(material, "raw", lookup))
    stacked = np.empty((len(REGIMES), *shared.shape))
    stacked[:] = shared
    for regime, table in zip(REGIMES, stacked, strict=True):
        for i, material in reactive.items():
            _fill(table, i, _reactive_columns(material, regime, lookup, anchors))
    return dict(zip(REGIMES, stacked, strict=True))


def _fill(table: Array, row: int, columns: Mapping[str, Array | float]) -> None:
    for name, value in columns.items():
        if not (isinstance(value, float) and value == 0.0):  # the table starts at zero
            table[..., row, INDEX[name]] = value


def _reactive_columns(
    material: Material, regime: str, lookup: Lookup, anchors: Mapping[str, Anchor]
) -> dict[str, Array | float]:
    row = regime_columns(material, regime, lookup)
    own = row if regime in ("raw", "idle") else own_columns(material, lookup)
    for kind in ("gypsum", "csa"):
        volume = own[f"{kind}_volume"]
        _credit(row, kind, volume, anchors.get(material.name))
        _credit(row, kind, row[f"{kind}_volume"] - volume, anchors[_REFERENCE_BINDERS[kind]])
    return row


def _credit(row: dict[str, Array | float], kind: str, volume: Array | float, anchor: Anchor | None) -> None:
    """Add `volume` of hydrates, with the parameters of the binder that is credited for it."""
    if anchor is None or not np.any(volume):
        return
    shares = {
        f"ln_intrinsic_{kind}": anchor.ln_intrinsic,
        "ln_dry_ratio": anchor.ln_dry_ratio,
        "ln_top": anchor.ln_top,
        "ln_initial": anchor.ln_initial,
        "ln_final": anchor.ln_final,
    }
    if kind == "csa":
        shares["ln_rate"] = anchor.ln_rate
    for name, value in shares.items():
        row[name] = row.get(name, 0.0) + volume * value
