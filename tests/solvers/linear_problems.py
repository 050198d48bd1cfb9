"""Linear and integer models with known answers: a textbook's, PuLP's documentation's, and invented ones."""

from __future__ import annotations

import math

import numpy as np

from optimizer.solvers.linear import LinearModel, LinearRow

INF = math.inf


def model(columns, cost, rows, upper=INF, integer=None):
    """Build a model with columns from 0 to `upper` and rows of (name, coefficients by name, low, high)."""
    size = len(columns)
    flags = None if integer is None else np.array(integer)
    limits = np.broadcast_to(np.array(upper, float), size)
    lines = tuple(LinearRow(*row) for row in rows)
    return LinearModel("test", tuple(columns), np.zeros(size), limits, np.array(cost, float), lines, flags)


def textbook():
    """Maximize 3x + 5y (operations research textbooks), stated as minimizing its negative."""
    rows = [
        ("first", {"x": 1.0}, -INF, 4.0),
        ("second", {"y": 2.0}, -INF, 12.0),
        ("third", {"x": 3.0, "y": 2.0}, -INF, 18.0),
    ]
    return model("xy", [-3, -5], rows)


def cat_food(costs, contents):
    """Blend ingredients [percent] to 100 with protein, fat, fiber and salt limits."""
    limits = {"protein": (8.0, INF), "fat": (6.0, INF), "fiber": (-INF, 2.0), "salt": (-INF, 0.4)}
    columns = tuple(costs)
    rows = [("sum", dict.fromkeys(columns, 1.0), 100.0, 100.0)]
    for place, (name, limit) in enumerate(limits.items()):
        rows.append((name, {column: contents[column][place] for column in columns}, *limit))
    return model(columns, list(costs.values()), rows)


CONTENTS = {
    "chicken": (0.100, 0.080, 0.001, 0.002),
    "beef": (0.200, 0.100, 0.005, 0.005),
    "mutton": (0.150, 0.110, 0.003, 0.007),
    "rice": (0.000, 0.010, 0.100, 0.002),
    "wheat": (0.040, 0.010, 0.150, 0.008),
    "gel": (0.000, 0.000, 0.000, 0.000),
}
COSTS = {"chicken": 0.013, "beef": 0.008, "mutton": 0.010, "rice": 0.002, "wheat": 0.005, "gel": 0.001}
TWO = cat_food({name: COSTS[name] for name in ("chicken", "beef")}, CONTENTS)
SIX = cat_food(COSTS, CONTENTS)


def hard(size):
    """Thirty knapsacks at once: no quick proof."""
    random = np.random.default_rng(0)
    columns = tuple(f"x{i}" for i in range(size))
    rows = tuple(
        LinearRow(f"sack{i}", random.integers(10, 100, size).astype(float), upper=12.0 * size)
        for i in range(30)
    )
    cost = -random.integers(10, 100, size).astype(float)
    ones = np.ones(size)
    return LinearModel("hard", columns, np.zeros(size), ones, cost, rows, np.ones(size, dtype=bool))


def three_materials():
    """Mix a liter of slurry from three materials [kg per liter]; every figure is invented."""
    columns = ("gypsum", "csa_cement", "marble_dust", "water")
    rows = (
        LinearRow("volume_one_liter", np.array([0.385, 0.350, 0.370, 1.0]), 0.97, 0.97),
        LinearRow("water_for_pouring", np.array([-0.40, -0.38, -0.25, 1.0]), lower=0.0),
        LinearRow("water_to_powder", np.array([-0.8, -0.8, -0.8, 1.0]), upper=0.0),
        LinearRow("csa_share", {"csa_cement": 1.0, "gypsum": -0.15}, lower=0.0),
        LinearRow("dry_mass", np.array([1.18, 1.30, 1.0, 0.0]), 1.2, 1.5),
    )
    cost = np.array([0.9, 2.4, 0.5, 0.0])
    upper = np.array([2.0, 2.0, 1.0, INF])
    return LinearModel("three_materials", columns, np.zeros(4), upper, cost, rows)
