"""Strength of the body: pores of the paste, grains, blending and sulfate, on the log scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from optimizer.chain.body import Body
    from optimizer.chain.model import Model

__all__ = ["dry_gain", "flexural", "ln_end_strength", "part_weights", "sulfate_knee"]

Array = NDArray[np.float64]

KNEE_START, KNEE_WIDTH = 1.3, 0.7
"""Sulfate ratio at which excess sulfate begins to weaken ettringite-rich paste, and its ramp.

Published optima of CSA with calcium sulfate lie at M 1.1 to 1.5 (alite-modified clinker series 2019;
phosphogypsum-derived clinker 2022); pores alone would put them at 2.
"""

GYPSUM_FLEXURAL = (np.log(0.772), 0.737)
"""ln of factor, and exponent, of flexural over compressive strength of gypsum: fit to the 2-hour grades
of GOST 125-79 (values from memory, 2 to 25 MPa)."""

CSA_FLEXURAL = (np.log(0.60), 0.65)
"""The same for CSA mortar: judgement."""


def sulfate_knee(sulfate: Array | float, yeelimite: Array | float) -> Array:
    """Return how far excess sulfate weakens the cement part, 0 below M = 1.3 to 1 from M = 2 [-].

    Parameters
    ----------
    sulfate, yeelimite
        Amounts in one molar unit [mol].

    Examples
    --------
    >>> round(float(sulfate_knee(1.65, 1.0)), 6)
    0.5
    """
    ratio = np.asarray(sulfate, float) / np.maximum(yeelimite, 1e-9)
    return np.asarray(np.minimum(np.maximum((ratio - KNEE_START) / KNEE_WIDTH, 0.0), 1.0))


def ln_end_strength(model: Model, body: Body, *, damp: bool = False) -> Array:
    """Return ln of the compressive strength, never dried, when all has reacted [ln MPa].

    Parameters
    ----------
    model, body
        Compiled chain and body, shape (..., mixes).
    damp
        True when the vessel will stand in damp: the blending term is one notch lower.

    Notes
    -----
    ln S = ln s(h) - b(h) phi_p + n_f ln(1 - v_heavy) + n_l ln(1 - v_light) + 4 gamma h_G h_C
    - kappa h_C knee(M) + ln(admixtures), capped at 1.25 times the members' own reference strength.
    Exponential porosity form after Ryshkewitch and Duckworth 1953; slope for gypsum fitted to a dental
    materials handbook table (from memory).
    """
    gypsum, cement = body.gypsum_share, body.csa_share
    paste = np.maximum(body.paste_porosity, model["min_paste_porosity"])
    slope = gypsum * model["b_gypsum"] + cement * model["b_csa"]
    grain = gypsum * model["filler_exponent_gypsum"] + cement * model["filler_exponent_csa"]
    mixed = gypsum * cement
    gamma = model["gamma"] + (model["gamma_damp"] if damp else 0.0)
    knee = sulfate_knee(body["sulfate"], body["yeelimite"])
    value = (
        body.mean("ln_intrinsic_gypsum")
        + body.mean("ln_intrinsic_csa")
        - slope * paste
        + grain * np.log1p(-np.minimum(body["heavy"], 0.99))
        + model["light_exponent"] * np.log1p(-np.minimum(body["light"], 0.99))
        + 4.0 * gamma * mixed
        - model["kappa"] * cement * knee
        + _ln_admixtures(body)
    )
    capped = np.minimum(value, np.log(model["strength_ceiling"]) + body.mean("ln_top"))
    return np.asarray(np.where(body.hydrates > 1e-9, capped, -np.inf))


def _ln_admixtures(body: Body) -> Array:
    """Strength price of retarders: (1 - c dose)^h by hydrate type, dose in % of binder."""
    binder = np.maximum(body["binder"], 1e-9)
    loss = {kind: np.minimum(body[f"weaken_{kind}"] / binder, 0.95) for kind in ("gypsum", "csa")}
    return np.asarray(body.gypsum_share * np.log1p(-loss["gypsum"]) + body.csa_share * np.log1p(-loss["csa"]))


def part_weights(model: Model, body: Body) -> tuple[Array, Array]:
    """Return the shares of the gypsum and the cement part in the blend's strength [-].

    Weighted by volume times own strength: by volume alone 5 % gypsum cement would halve a mortar's
    demold time.
    """
    paste = np.maximum(body.paste_porosity, model["min_paste_porosity"])
    logs = []
    for kind, slope in (("gypsum", model["b_gypsum"]), ("csa", model["b_csa"])):
        volume = np.maximum(body[f"{kind}_volume"], 1e-300)
        logs.append(np.log(volume) + body[f"ln_intrinsic_{kind}"] / volume - slope * paste)
    share = 1.0 / (1.0 + np.exp(np.minimum(np.maximum(logs[1] - logs[0], -500.0), 500.0)))
    share = np.where(body["gypsum_volume"] < 1e-12, 0.0, share)
    share = np.where(body["csa_volume"] < 1e-12, 1.0, share)
    return np.asarray(share), np.asarray(1.0 - share)


def dry_gain(body: Body) -> Array:
    """Return ln of dry over wet strength [-]."""
    return body.mean("ln_dry_ratio")


def flexural(compressive: Array, gypsum_share: Array) -> Array:
    """Return flexural from compressive strength, mixed on the log by hydrate share [MPa].

    Parameters
    ----------
    compressive
        Compressive strength [MPa].
    gypsum_share
        Gypsum-type share of the hydrates [-].

    Examples
    --------
    >>> round(float(flexural(16.0, 1.0)), 2)
    5.96
    """
    log = np.log(np.maximum(compressive, 1e-300))
    gypsum = GYPSUM_FLEXURAL[0] + GYPSUM_FLEXURAL[1] * log
    cement = CSA_FLEXURAL[0] + CSA_FLEXURAL[1] * log
    return np.asarray(np.exp(gypsum_share * gypsum + (1.0 - gypsum_share) * cement))


def compressive_for_flexural(wanted: float, gypsum_share: Array) -> Array:
    """Return the compressive strength at which `flexural` reaches `wanted` [MPa]."""
    factor = gypsum_share * GYPSUM_FLEXURAL[0] + (1.0 - gypsum_share) * CSA_FLEXURAL[0]
    power = gypsum_share * GYPSUM_FLEXURAL[1] + (1.0 - gypsum_share) * CSA_FLEXURAL[1]
    return np.asarray(np.exp((np.log(wanted) - factor) / power))
