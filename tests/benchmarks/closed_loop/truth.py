"""Invented studios: what a casting truly does there, by laws that share no code with the chain's.

A studio draws which law its strength follows (gel-space ratio, Bolomey's line, a power of the solid share),
whether set follows added rates or the logs of times, an interaction of gypsum and cement up to a quarter of
strength, the strength that its rims need, its bags, its air and the true volume of its mold. Numbers of bags
are about those a studio buys; how far they scatter is an assumption. Everything here is made up.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from optimizer.job import Shop
from optimizer.trials.records import Portion, Strength, Trial, Weighing

__all__ = ["NAMES", "Truth"]

DAY: Final = dt.date(2026, 3, 2)


@dataclass(frozen=True)
class Bag:
    """One material as it truly is.

    Density [g/cm3], shares of gypsum and cement by mass (the rest is inert stone), water that it asks for
    [g/g], strength wet and over it dry at its own water [MPa, -], setting times [min], time constant of
    hardening after final set [min], lightness [-], how a pigment covers [-], share of the pores that
    drink [-].
    """

    density: float
    gypsum: float = 0.0
    cement: float = 0.0
    water: float = 0.0
    strength: float = 0.0
    dry_ratio: float = 1.0
    initial: float = 0.0
    final: float = 0.0
    hardening: float = 0.0
    lightness: float = 90.0
    pull: float = 1.0
    drinks: float = 0.0

    @property
    def stone(self) -> float:
        return 1.0 - self.gypsum - self.cement


BAGS: Final[Mapping[str, Bag]] = {
    "gypsum_cement": Bag(2.75, 0.97, 0.0, 0.33, 25.0, 2.05, 18.0, 30.0, 4.0, 95.5, 1.0, 0.95),
    "molding_plaster": Bag(2.63, 0.93, 0.0, 0.67, 6.6, 2.1, 11.0, 21.0, 5.0, 93.5, 1.0, 0.95),
    "rapid_set_mortar": Bag(2.78, 0.0, 0.45, 0.25, 47.0, 1.1, 11.0, 18.0, 170.0, 78.0, 0.7, 0.6),
    "white_csa_cement": Bag(2.87, 0.0, 1.0, 0.47, 64.0, 1.1, 10.0, 18.0, 170.0, 91.5, 1.0, 0.55),
    "marble_flour": Bag(2.71, water=0.22, lightness=95.5, pull=0.8),
    "silica_sand": Bag(2.65, water=0.05, lightness=76.0, pull=0.4),
    "titanium_white": Bag(4.2, water=0.4, lightness=97.5, pull=18.0),
}
NAMES: Final = tuple(BAGS)

_YEELIMITE, _ANHYDRITE, _BELITE = 0.45, 0.15, 0.3
"""Mass shares of an invented white cement; the rest does not react."""


@dataclass(frozen=True)
class Properties:
    """What mixes truly do, each of shape (mixes,); units of the vocabulary."""

    demold_time: np.ndarray
    dry_strength: np.ndarray
    dry_mass: np.ndarray
    demolded_mass: np.ndarray
    initial_set: np.ndarray
    final_set: np.ndarray
    working_window: np.ndarray
    whiteness: np.ndarray
    heat_margin: np.ndarray
    absorption: np.ndarray
    coats: np.ndarray
    water: np.ndarray


@dataclass(frozen=True)
class Truth:
    """One studio.

    Attributes
    ----------
    seed : int
        Which.
    shop : Shop
        What the caster knows of the studio: wages, minutes, sealer.
    outer : float
        Outer wall in a test burn, as the caster read it [degC].
    volume : float
        What the caster believes a mold to hold [mL].
    """

    seed: int
    shop: Shop
    outer: float
    volume: float = 215.0

    @cached_property
    def _rng(self) -> np.random.Generator:
        return np.random.default_rng([77, self.seed])

    @cached_property
    def _drawn(self) -> dict[str, float | str]:
        rng = self._rng
        return {
            "law": str(rng.choice(["gel space", "bolomey", "power"])),
            "set": str(rng.choice(["rates", "logs"])),
            "interaction": float(rng.uniform(-0.25, 0.25)),
            "stone": float(rng.uniform(0.6, 1.3)),
            "need": float(np.exp(rng.uniform(np.log(1.5), np.log(6.0)))),
            "air": float(rng.uniform(0.008, 0.035)),
            "lost": float(rng.uniform(0.005, 0.02)),
            "cavity": float(self.volume * np.exp(0.01 * rng.standard_normal())),
            "exponent": float(rng.uniform(2.4, 3.2)),
            "limit": float(rng.normal(51.7, 0.7)),
            "late": float(rng.uniform(0.0, 0.35)),
            "sooner": float(rng.uniform(0.0, 0.2)),
            "wetter": float(rng.uniform(1.0, 3.0)),
            "probe": float(2.0 * rng.standard_normal()),
            "warm": float(rng.uniform(0.02, 0.06)),
        }

    @cached_property
    def bags(self) -> tuple[Bag, ...]:
        """The studio's own bags, each a little off the usual one."""
        rng = np.random.default_rng([78, self.seed])
        return tuple(self._own(bag, rng) for bag in BAGS.values())

    def _own(self, bag: Bag, rng: np.random.Generator) -> Bag:
        z = rng.standard_normal(8)
        dark = (100.0 - bag.lightness) * float(np.exp(0.18 * z[4]))
        return replace(
            bag,
            strength=bag.strength * float(np.exp(0.13 * z[0])),
            dry_ratio=bag.dry_ratio * float(np.exp(0.05 * z[1])),
            initial=bag.initial * float(np.exp(0.13 * z[2])),
            final=bag.final * float(np.exp(0.13 * z[2] + 0.04 * z[3])),
            lightness=100.0 - dark,
            drinks=float(np.clip(bag.drinks + 0.12 * z[5], 0.0, 1.1)),
            hardening=bag.hardening * float(np.exp(0.2 * z[6])),
            density=bag.density * float(np.exp(0.006 * z[7])),
        )

    def _column(self, name: str) -> np.ndarray:
        return np.array([getattr(bag, name) for bag in self.bags])

    def of(
        self,
        shares: np.ndarray,
        water: np.ndarray,
        more_air: np.ndarray | float = 0.0,
        warmer: np.ndarray | float = 0.0,
    ) -> Properties:
        """Return what mixes do.

        Parameters
        ----------
        shares
            Shares of the dry mass in the order of `NAMES`, shape (mixes, materials).
        water
            Water per dry mass, shape (mixes,).
        more_air, warmer
            What a batch has more of than usual: mixed-in air [-] and warmth of the room [K].
        """
        own = self._drawn
        mix = _Mix(self, np.asarray(shares, float), np.asarray(water, float), more_air, warmer)
        initial, final = mix.sets()
        demold = mix.demold(final)
        cavity = float(own["cavity"])
        wet_mass = cavity * mix.density * (1.0 - float(own["lost"]))
        dry_mass = cavity * mix.density * (1.0 + mix.bound) / (1.0 + mix.water)
        absorption = mix.absorption()
        outer = self.outer + float(own["probe"])
        inner = outer + 3.6 + 2.6 * (mix.porosity - 0.33)
        bears = np.where(mix.gypsum > 1e-3, float(own["limit"]), float(own["limit"]) - 1.9 * mix.cement)
        return Properties(
            demold_time=demold,
            dry_strength=mix.strength() * mix.hardened(1440.0, final) * mix.drying(),
            dry_mass=dry_mass,
            demolded_mass=wet_mass,
            initial_set=initial,
            final_set=final,
            working_window=initial - self.shop.mixing,
            whiteness=mix.whiteness(),
            heat_margin=bears - 1.4 * mix.cement_share - inner,
            absorption=absorption,
            coats=self.coats(absorption),
            water=mix.water,
        )

    def batches(self, shares: np.ndarray, water: float, count: int) -> Properties:
        """Return what batches of one mix do, weighed, mixed and kept as unevenly as the shop says."""
        rng, shop = np.random.default_rng([83, self.seed]), self.shop
        powders = shares * np.exp(shop.powder_error * rng.standard_normal((count, len(shares))))
        poured = water * np.exp(shop.water_error * rng.standard_normal(count)) / powders.sum(axis=1)
        air = shop.air_error * rng.standard_normal(count)
        warmer = shop.temperature_error * rng.standard_normal(count)
        return self.of(powders / powders.sum(axis=1, keepdims=True), poured, air, warmer)

    def coats(self, absorption: np.ndarray) -> np.ndarray:
        """Return the coats that bring the absorption to what the shop asks, each leaving its factor of it."""
        need = np.log(self.shop.target_absorption / absorption) / np.log(self.shop.coat_factor)
        return np.maximum(np.ceil(need - 1e-9), 0.0)

    def cast(self, number: int, blend: Mapping[str, float], water: float, noise: int) -> Trial:
        """Return the trial of a caster who weighs a mix and reads everything, with the errors of a bench."""
        rng = np.random.default_rng([79, self.seed, number, noise])
        shares = np.array([[blend.get(name, 0.0) for name in NAMES]])
        true = self.of(shares / shares.sum(), np.array([water]))
        read = {name: float(getattr(true, name)[0]) for name in Properties.__dataclass_fields__}
        first = read["demolded_mass"] + rng.standard_normal()
        last = read["dry_mass"] + rng.standard_normal()
        times = {
            name: max(read[name] + 1.5 * float(rng.standard_normal()), 1.0)
            for name in ("initial_set", "final_set")
        }
        times["final_set"] = max(times["final_set"], times["initial_set"])
        demold = max(read["demold_time"] * float(np.exp(0.07 * rng.standard_normal())), times["final_set"])
        demold = min(demold, 2880.0)
        strength = read["dry_strength"] * float(np.exp(0.08 * rng.standard_normal()))
        return Trial(
            DAY + dt.timedelta(days=7 * number),
            id=f"c{number}",
            portions=tuple(Portion(name, 1000.0 * share) for name, share in blend.items() if share > 0.0),
            water=1000.0 * water,
            room_temperature=self.shop.temperature,
            cavity_volume=self.volume,
            **times,
            demold_first=demold,
            whiteness=float(np.clip(read["whiteness"] + 0.8 * rng.standard_normal(), 1.0, 100.0)),
            whiteness_error=0.8,
            absorption=read["absorption"] * float(np.exp(0.05 * rng.standard_normal())),
            coats=int(read["coats"]),
            weighings=(Weighing(0.0, first), Weighing(5.0, last), Weighing(6.0, last)),
            strengths=(Strength(strength, None, "dry", "compressive", "cube"),),
        )


def _bound(gypsum: np.ndarray, cement: np.ndarray) -> np.ndarray:
    """Return water bound per gram of dry mix, by the sums of two textbook reactions (from memory).

    Yeelimite takes two sulfates and 38 waters to ettringite, 18 waters where sulfate has run out; what is
    left of the hemihydrate takes one and a half.
    """
    yeelimite, anhydrite, hemihydrate = (
        cement * _YEELIMITE / 610.0,
        cement * _ANHYDRITE / 136.0,
        gypsum / 145.0,
    )
    ettringite = np.minimum(yeelimite, (anhydrite + hemihydrate) / 2.0)
    used = np.maximum(2.0 * ettringite - anhydrite, 0.0)
    waters = 38.0 * ettringite - 0.5 * used + 18.0 * (yeelimite - ettringite) + 1.5 * (hemihydrate - used)
    return 18.0 * (waters + 3.0 * cement * _BELITE / 172.0)


@dataclass(frozen=True)
class _Mix:
    """Mixes of a studio and the sums their properties are made of."""

    truth: Truth
    shares: np.ndarray
    water: np.ndarray
    more_air: np.ndarray | float = 0.0
    warmer: np.ndarray | float = 0.0

    def _sum(self, name: str) -> np.ndarray:
        return self.shares @ self.truth._column(name)

    @cached_property
    def own(self) -> dict[str, float | str]:
        return self.truth._drawn

    @cached_property
    def air(self) -> np.ndarray:
        return np.clip(float(self.own["air"]) + self.more_air, 0.0, 0.2)

    @cached_property
    def faster(self) -> np.ndarray:
        """How much faster cement sets and hardens in a warmer room [-]; gypsum minds it little."""
        return np.exp(float(self.own["warm"]) * self.cement_share * self.warmer)

    @cached_property
    def gypsum(self) -> np.ndarray:
        return self._sum("gypsum")

    @cached_property
    def cement(self) -> np.ndarray:
        return self._sum("cement")

    @cached_property
    def binder(self) -> np.ndarray:
        return self.gypsum + self.cement

    @cached_property
    def cement_share(self) -> np.ndarray:
        return self.cement / self.binder

    @cached_property
    def bound(self) -> np.ndarray:
        """Water bound per dry mass: no more than there is."""
        return np.minimum(_bound(self.gypsum, self.cement), 0.95 * self.water)

    @cached_property
    def volume(self) -> np.ndarray:
        """Slurry of a gram of dry mix, its air too [mL]."""
        solid = self.shares @ (1.0 / self.truth._column("density"))
        return (solid + self.water) / (1.0 - self.air)

    @cached_property
    def density(self) -> np.ndarray:
        return (1.0 + self.water) / self.volume

    @cached_property
    def stone(self) -> np.ndarray:
        """Share of the slurry's volume that is stone."""
        inert = self.truth._column("stone") / self.truth._column("density")
        return self.shares @ inert / self.volume

    @cached_property
    def porosity(self) -> np.ndarray:
        """Pores of the hardened body; bound water fills three quarters of its volume."""
        return 1.0 - (self.volume * (1.0 - self.air) - self.water + 0.75 * self.bound) / self.volume

    def _of_paste(
        self, water: np.ndarray, bound: np.ndarray, solid: np.ndarray, share: np.ndarray | float
    ) -> np.ndarray:
        """Return the form of the strength law: what pores leave of it, unscaled, per gram of binder."""
        air = share * (water + solid) / (1.0 - share)
        law, power = self.own["law"], float(self.own["exponent"])
        if law == "bolomey":  # a line in binder over water and air, after Bolomey 1935 (from memory)
            return np.maximum(1.0 / (water + air) - 0.55, 0.05)
        gel = solid + 0.75 * bound
        if law == "gel space":  # Powers and Brownyard 1947 (from memory)
            return (gel / (gel + water - 0.75 * bound + air)) ** power
        return (gel / (solid + water + air)) ** (1.6 * power)  # Balshin 1949 (from memory)

    def strength(self) -> np.ndarray:
        """Return strength at the end of hardening, never dried [MPa]."""
        bags = self.truth.bags
        weight = self.shares * np.array([bag.gypsum + bag.cement for bag in bags])
        weight = weight / weight.sum(axis=1, keepdims=True)
        free = np.maximum(self.water - 0.05 * (1.0 - self.binder), 0.05) / self.binder
        logs, usual = np.zeros(len(self.water)), float(self.own["air"])
        for k, bag in enumerate(bags):
            active = bag.gypsum + bag.cement
            if not active:
                continue
            solid = 1.0 / bag.density
            bound = float(_bound(np.array(bag.gypsum), np.array(bag.cement))) / active
            own = np.array([bag.water / active])
            reference = self._of_paste(own, np.minimum(bound, 0.95 * own), np.array([solid]), usual)
            here = self._of_paste(free, np.minimum(bound, 0.95 * free), np.full(len(free), solid), self.air)
            logs = logs + weight[:, k] * np.log(bag.strength * here / reference)
        mixed = 4.0 * self.cement_share * (1.0 - self.cement_share)
        weaker = 1.0 - float(self.own["stone"]) * (self.stone - 0.22 * self.cement_share) * (self.stone > 0.0)
        return np.exp(logs) * (1.0 + float(self.own["interaction"]) * mixed) * np.clip(weaker, 0.2, 1.2)

    def drying(self) -> np.ndarray:
        """Return strength dry over never dried [-]."""
        bags = self.truth.bags
        active = self.shares * np.array([bag.gypsum + bag.cement for bag in bags])
        return active @ np.array([bag.dry_ratio for bag in bags]) / active.sum(axis=1)

    def sets(self) -> tuple[np.ndarray, np.ndarray]:
        """Return initial and final set [min]."""
        bags = self.truth.bags
        active = self.shares * np.array([bag.gypsum + bag.cement for bag in bags])
        active = active / active.sum(axis=1, keepdims=True)
        wetter = self.water / np.maximum(self._sum("water"), 0.02)
        mixed = 4.0 * self.cement_share * (1.0 - self.cement_share)
        slower = wetter ** float(self.own["wetter"]) * (1.0 + float(self.own["late"]) * (1.0 - self.binder))
        slower = slower * (1.0 - float(self.own["sooner"]) * mixed)
        out = []
        for name in ("initial", "final"):
            time = np.array([getattr(bag, name) or 1.0 for bag in bags])
            mean = (
                1.0 / (active @ (1.0 / time)) if self.own["set"] == "rates" else np.exp(active @ np.log(time))
            )
            out.append(mean * slower / self.faster)
        return out[0], out[1]

    def hardened(self, age: np.ndarray | float, final: np.ndarray) -> np.ndarray:
        """Return the part of its strength a mix has at an age [-]: gypsum at once, cement by and by."""
        since = np.maximum(np.asarray(age) - final, 0.0)
        bags = self.truth.bags
        out = np.zeros(np.broadcast(since, final).shape)
        total = self.shares @ np.array([bag.gypsum + bag.cement for bag in bags])
        for k, bag in enumerate(bags):
            active = bag.gypsum + bag.cement
            if active:
                power = 0.75 if bag.gypsum else 1.4
                faster = 1.0 if bag.gypsum else self.faster
                here = 1.0 - np.exp(-(((since + 0.5) * faster / bag.hardening) ** power))
                out = out + self.shares[:, k] * active * here
        return out / total

    def demold(self, final: np.ndarray) -> np.ndarray:
        """Return the age at which the strength needed is there, final set at least [min]; 3 days: never."""
        full = self.strength()
        low, high = final.copy(), np.full(len(final), 4320.0)
        need = float(self.own["need"])
        done = full * self.hardened(low, final) >= need
        for _ in range(50):
            middle = np.sqrt(low * high)
            enough = full * self.hardened(middle, final) >= need
            low, high = np.where(enough, low, middle), np.where(enough, middle, high)
        return np.where(done, final, high)

    def whiteness(self) -> np.ndarray:
        """Return the lightness: darkness weighted by what covers, a little darker where it is wet-cast."""
        cover = self.shares * self.truth._column("pull")
        dark = cover @ (100.0 - self.truth._column("lightness")) / cover.sum(axis=1)
        return 100.0 - dark

    def absorption(self) -> np.ndarray:
        """Return the water that its open pores take up, over its dry mass [-]."""
        bags = self.truth.bags
        active = self.shares * np.array([bag.gypsum + bag.cement for bag in bags])
        opened = active @ np.array([bag.drinks for bag in bags]) / active.sum(axis=1)
        return np.maximum(self.porosity, 0.02) * opened * self.volume / (1.0 + self.bound)
