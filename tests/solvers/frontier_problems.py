"""Published test problems with two or three objectives, all minimized, from memory.

Sources: BNH, Binh and Korn 1997. TNK, Tanaka et al. 1995. OSY, Osyczka and Kundu 1995. ZDT, Zitzler, Deb
and Thiele 2000. DTLZ, Deb, Thiele, Laumanns and Zitzler 2002.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from problems import INF, problem, quadratic, stack

from optimizer.solvers.smooth import SmoothProblem


@dataclass(frozen=True, eq=False)
class Multi:
    """A problem with several objectives, all minimized.

    `objectives` are functions of the point returning (value, gradient), `base` holds bounds and rows (its
    cost is not used), `starts` are first points for the first level, `exact` is the volume of the whole
    frontier up to `reference`.
    """

    objectives: tuple
    base: SmoothProblem
    starts: tuple
    reference: tuple[float, ...]
    exact: float

    def held(self, level):
        """Minimize the last objective with the others held at or below `level`."""
        limits = [_limit(function, bound) for function, bound in zip(self.objectives, level, strict=False)]
        rows = stack(limits)

        def curved(x):
            own, slopes = self.base.rows(x)
            values, more = rows(x)
            return np.concatenate([own, values]), np.concatenate([slopes, more])

        return replace(self.base, cost=self.objectives[-1], curved=curved)

    def values(self, x):
        """Return all objectives at a point."""
        return tuple(float(function(x)[0]) for function in self.objectives)


def _limit(function, bound):
    def row(x):
        value, slope = function(x)
        return bound - value, -slope

    return row


def bnh():
    """Binh and Korn: exact frontier x1 = x2 up to 3, then x2 = 3. Volume: own arithmetic, 40 000 points."""
    first = quadratic(4 * np.eye(2), [0, 0])
    second = quadratic(np.eye(2), [-10, -10], 50.0)
    rows = stack([quadratic(-np.eye(2), [10, 0], 0.0), quadratic(np.eye(2), [-16, 6], 73.0 - 7.7)])
    base = problem(np.zeros(2), [0, 0], [5, 3], curved=rows)
    return Multi((first, second), base, (np.full(2, 1.0),), (140.0, 50.0), 5285.26)


def tnk():
    """Tanaka: a wavy frontier with holes; volume by 400 000 angles, own arithmetic."""

    def wave(x):
        a, b = x
        angle, square = 16 * np.arctan2(a, b), a * a + b * b
        turn = 1.6 * np.sin(angle) / square
        return square - 1 - 0.1 * np.cos(angle), np.array([2 * a + turn * b, 2 * b - turn * a])

    rows = stack([wave, quadratic(-np.eye(2), [1, 1], 0.0)])
    base = problem(np.zeros(2), [1e-9, 1e-9], [np.pi, np.pi], curved=rows)
    starts = tuple(np.array([np.cos(t), np.sin(t)]) for t in np.linspace(0.05, 1.52, 6))
    axes = tuple(_axis(2, column) for column in range(2))
    return Multi(axes, base, starts, (1.2, 1.2), 0.65506)


def osy():
    """Osyczka and Kundu: concave first objective; volume from five published segments (from memory)."""
    center = np.array([2.0, 2, 1, 4, 1, 0])
    weight = np.array([25.0, 1, 1, 1, 1, 0])

    def first(x):
        away = x - center
        return -float(weight @ away**2), -2 * weight * away

    second = quadratic(np.eye(6), np.zeros(6))
    rows = stack(
        [
            quadratic(-np.diag([0, 0, 1, 0, 0, 0]), [0, 0, 6, -1, 0, 0], -5.0),
            quadratic(np.diag([0, 0, 0, 0, 1, 0]), [0, 0, 0, 0, -6, 1], 5.0),
        ]
    )
    lines = [
        ([1, 1, 0, 0, 0, 0], 2, 6),
        ([1, -1, 0, 0, 0, 0], -2, INF),
        ([-1, 3, 0, 0, 0, 0], -2, INF),
    ]
    base = problem(np.zeros(6), [0, 0, 1, 0, 1, 0], [10, 10, 5, 6, 5, 10], lines, rows)
    corners = [
        (5, 1, 5, 0, 5, 0),
        (5, 1, 3, 0, 1, 0),
        (4, 1, 1, 0, 1, 0),
        (0, 2, 3, 0, 1, 0),
        (1, 1, 1, 0, 1, 0),
    ]
    starts = tuple(np.array(corner, float) for corner in corners)
    return Multi((second, first), base, starts, (80.0, 0.0), 16795.5)


def zdt(power):
    """ZDT1 (power 0.5) and ZDT2 (power 2): f2 = 1 - f1 ** power on the frontier; exact volume by hand."""
    size = 30

    def second(x):
        g = 1 + 9 * x[1:].sum() / (size - 1)
        share = (x[0] / g) ** power
        slope = np.full(size, 9 / (size - 1) * (1 - share + power * share))
        slope[0] = -g * power * share / x[0]
        return g * (1 - share), slope

    base = problem(np.zeros(size), [1e-9] + [0] * (size - 1), [1] * size)
    exact = 1.21 - 1 / 3 if power < 1 else 1.21 - 2 / 3
    return Multi((_axis(size, 0), second), base, (np.full(size, 0.3),), (1.1, 1.1), exact)


def dtlz1():
    """DTLZ1, three objectives: the frontier is the plane sum = 0.5. The starts are in the right basin."""
    size = 7

    def distance(x):
        away = x[2:] - 0.5
        waves = np.cos(20 * np.pi * away)
        slope = np.zeros(size)
        slope[2:] = 100 * (2 * away + 20 * np.pi * np.sin(20 * np.pi * away))
        return 100 * (5 + float(np.sum(away**2 - waves))), slope

    def shape(x):
        a, b = x[:2]
        return 0.5 * np.array([a * b, a * (1 - b), 1 - a]), 0.5 * np.array([[b, a], [1 - b, -a], [-1, 0]])

    start = np.append([0.5, 0.5], np.full(5, 0.502))
    base = problem(np.zeros(size), [0] * size, [1] * size)
    return Multi(_shaped(shape, distance), base, (start,), (0.5, 0.5, 0.5), 0.125 - 0.5**3 / 6)


def dtlz2():
    """DTLZ2, three objectives: the frontier is an eighth of the unit sphere."""
    size = 12

    def distance(x):
        away = x[2:] - 0.5
        return float(away @ away), np.append([0.0, 0.0], 2 * away)

    def shape(x):
        half = np.pi / 2
        (ca, cb), (sa, sb) = np.cos(half * x[:2]), np.sin(half * x[:2])
        slopes = half * np.array([[-sa * cb, -ca * sb], [-sa * sb, ca * cb], [ca, 0]])
        return np.array([ca * cb, ca * sb, sa]), slopes

    base = problem(np.zeros(size), [0] * size, [1] * size)
    return Multi(_shaped(shape, distance), base, (np.full(size, 0.4),), (1.0, 1.0, 1.0), 1 - np.pi / 6)


def _axis(size, column):
    unit = np.eye(size)[column]
    return lambda x: (float(x[column]), unit)


def _shaped(shape, distance):
    """Return objectives shape_i(x1, x2) * (1 + distance(rest))."""

    def objective(row):
        def function(x):
            (form, slopes), (away, slope) = shape(x), distance(x)
            total = form[row] * slope
            total[:2] = slopes[row] * (1 + away)
            return form[row] * (1 + away), total

        return function

    return tuple(objective(row) for row in range(3))
