"""The model of a job written out for SCIP, an independent solver: dry strength, window, mass, whiteness.

Built from the formulas of the property chain as they stand in its documentation, not from the relaxations:
shares, porosity and set time are variables of their own, tied by equations.
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

KINDS = ("dry_strength", "working_window", "dry_mass", "whiteness")


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
            "water": self._column("water"),
            "reference": self._column("reference_water"),
            "free": self._column("water") - self._column("bound"),
            "dry": self._column("dry"),
        }
        for name, weights in sums.items():
            out[name] = self._sum(model, mix, name, weights, 0.0)
        for name in (
            "ln_intrinsic_gypsum",
            "ln_intrinsic_csa",
            "ln_dry_ratio",
            "ln_top",
            "ln_initial",
            "ln_final",
            "ln_rate",
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
        self._knee(model, mix, out)
        return out

    def _knee(self, model: Model, mix: list[Any], out: dict[str, Any]) -> None:
        out["knee"] = model.addVar("knee", lb=0.0, ub=1.0)
        if self.regime == "excess":
            model.addCons(out["knee"] == 1.0)
            return
        yeelimite = self._sum(model, mix, "yeelimite", self._column("yeelimite"), 1e-6)
        sulfate = self._sum(model, mix, "sulfate", self._column("sulfate"), 0.0)
        ratio = model.addVar("M", lb=0.0, ub=2.0)
        model.addCons(ratio * yeelimite == sulfate)
        # The larger of 0 and the ramp; M <= 2 keeps it below 1.
        ramp = (ratio - 1.3) / 0.7
        model.addCons(out["knee"] == (ramp + abs(ramp)) / 2.0)

    def _ln_final(self, model: Model, body: dict[str, Any]) -> Any:
        wet = model.addVar("wet", lb=-math.log(2.0), ub=math.log(2.0))
        twice = 2.0 * (log(body["water"]) - log(body["reference"]))
        model.addCons(wet == (twice + math.log(2.0) - abs(twice - math.log(2.0))) / 2.0)
        h = body["h"]
        shift = wet + self._figure("gamma_time") * h * (1.0 - h)
        final = model.addVar("ln_tf", lb=None, ub=7.0)
        model.addCons(final * body["H"] == body["ln_final"] + shift * body["H"])
        return final

    def _strengths(self, model: Model, body: dict[str, Any], age: float) -> tuple[Any, Any]:
        """Return hydrates times ln strength at an age, never dried: by the law and by its ceiling."""
        h, phi, hydrates = body["h"], body["phi"], body["H"]
        slope = (1.0 - h) * self._figure("b_gypsum") + h * self._figure("b_csa")
        grain = (1.0 - h) * self._figure("filler_exponent_gypsum") + h * self._figure("filler_exponent_csa")
        plain = (
            -slope * phi
            + grain * log(1.0 - body["heavy"])
            + self._figure("light_exponent") * log(1.0 - body["light"])
            + 4.0 * self._figure("gamma") * h * (1.0 - h)
            - self._figure("kappa") * h * body["knee"]
        )
        law = body["ln_intrinsic_gypsum"] + body["ln_intrinsic_csa"] + hydrates * plain
        cap = body["ln_top"] + hydrates * math.log(self._figure("strength_ceiling"))
        gain = model.addVar(f"ln_gain_{age:g}", lb=-8.0, ub=0.0)
        model.addCons(exp(gain) == self._gain(model, body, age))
        return law + hydrates * gain, cap + hydrates * gain

    def _gain(self, model: Model, body: dict[str, Any], age: float) -> Any:
        """Share of the end strength at an age [min]."""
        gypsum = self._gypsum_gain(model, body, age)
        if self.regime == "excess" and not np.any(self._column("csa_volume")):
            return gypsum
        cement = self._cement_gain(model, body, age)
        if self.regime == "short":
            return cement
        weight = self._weight(model, body)
        return (1.0 - weight) * gypsum + weight * cement

    def _gypsum_gain(self, model: Model, body: dict[str, Any], age: float) -> Any:
        """Cube of the set curve through 10 % at initial and 65 % at final set."""
        gap = model.addVar(f"gap_{age:g}", lb=0.05, ub=3.0)
        model.addCons(gap * body["H"] == body["ln_final"] - body["ln_initial"])
        decay = -math.log1p(-0.10)
        power = math.log(-math.log1p(-0.65) / decay) / gap
        # Beyond e^4 of the decay all has set, to 23 digits.
        ln_decay = model.addVar(f"ln_decay_{age:g}", lb=-20.0, ub=60.0)
        model.addCons(ln_decay == math.log(decay) + power * (math.log(age) - body["final"] + gap))
        held = (ln_decay + 4.0 - abs(ln_decay - 4.0)) / 2.0
        degree = model.addVar(f"degree_{age:g}", lb=0.0, ub=1.0)
        model.addCons(degree == 1.0 - exp(-exp(held)))
        return degree**3

    def _cement_gain(self, model: Model, body: dict[str, Any], age: float) -> Any:
        rate = model.addVar(f"ln_rate_{age:g}", lb=-9.0, ub=-3.0)
        model.addCons(rate * body["C"] == body["ln_rate"])
        grown = model.addVar(f"grown_{age:g}", lb=0.0, ub=1e3)
        model.addCons(grown == exp(rate) * (age - exp(body["final"])))
        return grown / (1.0 + grown)

    def _weight(self, model: Model, body: dict[str, Any]) -> Any:
        """Share of the cement in the blend's strength."""
        if "weight" not in body:
            sc, sg = model.addVar("sC", lb=0.0, ub=12.0), model.addVar("sG", lb=-30.0, ub=12.0)
            model.addCons(sc * body["C"] == body["ln_intrinsic_csa"])
            model.addCons(sg * body["G"] == body["ln_intrinsic_gypsum"])
            lead = model.addVar("lead", lb=-40.0, ub=45.0)
            steeper = self._figure("b_csa") - self._figure("b_gypsum")
            model.addCons(lead == sc - sg - steeper * body["phi"])
            weight = model.addVar("weight", lb=0.0, ub=1.0)
            ahead = exp(lead)
            model.addCons(weight * ((1.0 - body["h"]) + body["h"] * ahead) == body["h"] * ahead)
            body["weight"] = weight
        return body["weight"]

    def _limits(self, model: Model, mix: list[Any], body: dict[str, Any]) -> None:
        body["final"] = self._ln_final(model, body)
        for limit in (*self.case.limits, *self.problem.job.limits):
            self._limit(model, mix, body, limit.property, limit.bound)

    def _limit(self, model: Model, mix: list[Any], body: dict[str, Any], name: str, bound: float) -> None:
        vessel = self.problem.bench.vessel.cavity_volume
        if name == "dry_mass":
            model.addCons(vessel * body["dry"] <= bound)
        elif name == "whiteness":
            weights = self._column("absorb") - _ratio_bound(bound) * self._column("scatter")
            model.addCons(
                quicksum(float(w) * x for w, x in zip(weights, mix, strict=True) if w != 0.0) <= 0.0
            )
        elif name == "absorption":
            opened = (1.0 - body["h"]) * self._figure("open_pores_gypsum") + body["h"] * self._figure(
                "open_pores_csa"
            )
            model.addCons(body["pores"] * opened <= bound * body["dry"])
        elif name == "dry_strength":
            for strength in self._strengths(model, body, self.problem.job.shop.damp_cure):
                model.addCons(strength + body["ln_dry_ratio"] >= math.log(bound) * body["H"])
        elif name == "demold_time":
            model.addCons(body["final"] <= math.log(bound))
            for strength in self._strengths(model, body, bound):
                for need in self._needs(body["h"]):
                    model.addCons(strength >= need * body["H"])
        elif name == "working_window":
            least = math.log(bound + self.problem.job.shop.mixing)
            model.addCons(
                body["final"] * body["H"] - body["ln_final"] + body["ln_initial"] >= least * body["H"]
            )
        else:
            raise ValueError(name)

    def _needs(self, h: Any) -> tuple[Any, Any]:
        """Give ln strength to leave the mold, plain and for bending; for a wall of 6 mm or more."""
        factor = math.log(0.772) * (1.0 - h) + math.log(0.60) * h
        power = 0.737 * (1.0 - h) + 0.65 * h
        wanted = math.log(self._figure("flexural_need"))
        return math.log(self._figure("demold_need")), (wanted - factor) / power

    def _cost(self, model: Model, mix: list[Any], body: dict[str, Any]) -> None:
        line = self.case.line
        money = line.per_powder_money * self.problem.liters * np.nan_to_num(self.problem.prices)
        room, wall = self.problem.bench.room, self.problem.bench.vessel.wall
        bare = float(drying_time(room, 1e3, wall, 0.0))
        front = float(drying_time(room, 1e3, wall, 1.0)) - bare
        gypsum, cement = (math.log(self._figure(f"vapor_resistance_{kind}")) for kind in ("gypsum", "csa"))
        days = model.addVar("days", lb=0.0)
        resistance = exp(gypsum + body["h"] * (cement - gypsum))
        cure = self._figure("csa_damp_cure") * body["h"]
        model.addCons(days >= cure + body["free"] * (bare + front * resistance))
        powders = quicksum(float(m) * x for m, x in zip(money, mix, strict=True))
        model.setObjective(self.case.fixed + powders + line.per_shelf_day * days)


def _ratio_bound(least: float) -> float:
    """Return the largest absorbed over scattered light of a face of lightness `least` (CIE 15, Kubelka)."""
    luminance = ((least + 16.0) / 116.0) ** 3 if least > 8.0 else least * 27.0 / 24389.0
    return (1.0 - luminance) ** 2 / (2.0 * luminance)
