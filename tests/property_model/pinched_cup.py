"""An elastic cup pinched at its rim: what the figure `demold_bending` and its law of the wall rest on.

A cylinder with a free rim and a base that keeps its roundness and may warp (a plate as thin as the wall
hardly hinders that); two opposite loads on a patch of the rim. Thin shell theory (Love's strains, Timoshenko
and Woinowsky-Krieger, from memory), Fourier terms around, Legendre polynomials along the height (Ritz). Own
arithmetic, held to two textbook cases by `tests/property_model/test_demold_need.py`.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial import Polynomial
from numpy.polynomial.legendre import Legendre, leggauss

POISSON = 0.2
MODULUS = 10_000.0
"""Of set gypsum [MPa], from memory; stresses under a load do not hang on it."""
TERMS = 12
WAVES = range(0, 41, 2)
POINTS, WEIGHTS = leggauss(3 * TERMS)


def _shapes(power: int) -> list[list[Polynomial]]:
    """Return polynomials over the unit height, zero at the base to the `power`, with two derivatives."""
    base = Polynomial([0.0] * power + [1.0])
    span = {"domain": [-1, 1], "window": [-1, 1]}
    rows = [base * Legendre.basis(i, domain=[0, 1]).convert(kind=Polynomial, **span) for i in range(TERMS)]
    return [[row.deriv(k) for row in rows] for k in range(3)]


_SHAPES = [_shapes(power) for power in range(2)]


def shapes(power: int, at: np.ndarray, height: float) -> np.ndarray:
    """Return the shapes and two derivatives at heights `at` of the unit, shape (3, TERMS, points)."""
    return np.array([[row(at) / height**k for row in rows] for k, rows in enumerate(_SHAPES[power])])


def strains(n: int, radius: float, height: float, at: np.ndarray) -> np.ndarray:
    """Return membrane strains along, around and in shear, then the changes of curvature alike."""
    u = shapes(0 if n else 1, at, height)  # an even term would only move the whole cup up
    v = w = shapes(1, at, height)
    none = np.zeros_like(u[0])
    return np.array(
        [
            np.concatenate(parts)
            for parts in (
                (u[1], none, none),
                (none, n * v[0] / radius, w[0] / radius),
                (-n * u[0] / radius, v[1], none),
                (none, none, -w[2]),
                (none, n * v[0] / radius**2, n**2 * w[0] / radius**2),
                (none, 2.0 * v[1] / radius, 2.0 * n * w[1] / radius),
            )
        ]
    )


def stiffness(wall: float) -> np.ndarray:
    """Return forces and moments per length for unit strains, shape (6, 6)."""
    plane = np.array([[1.0, POISSON, 0.0], [POISSON, 1.0, 0.0], [0.0, 0.0, 0.5 * (1.0 - POISSON)]])
    stretch = MODULUS * wall / (1.0 - POISSON**2)
    return np.block([[stretch * plane, 0.0 * plane], [0.0 * plane, stretch * wall**2 / 12.0 * plane]])


def amplitudes(n: int, wall: float, radius: float, height: float, push: np.ndarray) -> np.ndarray:
    """Return how far each shape moves in term `n`, where `push` is the load on the outward ones [N]."""
    b = strains(n, radius, height, 0.5 * (POINTS + 1.0))
    bent = np.einsum("ij,jlp->ilp", stiffness(wall), b) * (0.5 * height * WEIGHTS)
    matrix = np.einsum("ikp,ilp->kl", b, bent) * np.pi * radius * (1.0 if n else 2.0)
    return np.linalg.solve(matrix, np.concatenate([np.zeros(2 * TERMS), push]))


def pinch_stress(wall: float, radius: float = 38.5, height: float = 95.0, patch: float = 20.0) -> float:
    """Return the greatest tension around a cup [MPa] whose rim two fingers pinch with 20 N.

    Parameters
    ----------
    wall, radius, height
        Of the cup [mm].
    patch
        Side of the square that a finger presses [mm].
    """
    around, up = np.linspace(0.0, 0.5 * np.pi, 181), np.linspace(0.0, 1.0, 101)
    half = 0.5 * patch / radius
    at = 1.0 - 0.5 * patch / height * (1.0 - POINTS)
    push = -20.0 / patch**2 * (shapes(1, at, height)[0] * WEIGHTS).sum(axis=1) * 0.5 * patch
    faces = np.zeros((2, len(up), len(around)))
    for n in WAVES:
        share = 4.0 * radius * (np.sin(n * half) / n if n else half)
        moved = amplitudes(n, wall, radius, height, push * share)
        b = np.einsum("ikp,k->ip", strains(n, radius, height, up), moved)
        stretched, bent = (stiffness(wall) @ b)[[1, 4]]
        for face, side in zip(faces, (1.0, -1.0), strict=True):
            face += np.outer(stretched / wall + side * 6.0 * bent / wall**2, np.cos(n * around))
    return float(faces.max())
