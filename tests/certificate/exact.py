"""The model of a job of gypsum binders written out for SCIP, an independent solver.

Dry strength, window, mass and whiteness, built from the formulas of the property chain as they stand in its
documentation, not from the relaxations: shares, porosity and set time are variables of their own, tied by
equations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from pyscipopt import Model, exp, log, quicksum

from optimizer.formulation import Case, linear_rows
from optimizer.problem import Problem
from optimizer.properties.drying import drying_time
from optimizer.property_model.strength import DAY

KINDS = ("working_window", "whiteness")
"""Limits that hold whatever the binders; strength and mass are written out for gypsum alone."""


@dataclass
class Exact:
    """One case in one regime as a SCIP model."""

    problem: Problem
    case: Case
    regime: str

    def solve(self, seconds: float, gap: float = 1e-4, below: float = math.inf) -> tuple[float, float, str]:
        """Return the best cost found, the proved bound and SCIP's word for how it ended.

        With `below`, only mixes that cost less are looked for; there being none is "infeasible".
        """
        model = self._model()
        model.hideOutput()
        if math.isfinite(below):
            model.setObjlimit(below)
        model.setParam("limits/time", seconds)
        model.setParam("limits/gap", gap)
        model.optimize()
        status = str(model.getStatus())
        if status == "infeasible":
            return math.inf, math.inf, status
        best = model.getObjVal() if model.getNSols() else math.inf
        return float(best), float(model.getDualbound()), status

    def _column(self, name: str) -> np.ndarray:
        return self.problem.model.column(name, self.regime)

    def _figure(self, name: str) -> float:
        return float(self.problem.model[name])

    def _sum(self, model: Model, mix: list[Any], name: str, weights: np.ndarray, low: float | None) -> Any:
        variable = model.addVar(name, lb=low, ub=None)
        model.addCons(
            variable == quicksum(float(w) * x for w, x in zip(weights, mix, strict=True) if w != 0.0)
        )
        return variable

    def _model(self) -> Model:
        model = Model(self.regime)
        volume = self._column("volume") / (1.0 - self._figure("air"))
        mix = [model.addVar(f"z{k}", lb=0.0, ub=float(1.0 / v)) for k, v in enumerate(volume)]
        self._plain_rows(model, mix)
        body = self._body(model, mix, volume)
        self._limits(model, mix, body)
        self._cost(model, mix, body)
        return model

    def _plain_rows(self, model: Model, mix: list[Any]) -> None:
        rows = linear_rows(self.problem, self.case)
        for weights, low, high in zip(rows.matrix, rows.lower, rows.upper, strict=True):
            total = quicksum(float(w) * x for w, x in zip(weights, mix, strict=True) if w != 0.0)
            if np.isfinite(low):
                model.addCons(total >= float(low))
            if np.isfinite(high):
                model.addCons(total <= float(high))
        powder = quicksum(mix[:-1])
        used = []
        for k in self.problem.solids:
            flag = model.addVar(f"u{k}", vtype="B")
            used.append(flag)
            model.addCons(mix[k] <= 5.0 * flag)
            least = self.problem.bounds[k].least
            model.addCons(mix[k] >= least * powder - 5.0 * (1.0 - flag))
        model.addCons(quicksum(used) <= (self.problem.job.at_most_materials or len(mix)))

    def _body(self, model: Model, mix: list[Any], volume: np.ndarray) -> dict[str, Any]:
        out: dict[str, Any] = {}
        gypsum, cement = self._column("gypsum_volume"), self._column("csa_volume")
        sums = {
            "G": gypsum,
            "C": cement,
            "heavy": self._column("heavy"),
            "light": self._column("light"),
            "pores": volume - self._column("solids"),
            "water": self._column("water") - self._column("filler_water"),
            "reference": self._column("reference_water"),
            "free": self._column("water") - self._column("bound"),
            # a gypsum body keeps far more free water than its hydrates hold: all of their moisture stays
            "dry": self._column("dry") + self._column("moisture"),
        }
        for name, weights in sums.items():
            out[name] = self._sum(model, mix, name, weights, 0.0)
        for name in (
            "ln_intrinsic_gypsum",
            "ln_intrinsic_csa",
            "ln_dry_ratio",
            "ln_initial",
            "ln_final",
        ):
            out[name] = self._sum(model, mix, name, self._column(name), None)
        excess = self._column("sulfate") - 2.0 * self._column("yeelimite")
        total = quicksum(float(w) * x for w, x in zip(excess, mix, strict=True) if w != 0.0)
        model.addCons(total >= 0.0) if self.regime == "excess" else model.addCons(total <= 0.0)
        out["H"] = model.addVar("H", lb=self._figure("binder_floor"), ub=1.0)
        model.addCons(out["H"] == out["G"] + out["C"])
        out["h"] = model.addVar("h", lb=0.0, ub=1.0)
        model.addCons(out["h"] * out["H"] == out["C"])
        out["phi"] = model.addVar("phi", lb=self._figure("min_paste_porosity"), ub=1.0)
        model.addCons(out["phi"] * (1.0 - out["heavy"] - out["light"]) == out["pores"])
        sand = self._sum(model, mix, "sand", self._column("sand"), 0.0)
        ceiling = (1.0 - out["h"]) * self._figure("sand_ceiling_gypsum")
        ceiling += out["h"] * self._figure("sand_ceiling_csa")
        model.addCons(sand <= ceiling * quicksum(mix[:-1]))
        return out

    def _ln_final(self, model: Model, body: dict[str, Any]) -> Any:
        most = math.log(2.0) / 2.0
        wet = model.addVar("wet", lb=-most, ub=most)
        ratio = log(body["water"]) - log(body["reference"])
        model.addCons(wet == (ratio + most - abs(ratio - most)) / 2.0)
        h = body["h"]
        shift = self._figure("set_water") * wet + self._figure("gamma_time") * h * (1.0 - h)
        final = model.addVar("ln_tf", lb=None, ub=7.0)
        model.addCons(final * body["H"] == body["ln_final"] + shift * body["H"])
        return final

    def _strength(self, body: dict[str, Any]) -> Any:
        """Return hydrates times ln strength of a set body of gypsum, never dried."""
        plain = (
            -self._figure("b_gypsum") * body["phi"]
            + self._figure("filler_exponent_gypsum") * log(1.0 - body["heavy"])
            + self._figure("light_exponent") * log(1.0 - body["light"])
        )
        return body["ln_intrinsic_gypsum"] + body["H"] * plain

    def _bending(self) -> float:
        """Bending strength to leave the mold [MPa]."""
        return self._figure("demold_bending") * (8.0 / self.problem.conditions.vessel.wall) ** 2

    def _ln_gain(self, model: Model, body: dict[str, Any], age: float) -> Any:
        """Log of the share of gypsum's end strength at an age past its final set [min]: a hyperbola."""
        pace = (0.35 / 0.02 - 1.0) / (self._figure("gypsum_end") - 1.0)
        grown = model.addVar(f"grown_{age:g}", lb=0.0, ub=1e6)
        model.addCons(grown == pace * (age * exp(-body["final"]) - 1.0))
        gain = model.addVar(f"ln_gain_{age:g}", lb=-8.0, ub=0.0)
        model.addCons(exp(gain) * (1.0 + grown) == 0.65**3 + grown)
        return gain

    def _limits(self, model: Model, mix: list[Any], body: dict[str, Any]) -> None:
        body["final"] = self._ln_final(model, body)
        for limit in (*self.case.limits, *self.problem.job.limits):
            self._limit(model, mix, body, limit.property, limit.bound)

    def _limit(self, model: Model, mix: list[Any], body: dict[str, Any], name: str, bound: float) -> None:
        vessel = self.problem.conditions.vessel.cavity_volume
        if name == "dry_mass":
            model.addCons(vessel * body["dry"] <= bound)
        elif name == "whiteness":
            weights = self._column("absorb") - _most_absorbed(bound) * self._column("scatter")
            model.addCons(
                quicksum(float(w) * x for w, x in zip(weights, mix, strict=True) if w != 0.0) <= 0.0
            )
        elif name == "absorption":
            opened = (1.0 - body["h"]) * self._figure("open_pores_gypsum") + body["h"] * self._figure(
                "open_pores_csa"
            )
            model.addCons(body["pores"] * opened <= bound * body["dry"])
        elif name == "dry_strength":
            model.addCons(self._strength(body) + body["ln_dry_ratio"] >= math.log(bound) * body["H"])
        elif name == "demold_time":
            model.addCons(body["final"] <= math.log(bound))
            need = (math.log(self._bending()) - math.log(self._figure("flexural_gypsum"))) / 0.737
            gained = self._strength(body) + body["H"] * self._ln_gain(model, body, bound)
            model.addCons(gained >= need * body["H"])
        elif name == "working_window":
            least = math.log(bound + self.problem.job.shop.mixing)
            model.addCons(
                body["final"] * body["H"] - body["ln_final"] + body["ln_initial"] >= least * body["H"]
            )
        else:
            raise ValueError(name)

    def _cost(self, model: Model, mix: list[Any], body: dict[str, Any]) -> None:
        line = self.case.line
        money = line.per_powder_money * self.problem.liters * np.nan_to_num(self.problem.prices)
        room, wall = self.problem.conditions.room, self.problem.conditions.vessel.wall
        slower = 2.0 / (1.0 + self._figure("inner_face"))
        bare = slower * float(drying_time(room, 1e3, wall, 0.0))
        front = slower * float(drying_time(room, 1e3, wall, 1.0)) - bare
        gypsum, cement = (math.log(self._figure(f"vapor_resistance_{kind}")) for kind in ("gypsum", "csa"))
        days = model.addVar("days", lb=0.0)
        resistance = exp(gypsum + body["h"] * (cement - gypsum))
        cure = self.problem.job.shop.damp_cure / DAY * body["h"]
        model.addCons(days >= cure + body["free"] * (bare + front * resistance))
        powders = quicksum(float(m) * x for m, x in zip(money, mix, strict=True))
        model.setObjective(self.case.fixed + powders + line.per_shelf_day * days)


def _most_absorbed(least: float) -> float:
    """Return the K/S of the darkest layer of a lightness: CIE 1976, Kubelka and Munk 1931 (from memory)."""
    bright = ((least + 16.0) / 116.0) ** 3
    return (1.0 - bright) ** 2 / (2.0 * bright)
