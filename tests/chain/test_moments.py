"""Points and chances of quantities that curve in a parameter, against exact distributions of SciPy.

Three moments leave out the fourth: of a curve of a tenth of its slope that is 0.018 standard deviations of a
point and 0.003 of a chance; a line alone is 0.27 and 0.035 off (own arithmetic).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from optimizer.chain.moments import moments


def of(function, count=1, correlation=None):
    """Return the moments of a function of `count` standard normals, from single moves."""
    zero, steps = np.zeros(count), np.eye(count)
    down, up = (np.array([[function(side * step)] for step in steps]) for side in (-1.0, 1.0))
    tied = np.eye(count) if correlation is None else correlation
    return moments(np.array([function(zero)]), down, up, tied)


@pytest.mark.parametrize("bend", [-0.1, -0.05, 0.02, 0.1])
@pytest.mark.parametrize("share", [0.05, 0.1, 0.5, 0.9, 0.95])
def test_a_parabola_has_the_points_of_the_noncentral_chi_square(bend, share):
    """Solve z + b z^2 = b (z + 1/2b)^2 - 1/4b: b times a noncentral chi-square (Patnaik 1949)."""
    spread = of(lambda z: float(z[0] + bend * z[0] ** 2))
    square = stats.ncx2(1, (0.5 / bend) ** 2)
    exact = bend * square.ppf(share if bend > 0 else 1.0 - share) - 0.25 / bend
    assert float(spread.point(share)[0]) == pytest.approx(exact, abs=0.02)
    assert float(spread.chance_above(exact)[0]) == pytest.approx(1.0 - share, abs=0.004)


@pytest.mark.parametrize("share", [0.05, 0.1, 0.9, 0.95])
def test_growth_has_the_points_of_the_lognormal(share):
    """exp(0.2 z): its points are known, and no straight line has them."""
    spread = of(lambda z: float(np.exp(0.2 * z[0])))
    exact = stats.lognorm(0.2).ppf(share) - 1.0
    assert float(spread.point(share)[0]) == pytest.approx(exact, abs=0.006)
    assert float(spread.chance_above(exact)[0]) == pytest.approx(1.0 - share, abs=0.01)


def test_lines_add_up_as_their_correlation_says():
    """Three normals tied together: a normal of variance a' C a (any text on the normal distribution)."""
    slopes = np.array([1.0, -2.0, 0.5])
    tied = np.array([[1.0, 0.4, 0.0], [0.4, 1.0, -0.3], [0.0, -0.3, 1.0]])
    spread = of(lambda z: float(slopes @ z), 3, tied)
    exact = stats.norm(scale=np.sqrt(slopes @ tied @ slopes))
    assert (float(spread.mean[0]), float(spread.lean[0])) == (0.0, 0.0)
    assert float(spread.point(0.9)[0]) == pytest.approx(exact.ppf(0.9), rel=1e-9)
    assert float(spread.chance_above(1.0)[0]) == pytest.approx(exact.sf(1.0), rel=1e-6)


def test_an_edge_is_not_taken_for_a_curve():
    """A cliff under one move shifts the mean by no more than half the width, and leans no more than one."""
    spread = of(lambda z: 50.0 if z[0] < -0.5 else float(z[0]))
    assert abs(float(spread.mean[0])) <= 0.5 * float(spread.width[0])
    assert abs(float(spread.lean[0])) <= 1.0
    ends = [float(spread.point(share)[0]) for share in (0.01, 0.1, 0.5, 0.9, 0.99)]
    assert ends == sorted(ends)


def test_what_nothing_moves_stays():
    spread = of(lambda _: 3.0)
    assert (float(spread.width[0]), float(spread.point(0.05)[0])) == (0.0, 0.0)
