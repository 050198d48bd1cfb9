"""Strength of the body: pores of the paste, grains, blending and sulfate, on the log scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimizer.property_model.microstructure import Body
    from optimizer.property_model.model import Model

Array = NDArray[np.float64]

KNEE_WIDTH, KNEE_BLUR = 0.7, 0.12
"""Ramp of the sulfate knee in mol CaSO4 per mol ye'elimite, and how far a bag's unknown sulfate blurs it [-].

Where it starts is the model's figure `sulfate_knee`. Published optima of CSA with calcium sulfate lie far
apart, clinker by clinker (alite-modified clinker series 2019; phosphogypsum-derived clinker 2022: 1.1 to
1.5); pores alone would put them at 2. Width and blur are assumptions.
"""

FLEXURAL_POWER = {"gypsum": 0.737, "csa": 0.65}
"""Exponent of bending on compressive strength [-]; the factors are figures of the model.

Gypsum: fit to the 2-hour grades of GOST 125-79 (values from memory, 2 to 25 MPa). CSA: assumption; with it
and 0.55 the nine pairs of GB 20472 classes, 60/8 to 95/11 as a trade table quotes them, come out.
"""

FLEXURAL_RANGE = 40.0
"""Compressive strength above which gypsum's bending strength is not carried on [MPa]: dense dry bodies have
8 to 13 MPa (from memory)."""


def sulfate_knee(sulfate: Array | float, yeelimite: Array | float, start: Array | float) -> Array:
    """Return how far excess sulfate weakens the cement part, from 0 well below `start` to 1 [-].

    Parameters
    ----------
    sulfate, yeelimite
        Amounts in one molar unit [mol].
    start
        Sulfate ratio at which the loss begins [-].

    Examples
    --------
    >>> round(float(sulfate_knee(1.75, 1.0, 1.4)), 6)
    0.5
    """
    ratio = np.asarray(sulfate, float) / np.maximum(yeelimite, 1e-9)
    past = (np.minimum(ratio, 1e3) - start) / KNEE_BLUR
    ramp = np.logaddexp(0.0, past) - np.logaddexp(0.0, past - KNEE_WIDTH / KNEE_BLUR)
    return np.asarray(ramp * (KNEE_BLUR / KNEE_WIDTH))


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
    - kappa h_C knee(M) + h_G ln(1 - retarder loss). Beyond the members' own reference strength the cement
    part gains less and less: no measured paste backs it. Exponential porosity form after Ryshkewitch and
    Duckworth 1953; slope for gypsum fitted to a dental materials handbook table (from memory).
    """
    gypsum, cement = body.gypsum_share, body.csa_share
    paste = np.maximum(body.paste_porosity, model["min_paste_porosity"])
    slope = gypsum * model["b_gypsum"] + cement * model["b_csa"]
    grain = gypsum * model["filler_exponent_gypsum"] + cement * model["filler_exponent_csa"]
    mixed = gypsum * cement
    gamma = model["gamma"] + (model["gamma_damp"] if damp else 0.0)
    knee = sulfate_knee(body["sulfate"], body["yeelimite"], model["sulfate_knee"])
    value = (
        body.mean("ln_intrinsic_gypsum")
        + body.mean("ln_intrinsic_csa")
        - slope * paste
        + grain * np.log1p(-np.minimum(body["heavy"], 0.99))
        + model["light_exponent"] * np.log1p(-np.minimum(body["light"], 0.99))
        + 4.0 * gamma * mixed
        - model["kappa"] * cement * knee
        + _ln_retarded(model, body)
    )
    bend = np.log(model["strength_ceiling"])
    over = np.maximum(value - body.mean("ln_top"), 0.0)
    value = value - cement * (over - bend * np.log1p(over / bend))
    return np.asarray(np.where(body.hydrates > 1e-9, value, -np.inf))


_MOST_LOST = 0.99
"""Largest share of its strength that a draw of an overdose may take [-]: some is left of what sets at all."""


def _ln_retarded(model: Model, body: Body) -> Array:
    """Strength that gypsum loses for good beside a retarder, by its share of the hydrates [ln]."""
    return np.asarray(
        body.gypsum_share * np.log1p(-np.minimum(retarder_loss(model, body, "gypsum"), _MOST_LOST))
    )


def retarder_loss(model: Model, body: Body, kind: str) -> Array:
    """Return the share of its strength that one binder type loses beside retarders [fraction].

    In step with a small dose in % of binder, never more than the figure `most_retarder_loss`.
    """
    most = model["most_retarder_loss"]
    wanted = body[f"weaken_{kind}"] / np.maximum(body["binder"], 1e-9)
    return np.asarray(-most * np.expm1(-wanted / most))


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


def flexural(model: Model, compressive: Array, gypsum_share: Array) -> Array:
    """Return flexural from compressive strength, mixed on the log by hydrate share [MPa].

    Parameters
    ----------
    model
        Compiled chain, with the factors of both binder types.
    compressive
        Compressive strength [MPa].
    gypsum_share
        Gypsum-type share of the hydrates [-].
    """
    log = np.log(np.maximum(compressive, 1e-300))
    gypsum = np.log(model["flexural_gypsum"]) + FLEXURAL_POWER["gypsum"] * np.minimum(
        log, np.log(FLEXURAL_RANGE)
    )
    cement = np.log(model["flexural_csa"]) + FLEXURAL_POWER["csa"] * log
    return np.asarray(np.exp(gypsum_share * gypsum + (1.0 - gypsum_share) * cement))


def compressive_for_flexural(
    model: Model | Mapping[str, float], wanted: Array | float, gypsum_share: Array
) -> Array:
    """Return the compressive strength at which `flexural` reaches `wanted` [MPa]; below `FLEXURAL_RANGE`.

    Examples
    --------
    >>> factors = {"flexural_gypsum": 0.772, "flexural_csa": 0.55}
    >>> [round(float(compressive_for_flexural(factors, 2.0, share)), 1) for share in (1.0, 0.0)]
    [3.6, 7.3]
    """
    factor = gypsum_share * np.log(model["flexural_gypsum"]) + (1.0 - gypsum_share) * np.log(
        model["flexural_csa"]
    )
    power = flexural_power(gypsum_share)
    return np.asarray(np.exp((np.log(wanted) - factor) / power))


def flexural_power(gypsum_share: Array | float) -> Array:
    """Return the exponent of flexural on compressive strength at a gypsum share of the hydrates [-]."""
    return np.asarray(gypsum_share * FLEXURAL_POWER["gypsum"] + (1.0 - gypsum_share) * FLEXURAL_POWER["csa"])
