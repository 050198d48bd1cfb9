"""No figure of `material_specs/model.toml` is dead: moving any of them moves some answer.

A figure that nothing reads would promise a caster who edits it something that never happens. Own arithmetic.
"""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import optimizer
from optimizer.materials import Catalogue
from optimizer.problem import problem_of
from optimizer.properties.heat_transfer import BOUND_WEIGHT
from optimizer.property_model.predict import cast_of

HEAT = ("conductivity_weight", "flame_share", "pool_temperature", "pool_share", "film_factor")


def walls(job, catalogue):
    problem = problem_of(job, catalogue)
    mix = np.array([[0.9 / len(problem.names)] * len(problem.names) + [0.4]])
    return np.concatenate(cast_of(problem.model, problem.conditions, mix).walls)


def words_of_the_code() -> set[str]:
    """Return every string constant of the package, but those of the table of ranges itself."""
    folder = Path(optimizer.__file__).parent
    trees = (ast.parse(p.read_text("utf-8")) for p in folder.rglob("*.py") if p.parent.name != "specs")
    return {
        n.value for t in trees for n in ast.walk(t) if isinstance(n, ast.Constant) and type(n.value) is str
    }


def test_every_figure_of_the_model_is_named_where_it_is_read(catalogue):
    assert sorted(set(catalogue.model) - words_of_the_code()) == []


def with_figure(catalogue, name, factor):
    moved = replace(catalogue.model[name], value=catalogue.model[name].value * factor)
    return replace(catalogue, model={**catalogue.model, name: moved})


@pytest.mark.parametrize("name", HEAT)
def test_the_figures_of_heat_in_use_move_the_wall(demo, catalogue: Catalogue, name):
    """Some candle exists for which each figure counts: a weak flame holds no pool, a strong one does."""
    moved = with_figure(catalogue, name, 1.2)
    rates = (1.5, 2.5, 3.5, 4.5, 20.0)
    candles = [replace(demo.candle, measured_outer=None, burn_rate=rate) for rate in rates]
    changes = [
        np.abs(walls(replace(demo, candle=c), moved) - walls(replace(demo, candle=c), catalogue)).max()
        for c in candles
    ]
    assert max(changes) > 0.05


def test_a_hotter_pool_never_makes_a_cooler_wall(demo, catalogue):
    candle = replace(demo.candle, measured_outer=None)
    job = replace(demo, candle=candle)
    assert (walls(job, with_figure(catalogue, "pool_temperature", 1.2)) >= walls(job, catalogue) - 1e-9).all()


def test_formulas_on_their_own_start_from_the_shipped_figures(catalogue):
    assert catalogue.model["conductivity_weight"].value == BOUND_WEIGHT
