"""A job that is designed in a moment, and small sweeps of it, run and read; prices are invented."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

from optimizer.specs import load_catalogue
from optimizer.sweep import CsvResults, Plan, Scenarios, header_of, plan_of, read_scenarios, sweep
from optimizer.sweep.run import Progress, Workers, this_process
from optimizer.toml_files import parse_toml

JOB = """
title = "Plain cup"
currency = "EUR"
materials = ["gypsum_cement", "marble_flour"]
[vessel]
cavity_volume = "215 mL"
[limits]
dry_strength = ">= 25 MPa"
dry_mass = ["<= 365 g", ">= 200 g"]
[prices.gypsum_cement]
pack = "25 kg"
price = 41.50
[prices.marble_flour]
pack = "25 kg"
price = 14.00
"""
VARY = "prices.gypsum_cement.price=30:60:3, limits.dry_strength=20 MPa:30 MPa:2"
HOPELESS = "limits.dry_strength=25 MPa|240 MPa, vessel.wall=8mm|60mm"
"""One scenario with a blend, one without, two whose vessel has no hollow."""


def planned(vary: str = VARY, text: str = JOB) -> tuple[Plan, Scenarios]:
    """Return the plan and the scenarios of a grid."""
    bare = plan_of(text, "job.toml", load_catalogue(), None)
    scenarios = read_scenarios([vary], None, parse_toml(text, "job.toml"))
    return replace(bare, variables=scenarios.variables), scenarios


def swept(
    path: Path, vary: str = VARY, workers: Workers | None = None, text: str = JOB, *, in_full: bool = False
) -> Progress:
    """Run a sweep into a CSV file, by this process unless workers are given."""
    bare, scenarios = planned(vary, text)
    plan = replace(bare, in_full=in_full)
    results, designers = CsvResults(path, header_of(plan), plan.fingerprint[:16]), workers or this_process()
    try:
        return sweep(plan, scenarios, results, designers)
    finally:
        results.close()
        designers.close()


def rows_of(path: Path) -> list[dict[str, str]]:
    """Return the rows of a sweep's CSV file."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
