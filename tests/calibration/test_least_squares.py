"""Least squares against certified and published fits; NIST StRD is the Statistical Reference Datasets."""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from optimizer.calibration.least_squares import least_squares, shrunk
from optimizer.calibration.response_surface import scheffe_terms

REFERENCE = Path(__file__).parents[1] / "reference"


def digits(found, certified):
    """Return how many digits of each figure agree."""
    return -np.log10(np.maximum(np.abs(np.asarray(found) / np.asarray(certified) - 1.0), 1e-16))


def table(name):
    lines = [line for line in (REFERENCE / name).read_text().splitlines() if not line.startswith("#")]
    return np.array([[float(cell) for cell in row] for row in csv.reader(lines[1:])])


def norris():
    """Return certified figures and data of the file as NIST writes it (it comes with scipy's tests)."""
    try:
        text = (files("scipy.stats") / "tests/data/nist_linregress/Norris.dat").read_text()
    except FileNotFoundError:
        pytest.skip("scipy comes without its test data here")
    lines = text.splitlines()
    data = np.array([[float(cell) for cell in line.split()] for line in lines[60:96]])
    certified = {line.split()[0]: line.split()[1:] for line in lines[30:46] if line.strip()}
    return certified, data


def test_norris_to_ten_digits():
    certified, data = norris()
    fit = least_squares(np.column_stack([np.ones(36), data[:, 1]]), data[:, 0])
    assert digits(fit.coefficients, [float(certified[b][0]) for b in ("B0", "B1")]).min() > 10.0
    assert digits(fit.errors, [float(certified[b][1]) for b in ("B0", "B1")]).min() > 10.0
    assert digits(fit.sigma, float(certified["Standard"][-1])) > 10.0
    assert digits(fit.determination, float(certified["R-Squared"][0])) > 10.0
    assert digits(fit.f_about_mean(), float(certified["Regression"][-1])) > 9.0


LONGLEY = (
    -3482258.63459582,
    15.0618722713733,
    -0.358191792925910e-01,
    -2.02022980381683,
    -1.03322686717359,
    -0.511041056535807e-01,
    1829.15146461355,
)
"""Certified coefficients, constant first (NIST StRD, from memory)."""


def test_longley_to_ten_digits():
    """Six economic series so alike that the normal equations keep 7 digits."""
    data = pytest.importorskip("statsmodels.datasets").longley.load_pandas()
    rows = np.column_stack([np.ones(16), data.exog.to_numpy(float)])
    values = data.endog.to_numpy(float)
    fit = least_squares(rows, values)
    assert digits(fit.coefficients, LONGLEY).min() > 10.0
    assert digits(fit.sigma, 304.854073561965) > 10.0, "NIST StRD, from memory"
    by_normal_equations = np.linalg.solve(rows.T @ rows, rows.T @ values)
    assert digits(by_normal_equations, LONGLEY).min() < 9.0, "the trap is real"


class TestYarn:
    """Cornell's yarn, fit of NIST/SEMATECH e-Handbook 5.5.4.2; the analysis table is from memory."""

    data = table("yarn_elongation.csv")
    terms = scheffe_terms(data[:, :3])
    fit = least_squares(terms, data[:, 3])

    def test_coefficients(self):
        assert self.fit.coefficients == pytest.approx([11.7, 9.4, 16.4, 19.0, 11.4, -9.6], abs=0.05)

    def test_errors(self):
        assert self.fit.errors == pytest.approx([0.6037] * 3 + [2.6082] * 3, abs=1e-4)
        assert self.fit.sigma == pytest.approx(0.85375, abs=1e-5)

    def test_analysis_of_variance(self):
        assert self.fit.freedom == 9
        assert self.fit.unexplained == pytest.approx(6.56, abs=0.005)
        assert self.fit.explained == pytest.approx(128.296, abs=0.0006)
        assert self.fit.f_about_mean() == pytest.approx(35.203, abs=0.0005)
        assert self.fit.determination == pytest.approx(0.95136, abs=1e-5)

    def test_best_mixture_lies_on_an_edge(self):
        def below(share):
            return -self.fit.predict(scheffe_terms(np.array([[share, 0.0, 1.0 - share]])))[0][0]

        best = minimize_scalar(below, bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-8})
        assert (best.x, -best.fun) == pytest.approx((0.2939, 17.384), abs=6e-4)

    def test_interval_of_the_centroid_agrees_with_statsmodels(self):
        models = pytest.importorskip("statsmodels.api")
        there = scheffe_terms(np.full((1, 3), 1.0 / 3.0))
        summary = (
            models.OLS(self.data[:, 3], self.terms).fit().get_prediction(there).summary_frame(alpha=0.05)
        )
        low, high = self.fit.interval(there)
        assert low[0] == pytest.approx(summary["obs_ci_lower"][0], rel=1e-10)
        assert high[0] == pytest.approx(summary["obs_ci_upper"][0], rel=1e-10)
        assert (low[0], high[0]) == pytest.approx((12.68, 16.94), abs=0.005)


def test_clinker_heat():
    """Hald's cement: phases that almost add up to a constant; coefficients as published (from memory)."""
    data = table("clinker_heat.csv")
    fit = least_squares(np.column_stack([np.ones(13), data[:, :4]]), data[:, 4])
    assert fit.coefficients == pytest.approx([62.4054, 1.5511, 0.5102, 0.1019, -0.1441], abs=5e-5)
    assert fit.determination == pytest.approx(0.98238, abs=5e-6)
    assert fit.errors[0] == pytest.approx(70.071, abs=5e-4), "the constant is next to unknown"


def test_a_term_that_is_a_sum_of_others_is_refused():
    shares = np.array([[1.0, 0.0], [0.5, 0.5], [0.0, 1.0], [0.2, 0.8]])
    with pytest.raises(ValueError, match="sum of the others"):
        least_squares(np.column_stack([np.ones(4), shares]), np.arange(4.0))


def test_too_few_values_are_refused():
    with pytest.raises(ValueError, match="at least 3"):
        least_squares(np.eye(2), np.ones(2))


def test_shrunk_fit_takes_scatter_for_scatter_and_a_slope_for_a_slope():
    """Own arithmetic: with nothing to find the coefficients vanish, with a strong slope they stay."""
    noise = np.random.default_rng(3).standard_normal((60, 7))
    nothing = shrunk(noise[:, :6], noise[:, 6])
    something = shrunk(noise[:, :6], noise[:, 6] + 5.0 * noise[:, 0])
    plain = least_squares(np.column_stack([np.ones(60), noise[:, :6]]), noise[:, 6])
    assert np.linalg.norm(nothing.coefficients) < 0.7 * np.linalg.norm(plain.coefficients[1:])
    assert something.coefficients[0] / something.scale[0] == pytest.approx(5.0, abs=0.4)
    assert something.sigma == pytest.approx(1.0, abs=0.2)
