"""Published smooth test problems, in their published form.

Source: Hock and Schittkowski, Test Examples for Nonlinear Programming Codes, Springer 1981, problems by
number. Statements and optimal values from memory, each value confirmed by two solvers of different kind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.solvers.smooth import SmoothProblem

INF = np.inf


@dataclass(frozen=True, eq=False)
class Published:
    """A problem with its published start and optimal value."""

    problem: SmoothProblem
    start: np.ndarray
    best: float


def problem(cost, lower, upper, rows=(), curved=None, curved_equalities=0):
    """Build a problem from (coefficients, low, high) rows."""
    lower, upper = np.array(lower, float), np.array(upper, float)
    matrix = np.array([row[0] for row in rows], float).reshape(len(rows), lower.size)
    low = np.array([row[1] for row in rows], float)
    high = np.array([row[2] for row in rows], float)
    return SmoothProblem(cost, lower, upper, matrix, low, high, curved, curved_equalities)


def quadratic(matrix, linear, constant=0.0):
    """Return the function x'Mx + l'x + c with its gradient."""
    matrix, linear = np.array(matrix, float), np.array(linear, float)
    return lambda x: (float(x @ matrix @ x + linear @ x + constant), (matrix + matrix.T) @ x + linear)


def _hs21():
    cost = quadratic(np.diag([0.01, 1.0]), [0, 0], -100.0)
    return Published(problem(cost, [2, -50], [50, 50], [([10, -1], 10, INF)]), np.array([-1.0, -1.0]), -99.96)


def _hs24():
    third = np.sqrt(3.0)

    def cost(x):
        a, b = x
        scale = 1.0 / (27.0 * third)
        return ((a - 3) ** 2 - 9) * b**3 * scale, scale * np.array(
            [2 * (a - 3) * b**3, 3 * ((a - 3) ** 2 - 9) * b**2]
        )

    rows = [([1 / third, -1], 0, INF), ([1, third], 0, 6)]
    return Published(problem(cost, [0, 0], [INF, INF], rows), np.array([1.0, 0.5]), -1.0)


def _hs35():
    cost = quadratic([[2, 1, 1], [1, 2, 0], [1, 0, 1]], [-8, -6, -4], 9.0)
    return Published(problem(cost, [0] * 3, [INF] * 3, [([1, 1, 2], -INF, 3)]), np.full(3, 0.5), 1.0 / 9.0)


def _hs36():
    def cost(x):
        a, b, c = x
        return -a * b * c, -np.array([b * c, a * c, a * b])

    rows = [([1, 2, 2], -INF, 72)]
    return Published(problem(cost, [0] * 3, [20, 11, 42], rows), np.full(3, 10.0), -3300.0)


def _hs43():
    parts = [
        quadratic(-np.eye(4), [-1, 1, -1, 1], 8.0),
        quadratic(-np.diag([1, 2, 1, 2]), [1, 0, 0, 1], 10.0),
        quadratic(-np.diag([2, 1, 1, 0]), [-2, 1, 0, 1], 5.0),
    ]
    cost = quadratic(np.diag([1, 1, 2, 1]), [-5, -5, -21, 7])
    return Published(problem(cost, [-INF] * 4, [INF] * 4, curved=stack(parts)), np.zeros(4), -44.0)


def _hs63():
    cost = quadratic([[-1, -1, -1], [0, -2, 0], [0, 0, -1]], [0, 0, 0], 1000.0)
    sphere = stack([quadratic(np.eye(3), [0, 0, 0], -25.0)])
    rows = [([8, 14, 7], 56, 56)]
    return Published(problem(cost, [0] * 3, [INF] * 3, rows, sphere, 1), np.full(3, 2.0), 961.7151721)


def _hs71():
    def cost(x):
        a, b, c, d = x
        s = a + b + c
        return a * d * s + c, np.array([d * (s + a), a * d, a * d + 1, a * s])

    def product(x):
        a, b, c, d = x
        return a * b * c * d - 25.0, np.array([b * c * d, a * c * d, a * b * d, a * b * c])

    rows = stack([quadratic(np.eye(4), [0] * 4, -40.0), product])
    return Published(problem(cost, [1] * 4, [5] * 4, (), rows, 1), np.array([1.0, 5, 5, 1]), 17.0140173)


def _hs73():
    """Cattle feed: a blend with one chance constraint."""
    spread = np.array([0.28, 0.19, 20.5, 0.62])

    def protein(x):
        root = np.sqrt(spread @ x**2)
        mean = np.array([12, 11.9, 41.8, 52.1])
        return mean @ x - 21 - 1.645 * root, mean - 1.645 * spread * x / root

    rows = [([2.3, 5.6, 11.1, 1.3], 5, INF), ([1, 1, 1, 1], 1, 1)]
    cost = np.array([24.55, 26.75, 39.0, 40.50])
    return Published(problem(cost, [0] * 4, [INF] * 4, rows, stack([protein])), np.ones(4), 29.894378)


def _hs76():
    cost = quadratic(
        [[1, 0, -1, 0], [0, 0.5, 0, 0], [0, 0, 1, 1], [0, 0, 0, 0.5]],
        [-1, -3, 1, -1],
    )
    rows = [([1, 2, 1, 1], -INF, 5), ([3, 1, 2, -1], -INF, 4), ([0, 1, 4, 0], 1.5, INF)]
    return Published(problem(cost, [0] * 4, [INF] * 4, rows), np.full(4, 0.5), -4.681818181)


def _hs100():
    def cost(x):
        a, b, c, d, e, f, g = x
        value = (a - 10) ** 2 + 5 * (b - 12) ** 2 + c**4 + 3 * (d - 11) ** 2 + 10 * e**6 + 7 * f**2 + g**4
        slopes = [2 * (a - 10), 10 * (b - 12), 4 * c**3, 6 * (d - 11), 60 * e**5]
        slopes += [14 * f - 4 * g - 10, 4 * g**3 - 4 * f - 8]
        return value - 4 * f * g - 10 * f - 8 * g, np.array(slopes)

    def rows(x):
        a, b, c, d, e, f, g = x
        values = [
            127 - 2 * a**2 - 3 * b**4 - c - 4 * d**2 - 5 * e,
            282 - 7 * a - 3 * b - 10 * c**2 - d + e,
            196 - 23 * a - b**2 - 6 * f**2 + 8 * g,
            -4 * a**2 - b**2 + 3 * a * b - 2 * c**2 - 5 * f + 11 * g,
        ]
        slopes = [
            [-4 * a, -12 * b**3, -1, -8 * d, -5, 0, 0],
            [-7, -3, -20 * c, -1, 1, 0, 0],
            [-23, -2 * b, 0, 0, 0, -12 * f, 8],
            [-8 * a + 3 * b, -2 * b + 3 * a, -4 * c, 0, 0, -5, 11],
        ]
        return np.array(values), np.array(slopes)

    start = np.array([1.0, 2, 0, 4, 0, 1, 1])
    return Published(problem(cost, [-INF] * 7, [INF] * 7, curved=rows), start, 680.6300573)


def _hs112():
    """Chemical equilibrium: ideal mixing of ten species under three element balances."""
    energy = -np.array([6.089, 17.164, 34.054, 5.914, 24.721, 14.986, 24.1, 10.708, 26.662, 22.179])

    def cost(x):
        logs = energy + np.log(x / x.sum())
        return float(x @ logs), logs

    rows = [
        ([1, 2, 2, 0, 0, 1, 0, 0, 0, 1], 2, 2),
        ([0, 0, 0, 1, 2, 1, 1, 0, 0, 0], 1, 1),
        ([0, 0, 1, 0, 0, 0, 1, 1, 2, 1], 1, 1),
    ]
    return Published(problem(cost, [1e-6] * 10, [INF] * 10, rows), np.full(10, 0.1), -47.76109)


def stack(parts):
    """Return several scalar functions with gradients as one set of rows."""

    def rows(x):
        pairs = [part(x) for part in parts]
        return np.array([value for value, _ in pairs]), np.array([slope for _, slope in pairs])

    return rows


HOCK_SCHITTKOWSKI = {
    21: _hs21,
    24: _hs24,
    35: _hs35,
    36: _hs36,
    43: _hs43,
    63: _hs63,
    71: _hs71,
    73: _hs73,
    76: _hs76,
    100: _hs100,
    112: _hs112,
}
