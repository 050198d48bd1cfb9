"""Published frontiers, walked with the smooth solver and measured by their volume.

A walked frontier of finitely many exact points has a volume a little below that of the whole frontier, never
above.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from frontier_problems import bnh, dtlz1, dtlz2, osy, tnk, zdt

from optimizer.pareto import walk
from optimizer.solvers.nonlinear import minimize_smooth
from tests.solvers.hypervolume import hypervolume


def walked(case, levels, restart):
    """Walk a published problem; `restart` adds its own starts to the neighbor at each level."""

    def solve(level, near):
        held = case.held(level)
        starts = [near] if near is not None else []
        starts += case.starts if restart or near is None else []
        answers = [minimize_smooth(held, start) for start in starts]
        good = [answer for answer in answers if answer.status.has_answer]
        if not good:
            return None
        best = min(good, key=lambda answer: answer.value)
        return case.values(best.x), best.x

    return [point.objectives for point in walk(solve, levels)]


def line(loose, tight, count):
    return [(float(level),) for level in np.linspace(loose, tight, count)]


def grid(loose, tight, count, reachable):
    """Return pairs of levels back and forth, each pair beside the one before.

    The rim, where a level leaves a single point, is left out: there a row has no slope to follow.
    """
    steps = np.linspace(loose, tight, count)
    rows = [[(float(a), float(b)) for b in steps] for a in steps]
    paths = (row if number % 2 == 0 else row[::-1] for number, row in enumerate(rows))
    return [level for level in itertools.chain.from_iterable(paths) if reachable(*level)]


@pytest.mark.parametrize(
    ("case", "levels", "restart", "share"),
    [
        pytest.param(bnh(), line(136, 0, 40), False, 0.98, id="BNH-1997-from-memory"),
        pytest.param(tnk(), line(1.05, 0.0417, 40), True, 0.975, id="TNK-1995-from-memory"),
        pytest.param(osy(), line(76, 4, 32), True, 0.975, id="OSY-1995-from-memory"),
        pytest.param(zdt(0.5), line(1, 1e-6, 30), False, 0.97, id="ZDT1-2000-exact"),
        pytest.param(zdt(2), line(1, 1e-6, 30), False, 0.96, id="ZDT2-2000-exact"),
    ],
)
def test_two_objectives(case, levels, restart, share):
    volume = hypervolume(walked(case, levels, restart), case.reference)
    assert share * case.exact <= volume <= case.exact * (1 + 1e-5)


def test_dtlz1_points_lie_on_the_plane():
    """DTLZ1 2002: the frontier is f1 + f2 + f3 = 0.5."""
    case = dtlz1()
    levels = grid(0.45, 0.05, 6, lambda a, b: a + b < 0.46)
    points = np.array(walked(case, levels, restart=True))
    np.testing.assert_allclose(points.sum(axis=1), 0.5, atol=1e-6)
    exact = [(a, b, 0.5 - a - b) for a, b in levels]
    assert hypervolume(points, case.reference) == pytest.approx(hypervolume(exact, case.reference), rel=0.02)


def test_dtlz2_points_lie_on_the_sphere():
    """DTLZ2 2002: the frontier is f1^2 + f2^2 + f3^2 = 1."""
    case = dtlz2()
    levels = grid(0.95, 0.05, 7, lambda a, b: a * a + b * b < 0.95)
    points = np.array(walked(case, levels, restart=True))
    np.testing.assert_allclose((points**2).sum(axis=1), 1.0, atol=1e-6)
    exact = [(a, b, np.sqrt(max(0.0, 1 - a * a - b * b))) for a, b in levels]
    assert hypervolume(points, case.reference) == pytest.approx(hypervolume(exact, case.reference), rel=0.02)
