"""A second opinion on mixes: limits, rules of the mix and money, worked out apart from the engine's rows.

Only the property functions and the compiled figures are shared. Limits are compared as numbers; rules follow
the sentences of README; money follows the three stages of a vessel (casting, finishing, packing).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from optimizer.job import Price, Shop
from optimizer.problem import Problem
from optimizer.property_model.predict import cast_of, predict

__all__ = ["Opinion"]

Array = np.ndarray

_SAND_DENSITY = 2.65
"""Quartz [g/cm3]; handbooks of minerals, from memory."""

_SIZES = {
    "whiteness": 5.0,
    "heat_margin": 10.0,
    "casting_peak": 10.0,
    "crystalline_silica": 0.1,
    "damp_risk": 1.0,
}


class Opinion:
    """Judges mixes of one problem, many at a time; mixes are kg/L of each material and, last, of water."""

    def __init__(self, problem: Problem) -> None:
        self.problem, self.job, self.model = problem, problem.job, problem.model
        self.prices = np.array(
            [
                *(
                    _landed(self.job.prices[n], self.job.shop.wage) if n in self.job.prices else np.nan
                    for n in problem.names
                ),
                self.job.shop.water_price,
            ]
        )

    def values(self, mixes: Array, fill: float = 1.0) -> dict[str, Array]:
        """Return every property of each mix, and its cost where the cavity is filled to `fill`."""
        with np.errstate(all="ignore"):
            cast = cast_of(self.model, self.problem.conditions, mixes)
            out = {n: np.broadcast_to(np.asarray(x, float), len(mixes)) for n, x in predict(cast).items()}
            out["cost"] = self.cost(fill * mixes, out)
        return out

    def missed(self, values: Mapping[str, Array]) -> dict[str, Array]:
        """Return by how much each limit is missed, 0 where met, in parts of the bound's size."""
        out = {}
        for limit in self.job.limits:
            size = _SIZES.get(limit.property, max(abs(limit.bound), 1e-9))
            over = (values[limit.property] - limit.bound) * (1.0 if limit.sense == "<=" else -1.0) / size
            known = np.where(np.isnan(values[limit.property]), 9.0, over)
            out[f"{limit.property} {limit.sense} {limit.bound:g}"] = np.maximum(known, 0.0)
        return out

    def broken(self, mixes: Array, values: Mapping[str, Array]) -> dict[str, Array]:
        """Return by how much each rule of the mix is broken, 0 where kept [-]."""
        with np.errstate(all="ignore"):
            rules = {**self._of_water(mixes), **self._of_grains(mixes), **self._of_shares(mixes)}
            if self.money_matters:
                rules |= self._of_money(values)
        return {name: np.maximum(np.nan_to_num(x, nan=9.0, posinf=9.0), 0.0) for name, x in rules.items()}

    @property
    def money_matters(self) -> bool:
        """True when cost is the objective or a limit."""
        return self.job.objective == "cost" or any(x.property == "cost" for x in self.job.limits)

    def sum_of(self, mixes: Array, name: str) -> Array:
        """Return the sum of one plain column of the materials' table."""
        return mixes @ self.model.column(name)

    def _of_water(self, mixes: Array) -> dict[str, Array]:
        body = cast_of(self.model, self.problem.conditions, mixes).body
        powder = mixes[:, :-1].sum(axis=1)
        doses = self.sum_of(mixes, "plasticizer") / powder
        saved = self.sum_of(mixes, "plasticizer_cut") / powder / np.maximum(doses, 1.0)
        pour = self.sum_of(mixes, "demand") * (1.0 - saved)
        fills = self.sum_of(mixes, "volume") + self.model["air"]
        return {
            "fills the liter": np.abs(fills - 1.0) - 1e-9,
            "water to pour": (pour - mixes[:, -1]) / pour,
            "water to hydrate": (body["bound"] / np.maximum(body.degree, 1e-3) - mixes[:, -1]) / mixes[:, -1],
            "too much water": mixes[:, -1] / (pour * self.model["water_ceiling"]) - 1.0,
            "binder floor": 1.0 - body.hydrates / self.model["binder_floor"],
        }

    def _of_grains(self, mixes: Array) -> dict[str, Array]:
        body = cast_of(self.model, self.problem.conditions, mixes).body
        grains = self.sum_of(mixes, "heavy") + self.sum_of(mixes, "light")
        sand, powder = self.sum_of(mixes, "sand"), mixes[:, :-1].sum(axis=1)
        paste = self.sum_of(mixes, "volume") - grains
        carried = (
            body.gypsum_share * self.model["sand_ceiling_gypsum"]
            + body.csa_share * self.model["sand_ceiling_csa"]
        )
        return {
            "grain ceiling": grains - self.model["grain_ceiling"],
            "paste over sand": self.model["paste_to_sand"] * sand / _SAND_DENSITY - paste,
            "sand ceiling": sand / powder - carried,
        }

    def _of_shares(self, mixes: Array) -> dict[str, Array]:
        powder = mixes[:, :-1].sum(axis=1)
        shares = mixes[:, :-1] / powder[:, None]
        binder = self.sum_of(mixes, "binder")
        rules = {"pigment ceiling": self.sum_of(mixes, "pigment") / binder - self.model["pigment_ceiling"]}
        used = shares > 1e-9
        for k, (material, bounds) in enumerate(zip(self.problem.materials, self.problem.bounds, strict=True)):
            if material.role != "admixture":
                rules[f"least {material.name}"] = np.where(used[:, k], bounds.least - shares[:, k], 0.0)
                rules[f"most {material.name}"] = shares[:, k] - bounds.most
        solids = used[:, list(self.problem.solids)].sum(axis=1)
        rules["at most materials"] = solids - float(self.job.at_most_materials or len(self.problem.names))
        return rules

    def _of_money(self, values: Mapping[str, Array]) -> dict[str, Array]:
        shop = self.job.shop
        rules = {"coats": np.where(values["sealer_coats"] > shop.max_coats, 1.0, 0.0)}
        if shop.shipping_bands:
            heaviest = shop.shipping_bands[-1][0] - shop.shipped_extras
            rules["postage"] = values["dry_mass"] / max(heaviest, 1e-9) - 1.0
        once = _turns(np.array([max(shop.demold_floor, shop.mixing)]), shop)[0] >= 1
        if once:
            rules["one turn a day"] = np.where(_turns(values["demold_time"], shop) >= 1, 0.0, 1.0)
        return rules

    def cost(self, mixes: Array, values: Mapping[str, Array]) -> Array:
        """Return the cost of one good vessel of each mix [currency]."""
        shop, liters = self.job.shop, self.job.vessel.cavity_volume * 1e-3
        material = (mixes * np.where(mixes > 0.0, self.prices, 0.0)).sum(axis=1) * liters
        wear, bought = _molds(_turns(values["demold_time"], shop), shop)
        casting = material * (1.0 + shop.waste) + shop.cast_minutes * shop.wage / 60.0 + wear
        coat = shop.coat_cost + shop.seal_minutes * shop.wage / 60.0
        finishing = values["sealer_coats"] * coat + values["drying_time"] * shop.shelf_cost
        packing = (
            shop.pack_minutes * shop.wage / 60.0 + shop.packing_cost + _postage(values["dry_mass"], shop)
        )
        return np.asarray(
            casting / ((1.0 - shop.reject) * (1.0 - shop.finish_reject))
            + finishing / (1.0 - shop.finish_reject)
            + packing
            + bought
        )


def _landed(price: Price, wage: float) -> float:
    """Return the price of one usable kilogram [currency/kg]."""
    each = price.price
    for start, cheaper in price.breaks:
        if price.packs_per_order >= start:
            each = cheaper
    kilograms = price.packs_per_order * price.pack
    trip = price.trip_distance * price.trip_rate + price.trip_hours * wage
    paid = each / price.pack * (1.0 + price.tax) + price.freight_per_kg + (price.freight + trip) / kilograms
    return paid / (1.0 - price.lost)


def _turns(demold: Array, shop: Shop) -> Array:
    """Return the castings of one mold in a day, for demold times [min]."""
    turn = demold + shop.prep
    day = np.floor((shop.shift - shop.prep) / turn * (1.0 + 1e-9))
    if not shop.overnight or shop.shift < shop.prep:
        return np.maximum(day, 0.0)
    return np.minimum(day + 1.0, np.floor(1440.0 / turn * (1.0 + 1e-9)))


def _molds(turns: Array, shop: Shop) -> tuple[Array, Array]:
    """Return wear of one casting and molds bought per good vessel [currency]."""
    if shop.mold_view == "wear":
        return np.full(len(turns), shop.mold_price / shop.mold_life), np.zeros(len(turns))
    pours = math.ceil(shop.order_vessels / ((1.0 - shop.reject) * (1.0 - shop.finish_reject)) - 1e-9)
    with np.errstate(all="ignore"):
        at_work = np.ceil(pours / (shop.order_days * turns) * (1.0 - 1e-9))
        used = np.maximum(at_work, math.ceil(pours / shop.mold_life * (1.0 - 1e-9)))
        owned = np.minimum(used, shop.molds)
        wear = shop.mold_price / shop.mold_life * owned / used
        bought = (used - owned) * shop.mold_price / shop.order_vessels
    never = turns < 1.0
    return np.where(never, 0.0, wear), np.where(never, np.inf, bought)


def _postage(dry_mass: Array, shop: Shop) -> Array:
    if not shop.shipping_bands:
        return np.zeros(len(dry_mass))
    cost = np.full(len(dry_mass), np.inf)
    for limit, price in reversed(shop.shipping_bands):
        cost = np.where(dry_mass + shop.shipped_extras <= limit, price, cost)
    return cost
