"""The six invented casts behind the demo job, and their fit: ``python -m tests.trust.demo_casts``.

The studio is drawn, not measured: every figure of the chain and what its laws lack are drawn once within
their ranges, six batches are cast in that studio, and each reading gets the error a studio makes. The table
and the fit that ship in ``optimizer/templates`` are written anew, so that anyone can make them again; do so
after every change of a shipped figure or a law.

The studio, `SEED` of `STUDIOS`, was chosen. In most of those drawn the answer is gypsum cement stretched with
filler, or a blend with CSA cement that costs 0 to 5 % less; the demo is to show one where the blend pays
more, because it needs fewer coats of sealer.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from typing import Final

import numpy as np

from optimizer.calibration.files import calibration_text
from optimizer.calibration.fit import Fit, calibrate
from optimizer.calibration.readings import studio_of
from optimizer.job import Job
from optimizer.jobfile import parse_job, template
from optimizer.jobfile.writing import demo_fit
from optimizer.materials import Catalogue
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import DISCREPANT
from optimizer.property_model.predict import cast_of, predict
from optimizer.property_model.samples import DrawSet, standard_normals
from optimizer.specs import load_catalogue
from optimizer.trials.records import Portion, Strength, Trial, Weighing

__all__ = ["SEED", "casts", "fitted", "table"]

STUDIOS: Final = DrawSet(512, 11)
"""Studios drawn: each figure by its name, so that a new figure leaves the others what they were."""

SEED: Final = 12
LOTS: Final = {"gypsum_cement": "G-17"}
FIRST_DAY: Final = dt.date(2026, 3, 2)
BATCHES: Final = (
    ({"gypsum_cement": 520, "silica_sand": 280}, 0.28),
    ({"white_csa_cement": 480, "silica_sand": 320}, 0.36),
    ({"gypsum_cement": 232, "white_csa_cement": 336, "silica_sand": 232}, 0.36),
    ({"gypsum_cement": 280, "white_csa_cement": 368, "silica_sand": 152}, 0.37),
    ({"gypsum_cement": 440, "white_csa_cement": 280, "silica_sand": 80}, 0.36),
    ({"gypsum_cement": 360, "white_csa_cement": 440}, 0.43),
)
"""Grams of the powders of each batch, and water over powder."""

HEADERS: Final = (
    "water [g]",
    "room_temperature [degC]",
    "cavity_volume [mL]",
    "window_end [min]",
    "demold_first [min]",
    "whiteness [-]",
    "absorption [fraction]",
    "coats",
)
"""Columns of the table that are fields of a trial."""

ERRORS: Final = {
    "mass": 1.2,
    "minutes": 1.5,
    "demold": 0.07,
    "strength": 0.08,
    "whiteness": 0.8,
    "soak": 0.05,
}
"""One standard error of a reading: masses [g], times [min], lightness [L*], the others on the log [-]."""


def casts(seed: int = SEED) -> list[Trial]:
    """Return the six batches of the studio that `seed` draws, each with its readings."""
    catalogue = load_catalogue()
    problem = problem_of(parse_job(template("demo"), catalogue, "demo"), catalogue)
    rng = np.random.default_rng(seed)
    known = problem.parameters
    fitted_at = known.fitted_at(standard_normals(STUDIOS, known.names)[seed : seed + 1])
    lacking = standard_normals(STUDIOS, [f"departure of {name}" for name in DISCREPANT])[seed : seed + 1]
    model = compile_model(catalogue, problem.names, known, fitted_at, lacking)
    out: list[Trial] = []
    for day, (grams, ratio) in enumerate(BATCHES):
        parts = np.array([grams.get(name, 0.0) for name in problem.names])
        mix = per_liter(problem.model, (parts / parts.sum())[None, :], np.array([ratio]))
        seen = {
            name: float(np.ravel(x)[0])
            for name, x in predict(cast_of(model, problem.conditions, mix)).items()
        }
        water = round(ratio * sum(grams.values()))
        out.append(_trial(day, grams, water, seen, problem.job.shop.mixing, rng))
    return out


def _trial(
    day: int,
    grams: dict[str, int],
    water: float,
    seen: dict[str, float],
    mixing: float,
    rng: np.random.Generator,
) -> Trial:
    def minutes(value: float) -> float:
        return float(round(value + ERRORS["minutes"] * rng.standard_normal()))

    def scaled(value: float, kind: str, digits: int) -> float:
        return float(np.round(value * math.exp(ERRORS[kind] * rng.standard_normal()), digits))

    def mass(value: float) -> float:
        return float(np.round(value + ERRORS["mass"] * rng.standard_normal(), 1))

    dry = mass(seen["dry_mass"])
    nearly = float(np.round(dry + 0.1, 1))
    return Trial(
        FIRST_DAY + dt.timedelta(days=day),
        id=f"A{day + 1}",
        portions=tuple(Portion(name, float(each), LOTS.get(name, "")) for name, each in grams.items()),
        water=float(water),
        room_temperature=21.0,
        cavity_volume=215.0,
        window_end=minutes(seen["working_window"] + mixing),
        demold_first=scaled(seen["demold_time"], "demold", 0),
        weighings=(Weighing(0.0, mass(seen["demolded_mass"])), Weighing(9.0, nearly), Weighing(10.0, dry)),
        strengths=(Strength(scaled(seen["dry_strength"], "strength", 1), state="dry", method="cube"),),
        whiteness=float(np.round(seen["whiteness"] + ERRORS["whiteness"] * rng.standard_normal(), 1)),
        absorption=scaled(seen["absorption"], "soak", 4),
        coats=round(seen["sealer_coats"]),
        remarks="invented example",
    )


def fitted(seed: int = SEED) -> Fit:
    """Return what the six casts teach in the demo's studio."""
    catalogue = load_catalogue()
    return _fit(parse_job(template("demo"), catalogue, "demo"), catalogue, casts(seed))


def _fit(job: Job, catalogue: Catalogue, trials: list[Trial]) -> Fit:
    return calibrate(trials, catalogue, studio_of(job), FIRST_DAY + dt.timedelta(days=20))


def table(trials: list[Trial]) -> str:
    """Return the casts as the CSV table a caster would keep: a column per powder, none that is empty."""
    names = list(dict.fromkeys(portion.material for trial in trials for portion in trial.portions))
    rows = []
    for trial in trials:
        held = {portion.material: portion for portion in trial.portions}
        row: dict[str, object] = {"id": trial.id, "date": trial.date.isoformat()}
        row |= {f"mass of {name} [g]": held[name].mass if name in held else "" for name in names}
        row |= {f"lot of {name}": held[name].lot if name in held else "" for name in LOTS}
        row |= {header: getattr(trial, header.split(" ")[0]) for header in HEADERS}
        for k, weighing in enumerate(trial.weighings, 1):
            row |= {f"weighing {k} age [d]": weighing.age, f"weighing {k} mass [g]": weighing.mass}
        (strength,) = trial.strengths
        row |= {"strength 1 value [MPa]": strength.value, "strength 1 state": strength.state}
        rows.append(row | {"strength 1 method": strength.method, "remarks": trial.remarks})
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({key: f"{x:g}" if isinstance(x, float) else x for key, x in row.items()} for row in rows)
    return out.getvalue()


if __name__ == "__main__":
    demo_fit().with_name("casts.csv").write_text(table(casts()), encoding="utf-8")
    demo_fit().write_text(calibration_text(fitted().calibration), encoding="utf-8")
