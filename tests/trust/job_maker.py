"""Random jobs: materials, vessel, shop, candle, prices and limits of a studio, and of no studio.

Limits are set around what a random blend of the job's materials can do, so that some jobs are easy, some
tight and some impossible. The same seed and number always give the same job. All figures are invented.
"""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import tomli_w

from optimizer.errors import FileFaults
from optimizer.job import Limit
from optimizer.jobfile import parse_job
from optimizer.jobfile.keys import reach, write_limit
from optimizer.materials import Catalogue
from optimizer.nomenclature import PROPERTIES, quantity
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.predict import cast_of, predict

__all__ = ["job_text"]

_SENSES = {"lower": "<=", "higher": ">="}
_LIKELY = ("demold_time", "dry_strength", "dry_mass", "working_window", "whiteness", "heat_margin")


def job_text(seed: int, number: int, catalogue: Catalogue) -> str:
    """Return job file `number` of a seed."""
    chance = random.Random(f"{seed}/{number}")
    while True:
        data = {"title": f"random job {seed}/{number}", **_bare(chance, catalogue)}
        try:
            parse_job(tomli_w.dumps(data), catalogue, "random")
        except FileFaults:  # bounds that leave no blend, a wall that leaves no hollow
            continue
        limits = _limits(chance, data, catalogue)
        return tomli_w.dumps(data | ({"limits": limits} if limits else {}))


def _bare(chance: random.Random, catalogue: Catalogue) -> dict[str, Any]:
    roles = {
        role: [n for n in catalogue if catalogue[n].role == role] for role in ("binder", "filler", "pigment")
    }
    materials = chance.sample(roles["binder"], chance.randint(1, 4))
    materials += chance.sample(roles["filler"], chance.choice((0, 1, 1, 2)))
    materials += chance.sample(roles["pigment"], chance.choice((0, 0, 0, 1, 2)))
    admixtures = [n for n in catalogue if catalogue[n].role == "admixture"]
    materials += chance.sample(admixtures, chance.choice((0, 0, 0, 0, 1, 1, 2)))
    chance.shuffle(materials)
    data: dict[str, Any] = {
        "currency": chance.choice(("EUR", "USD", "GBP")),
        "materials": materials,
        "confidence": chance.choice((0.5, 0.5, 0.5, 0.8, 0.9, 0.95)),
        "objective": _objective(chance),
        "vessel": _vessel(chance),
        "shop": _shop(chance),
        "prices": {name: _price(chance, catalogue[name].role) for name in materials},
    }
    if chance.random() < 0.5:
        data["at_most_materials"] = chance.randint(1, 5)
    if chance.random() < 0.6:
        data["candle"] = _candle(chance)
    bounds = _bounds(chance, [name for name in materials if name not in admixtures], catalogue)
    if bounds:
        data["bounds"] = bounds
    return data


def _objective(chance: random.Random) -> str:
    if chance.random() < 0.75:
        return "cost"
    return chance.choice(
        (
            "embodied_co2",
            "max dry_strength",
            "min demold_time",
            "min dry_mass",
            "max whiteness",
            "min drying_time",
        )
    )


def _vessel(chance: random.Random) -> dict[str, str]:
    wall = chance.uniform(5.0, 15.0)
    outer, height = chance.uniform(50.0, 140.0), chance.uniform(40.0, 160.0)
    vessel = {
        "outer_diameter": f"{outer:.1f} mm",
        "height": f"{height:.1f} mm",
        "wall": f"{wall:.1f} mm",
        "base": f"{wall + 1.0:.1f} mm",
    }
    if chance.random() < 0.5:
        vessel["cavity_volume"] = f"{chance.uniform(30.0, 900.0):.0f} mL"
    return vessel


def _shop(chance: random.Random) -> dict[str, Any]:
    usual: dict[str, Any] = {
        "temperature": f"{chance.uniform(8.0, 34.0):.1f} C",
        "humidity": round(chance.uniform(0.25, 0.85), 2),
        "wage": f"{chance.uniform(0.0, 60.0):.2f} /h",
        "shift": f"{chance.uniform(2.0, 12.0):.1f} h",
        "mixing": f"{chance.uniform(1.0, 6.0):.1f} min",
        "molds": chance.randint(0, 30),
        "mold_view": chance.choice(("wear", "order")),
        "order_vessels": chance.choice((10, 60, 300, 2000)),
        "overnight": chance.random() < 0.3,
        "reject": round(chance.uniform(0.0, 0.4), 3),
        "finish_reject": round(chance.uniform(0.0, 0.2), 3),
        "waste": round(chance.uniform(0.0, 0.3), 3),
        "max_coats": chance.choice((0, 1, 2, 3, 6, 6, 6)),
        "target_absorption": round(chance.uniform(0.01, 0.2), 3),
        "shelf_cost": f"{chance.choice((0.0, 0.01, 0.1))} /d",
        "damp_service": chance.random() < 0.15,
        "demold_floor": f"{chance.choice((0, 0, 20, 60))} min",
        "weigh_step": chance.choice(("1 g", "1 g", "0.1 g", "5 g")),
    }
    shop = {key: value for key, value in usual.items() if chance.random() < 0.5}
    if chance.random() < 0.2:
        shop["shipping_bands"] = [
            {"up_to": "500 g", "cost": 4.1},
            {"up_to": "1000 g", "cost": 5.9},
            {"up_to": "2000 g", "cost": 9.5},
        ]
    return shop


def _price(chance: random.Random, role: str) -> dict[str, Any]:
    top = {"binder": 4.0, "filler": 1.5, "pigment": 20.0, "admixture": 30.0}[role]
    price: dict[str, Any] = {"pack": "25 kg", "price": round(25.0 * chance.uniform(0.05, top), 2)}
    if chance.random() < 0.2:
        price |= {"freight": round(chance.uniform(0.0, 20.0), 2), "tax": 0.19, "lost": 0.04}
    if chance.random() < 0.1:
        price |= {"breaks": [{"packs": 4, "price": round(0.9 * price["price"], 2)}], "packs_per_order": 5}
    return price


def _candle(chance: random.Random) -> dict[str, Any]:
    candle: dict[str, Any] = {
        "wicks": chance.choice((1, 1, 1, 2, 3)),
        "burn_rate": f"{chance.uniform(2.5, 9.0):.1f} g/h",
        "exposure": chance.choice(("continuous", "repeated burns", "single hour")),
    }
    if chance.random() < 0.4:
        candle["measured_outer"] = f"{chance.uniform(30.0, 75.0):.0f} C"
    return candle


def _bounds(chance: random.Random, solids: list[str], catalogue: Catalogue) -> dict[str, dict[str, float]]:
    """Return bounds of some materials that leave a blend of the binders possible."""
    out = {}
    for name in solids:
        if chance.random() < 0.2:
            most = round(min(chance.uniform(0.2, 1.0), catalogue[name].figure("max_share", 1.0)), 3)
            if catalogue[name].role == "binder":
                most = max(most, 0.7)
            out[name] = {"min": round(chance.uniform(0.0, 0.5) * min(most, 0.3), 3), "max": most}
    binders = [name for name in solids if catalogue[name].role == "binder"]
    if len(binders) == 1:
        out.pop(binders[0], None)
    return out


def _limits(chance: random.Random, data: dict[str, Any], catalogue: Catalogue) -> dict[str, str]:
    values = _reachable(chance, data, catalogue)
    able = [n for n in PROPERTIES if n in values and np.isfinite(values[n]) and quantity(n).better in _SENSES]
    names = chance.sample(
        [n for n in _LIKELY if n in able], min(chance.randint(0, 5), sum(n in able for n in _LIKELY))
    )
    rest = [n for n in able if n not in names]
    names += chance.sample(rest, min(len(rest), chance.choice((0, 0, 1, 1, 2))))
    slack = chance.choice((-0.15, -0.03, 0.0, 0.02, 0.05, 0.1, 0.25))
    out = {}
    for name in names:
        limit = _limit(name, values[name], slack + chance.uniform(-0.02, 0.05))
        if limit is not None:
            out[name] = write_limit(limit)
    return out


def _limit(name: str, value: float, slack: float) -> Limit | None:
    """Return a limit that a value meets by a share `slack` of its size, or breaks where that is negative."""
    row = quantity(name)
    sense = _SENSES[row.better]
    size = {"heat_margin": 20.0, "whiteness": 20.0, "casting_peak": 30.0}.get(name, abs(value))
    bound = value + slack * size * (1.0 if sense == "<=" else -1.0)
    bound = round(bound) if row.unit in ("count", "class") else float(f"{bound:.4g}")
    low, high, open_low = reach(name)
    idle = bound >= high if sense == "<=" else bound <= low
    never = (bound < low or (open_low and bound <= low)) if sense == "<=" else bound > high
    return None if idle or never else Limit(name, sense, float(bound))


def _reachable(chance: random.Random, data: dict[str, Any], catalogue: Catalogue) -> dict[str, float]:
    """Return the properties of a random blend of few materials at about its own water demand."""
    problem = problem_of(parse_job(tomli_w.dumps(data), catalogue, "random"), catalogue)
    solids = list(problem.solids)
    binders = [k for k in solids if problem.materials[k].role == "binder"]
    used = {chance.choice(binders), *chance.sample(solids, chance.randint(0, min(3, len(solids))))}
    shares = np.zeros(len(problem.names))
    for k in used:
        shares[k] = chance.uniform(0.1, 1.0) * (1.0 if k in binders else problem.bounds[k].most)
    shares /= shares.sum()
    mix = per_liter(problem.model, shares[None, :])
    mix = per_liter(
        problem.model, shares[None, :], mix[:, -1] / mix[:, :-1].sum(axis=1) * chance.uniform(1.0, 1.2)
    )
    return {
        name: float(np.ravel(x)[0])
        for name, x in predict(cast_of(problem.model, problem.conditions, mix)).items()
    }
