"""A job that is designed in a moment, and small sweeps of it; prices are invented."""

from __future__ import annotations

from dataclasses import replace

from optimizer.specs import load_catalogue
from optimizer.sweep import Plan, Scenarios, plan_of, read_scenarios
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
