"""Straight-line least squares by orthogonal factors, with standard errors; plain or shrunk toward zero."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import qr, solve_triangular
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

__all__ = ["LinearFit", "ShrunkFit", "least_squares", "shrunk"]

Array = NDArray[np.float64]

_SAME: Final = 1e-11
"""Share of its own length below which a column is a sum of the others [-]."""

_TURNS: Final = 500


@dataclass(frozen=True, eq=False)
class LinearFit:
    """A least-squares fit.

    Attributes
    ----------
    coefficients, errors : Array
        Best values and their standard errors, shape (p,).
    covariance : Array
        Of the coefficients, shape (p, p).
    sigma : float
        Standard error of one value [unit of the values].
    freedom : int
        Degrees of freedom left: values less coefficients.
    unexplained, explained : float
        Sums of squares: of the residuals, and of the fit about the mean of the values.
    """

    coefficients: Array
    errors: Array
    covariance: Array
    sigma: float
    freedom: int
    unexplained: float
    explained: float

    @property
    def determination(self) -> float:
        """Share of the scatter about the mean that the fit explains [-]."""
        return self.explained / (self.explained + self.unexplained)

    def f_about_mean(self) -> float:
        """Return the F ratio against the mean alone, for a fit whose terms hold the mean."""
        return self.explained / (len(self.coefficients) - 1) / self.sigma**2

    def predict(self, rows: Array) -> tuple[Array, Array]:
        """Return fitted values at `rows`, shape (n, p), and their standard errors."""
        return rows @ self.coefficients, np.sqrt(np.sum((rows @ self.covariance) * rows, axis=1))

    def interval(self, rows: Array, level: float = 0.95) -> tuple[Array, Array]:
        """Return the range one new value at each of `rows` falls into with chance `level`."""
        value, error = self.predict(rows)
        reach = t_distribution.ppf(0.5 + level / 2.0, self.freedom) * np.hypot(error, self.sigma)
        return value - reach, value + reach

    def chance_of_zero(self, values: Array) -> float:
        """Return the chance that values with no pattern at all would be explained as well [-]."""
        power = (float(values @ values) - self.unexplained) / len(self.coefficients)
        return float(f_distribution.sf(power / self.sigma**2, len(self.coefficients), self.freedom))


def least_squares(rows: Array, values: Array) -> LinearFit:
    """Return the least-squares fit of ``values = rows @ coefficients``.

    Parameters
    ----------
    rows
        One row of terms per value, shape (n, p); give a column of ones for a constant.
    values
        Shape (n,).

    Raises
    ------
    ValueError
        With fewer values than terms plus one, or where a term is a sum of the others.

    Notes
    -----
    QR of the columns brought to length one, then one step of refinement on the residuals. Never by the
    normal equations, which lose half the digits.

    Examples
    --------
    >>> fit = least_squares(np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 2.0]]), np.array([1.0, 3.0, 5.0]))
    >>> [round(float(c), 12) for c in fit.coefficients]
    [1.0, 2.0]
    """
    count, terms = rows.shape
    if count <= terms:
        raise ValueError(f"{count} values for {terms} terms: at least {terms + 1} are needed")
    length = np.sqrt(np.sum(rows**2, axis=0))
    scaled = rows / np.where(length > 0.0, length, 1.0)
    factor, triangle = qr(scaled, mode="economic")
    if np.min(np.abs(np.diag(triangle))) < _SAME:
        raise ValueError("a term is a sum of the others: leave one out")
    found = solve_triangular(triangle, factor.T @ values)
    found = found + solve_triangular(triangle, factor.T @ (values - scaled @ found))
    residual = values - scaled @ found
    unexplained = float(residual @ residual)
    sigma = float(np.sqrt(unexplained / (count - terms)))
    inverse = solve_triangular(triangle, np.eye(terms)) / length[:, None]
    covariance = sigma**2 * inverse @ inverse.T
    fitted = scaled @ found - values.mean()
    return LinearFit(
        coefficients=found / length,
        errors=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        sigma=sigma,
        freedom=count - terms,
        unexplained=unexplained,
        explained=float(fitted @ fitted),
    )


@dataclass(frozen=True, eq=False)
class ShrunkFit:
    """A fit whose coefficients are held near zero as far as the values ask for no more.

    Attributes
    ----------
    coefficients : Array
        Shape (p,), for standardized terms.
    covariance : Array
        Shape (p, p).
    sigma : float
        Standard error of one value.
    middle, scale : Array
        Mean and standard deviation by which terms are standardized.
    level : float
        Mean of the values, which is not shrunk.
    """

    coefficients: Array
    covariance: Array
    sigma: float
    middle: Array
    scale: Array
    level: float

    def predict(self, rows: Array) -> tuple[Array, Array]:
        """Return values at `rows` and the standard error of one new value at each."""
        standard = (rows - self.middle) / self.scale
        doubt = np.sum((standard @ self.covariance) * standard, axis=1)
        return self.level + standard @ self.coefficients, np.sqrt(self.sigma**2 + doubt)


def shrunk(rows: Array, values: Array) -> ShrunkFit:
    """Return a fit with as much shrinkage as the values themselves call for.

    Parameters
    ----------
    rows
        Terms, shape (n, p), not one of them constant; they may outnumber the values.
    values
        Shape (n,).

    Notes
    -----
    Coefficients and errors are normal with one spread each, chosen where the values are likeliest
    (MacKay 1992, the evidence framework; from memory).
    """
    middle, scale, level = rows.mean(axis=0), rows.std(axis=0), float(values.mean())
    scale = np.where(scale > 0.0, scale, 1.0)
    standard, values = (rows - middle) / scale, values - level
    power, axes = np.linalg.eigh(standard.T @ standard)
    power = np.maximum(power, 0.0)
    along = axes.T @ (standard.T @ values)
    noise, spread = float(values.var()), 1.0
    for _ in range(_TURNS):
        inverse = 1.0 / (power + noise / spread)
        point = inverse * along
        used = float(np.sum(power * inverse))
        left = values - standard @ (axes @ point)
        renewed = float(left @ left) / (len(values) - used), float(point @ point) / used
        settled = abs(renewed[0] / noise - 1.0) + abs(renewed[1] / spread - 1.0) < 1e-10
        noise, spread = renewed
        if settled:
            break
    inverse = 1.0 / (power + noise / spread)
    covariance = (axes * (noise * inverse)) @ axes.T
    return ShrunkFit(axes @ (inverse * along), covariance, float(np.sqrt(noise)), middle, scale, level)
