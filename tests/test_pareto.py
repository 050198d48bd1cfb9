"""Frontier tools: filter, volume, knee and walk, against exact volumes and plain definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.pareto import knee, nondominated, walk
from tests.solvers.hypervolume import hypervolume

COUNT = 20_001


def bnh():
    """Frontier by hand: x1 = x2 in [0, 3], then x2 = 3 with x1 in [3, 5]."""
    low, high = np.linspace(0, 3, COUNT), np.linspace(3, 5, COUNT)
    first = np.stack([8 * low**2, 2 * (low - 5) ** 2], axis=1)
    return np.concatenate([first, np.stack([4 * high**2 + 36, (high - 5) ** 2 + 4], axis=1)])


def tnk():
    """Cut the wavy circle by the second limit."""
    angle = np.linspace(1e-6, np.pi / 2 - 1e-6, 400_000)
    radius = np.sqrt(1 + 0.1 * np.cos(16 * (np.pi / 2 - angle)))
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    kept = (x - 0.5) ** 2 + (y - 0.5) ** 2 <= 0.5
    return np.stack([x[kept], y[kept]], axis=1)


def osy():
    """Five published segments (from memory): x1, x2, x3, x5 along each; x4 = x6 = 0."""
    k = np.linspace(0, 1, COUNT)
    falling = 4.056 + 0.944 * k
    segments = [
        (5, 1, 1 + 4 * k, 5),
        (5, 1, 1 + 4 * k, 1),
        (falling, (falling - 2) / 3, 1, 1),
        (0, 2, 1 + 2.732 * k, 1),
        (k, 2 - k, 1, 1),
    ]
    rows = []
    for a, b, c, e in segments:
        first = -(25 * (a - 2) ** 2 + (b - 2) ** 2 + (c - 1) ** 2 + 16 + (e - 1) ** 2)
        rows.append(np.stack(np.broadcast_arrays(first, a * a + b * b + c * c + e * e), axis=1))
    return np.concatenate(rows)


def zdt(power):
    x = np.linspace(0, 1, 1000)
    return np.stack([x, 1 - x**power], axis=1)


def plane(count):
    """Points of x + y + z = 0.5 at even steps."""
    u, v = np.meshgrid(np.linspace(0, 1, count), np.linspace(0, 1, count))
    inside = u + v <= 1 + 1e-12
    return 0.5 * np.stack([u[inside], v[inside], 1 - u[inside] - v[inside]], axis=1)


def sphere(count):
    a, b = np.meshgrid(*[np.linspace(0, np.pi / 2, count)] * 2)
    points = np.stack([np.cos(a) * np.cos(b), np.cos(a) * np.sin(b), np.sin(a)], axis=-1)
    return points.reshape(-1, 3)


@pytest.mark.parametrize(
    ("points", "reference", "volume", "tolerance"),
    [
        pytest.param(bnh(), (140, 50), 5285.26, 0.01, id="BNH-1997-frontier-by-hand"),
        pytest.param(tnk(), (1.2, 1.2), 0.65506, 1e-5, id="TNK-1995-own-arithmetic"),
        pytest.param(osy(), (0, 80), 16795.5, 1.0, id="OSY-1995-segments-from-memory"),
        pytest.param(zdt(0.5), (1.1, 1.1), 1.21 - 1 / 3, 6e-4, id="ZDT1-2000-exact"),
        pytest.param(zdt(2), (1.1, 1.1), 1.21 - 2 / 3, 6e-4, id="ZDT2-2000-exact"),
        pytest.param(plane(151), (0.5, 0.5, 0.5), 0.125 - 0.5**3 / 6, 5e-4, id="DTLZ1-2002-exact"),
        pytest.param(sphere(101), (1, 1, 1), 1 - math.pi / 6, 8e-3, id="DTLZ2-2002-exact"),
    ],
)
def test_volume_of_a_published_frontier(points, reference, volume, tolerance):
    found = hypervolume(points, reference)
    assert found == pytest.approx(volume, abs=tolerance)


@pytest.mark.parametrize("objectives", [2, 3])
@pytest.mark.parametrize("seed", range(4))
def test_volume_against_throwing_darts(objectives, seed):
    """Monte Carlo, 200 000 darts: four standard errors are 0.0045."""
    random = np.random.default_rng(seed)
    points, darts = random.random((25, objectives)), random.random((200_000, objectives))
    hit = np.zeros(len(darts), dtype=bool)
    for point in points:
        hit |= np.all(darts >= point, axis=1)
    assert hypervolume(points, np.ones(objectives)) == pytest.approx(hit.mean(), abs=0.0045)


boxes = st.lists(st.tuples(*[st.integers(0, 6)] * 3), min_size=0, max_size=12)


@given(boxes)
def test_volume_of_whole_numbers_is_a_count_of_cubes(points):
    """On whole numbers the volume is the number of unit cubes above any point; own arithmetic."""
    cubes = {(x, y, z) for a, b, c in points for x in range(a, 7) for y in range(b, 7) for z in range(c, 7)}
    assert hypervolume(np.array(points, float).reshape(-1, 3), [7, 7, 7]) == len(cubes)
    squares = {(x, y) for a, b, _ in points for x in range(a, 7) for y in range(b, 7)}
    assert hypervolume(np.array(points, float).reshape(-1, 3)[:, :2], [7, 7]) == len(squares)


def test_volume_counts_nothing_at_or_beyond_the_reference():
    assert hypervolume([[1.0, 3.0], [4.0, 0.0]], [3.0, 3.0]) == 0.0


def test_volume_is_for_two_or_three():
    with pytest.raises(ValueError, match="not 4"):
        hypervolume([[1.0] * 4], [2.0] * 4)


def plainly(points):
    """Apply the definition, point against point; the first of equal points stands."""
    kept = []
    for i, p in enumerate(points):
        worse = any(all(b <= a for a, b in zip(p, q, strict=True)) and q != p for q in points)
        if not worse and p not in points[:i]:
            kept.append(i)
    return tuple(kept)


@given(boxes)
def test_filter_is_the_definition(points):
    assert nondominated(np.array(points, float).reshape(-1, 3)) == plainly(points)


@given(boxes.filter(bool))
def test_dominated_points_add_no_volume(points):
    matrix = np.array(points, float)
    kept = matrix[list(nondominated(matrix))]
    assert hypervolume(kept, [7, 7, 7]) == hypervolume(matrix, [7, 7, 7])


@given(boxes.filter(bool))
def test_senses_mirror(points):
    matrix = np.array(points, float)
    signs = np.array([1.0, -1.0, 1.0])
    assert nondominated(matrix * signs, ["min", "max", "min"]) == nondominated(matrix)


def test_noise_does_not_make_a_point_of_its_own():
    points = [[0.0, 1.0], [1e-9, 1.0 - 1e-9], [0.5, 0.5], [0.5 - 1e-9, 0.7], [1.0, 0.0]]
    assert nondominated(points) == (0, 1, 2, 3, 4)
    assert nondominated(points, same=1e-6) == (0, 2, 4)


@pytest.mark.parametrize("stretch", [1.0, 1e-3, 1e4])
def test_knee_of_a_quarter_circle_is_at_its_middle(stretch):
    """A quarter circle bulging to the ideal point is farthest from its chord at 45 degrees; by geometry."""
    angle = np.linspace(0, np.pi / 2, 91)
    points = np.stack([1 - np.sin(angle), stretch * (1 - np.cos(angle))], axis=1)
    assert knee(points) == 45


def test_no_knee_where_nothing_bulges():
    angle = np.linspace(0, np.pi / 2, 91)
    assert knee(np.stack([np.sin(angle), np.cos(angle)], axis=1)) is None
    assert knee([[0.0, 1.0], [1.0, 0.0]]) is None


def test_knee_follows_the_senses():
    assert knee([[0.0, 0.0], [1.0, 8.0], [5.0, 9.0], [10.0, 10.0]], ["min", "max"]) == 1


def test_knee_of_three_objectives():
    corners = np.eye(3)
    assert knee(np.concatenate([corners, [[0.2, 0.2, 0.2], [0.5, 0.4, 0.05]]])) == 3


def test_a_walk_starts_each_solve_from_its_nearest_neighbor():
    given_starts = []

    def solve(level, start):
        given_starts.append(start)
        return (level[0], level[1], 2.0 - level[0] - level[1]), level

    levels = [(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0)]
    walk(solve, levels)
    assert given_starts == [None, (0.0, 0.0), (0.0, 1.0), (1.0, 1.0)]


def test_a_walk_measures_nearness_in_spans():
    """A level of 1000 spans beside one of 1: both count by their own range."""
    starts = []

    def solve(level, start):
        starts.append(start)
        return (level[0], -level[1]), level

    walk(solve, [(0.0, 0.0), (1000.0, 1.0), (400.0, 1.0), (600.0, 0.0)])
    assert starts[3] == (0.0, 0.0)


def test_a_walk_passes_over_levels_without_an_answer():
    starts = []

    def solve(level, start):
        starts.append(start)
        return None if level[0] == 1.0 else ((level[0], -level[0]), level)

    front = walk(solve, [(0.0,), (1.0,), (2.0,)])
    assert [point.level for point in front] == [(0.0,), (2.0,)]
    assert starts[2] == (0.0,)
    assert walk(lambda level, start: None, [(0.0,)]) == ()
    assert walk(solve, []) == ()


def test_a_walk_drops_repeats_and_dominated_points():
    values = {
        0.0: (0.0, 3.0),
        1.0: (1.0, 1.0),
        2.0: (1.0 + 1e-9, 1.0 - 1e-9),
        3.0: (2.0, 2.0),
        4.0: (3.0, 0.0),
    }
    front = walk(lambda level, start: (values[level[0]], None), [(key,) for key in values])
    assert [point.level[0] for point in front] == [0.0, 1.0, 4.0]
