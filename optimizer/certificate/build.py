"""Lay out the relaxation of one case in one regime: shared columns first, each made once when asked for."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.case_constants import EXCESS, Laws
from optimizer.certificate.layout import Coefficients, Layout, Range
from optimizer.certificate.linear_bounds import Ground
from optimizer.certificate.terms import Grain, Mixed, Product, Sum, Term, Wet, sum_of
from optimizer.problem import Problem

__all__ = ["Builder"]

Array = NDArray[np.float64]

_ONE = Range(1.0, 1.0)
_LN_STRENGTH = Range(-60.0, 30.0)
"""Hydrates times ln end strength: far wider than any body's."""


class Builder:
    """Columns, terms and ratio ranges of a relaxation under construction.

    Attributes
    ----------
    layout : Layout
        Columns, rows, ratios so far.
    terms : list[Term]
        Curved pieces in the order in which they can be worked out.
    ranges : dict[int, Range]
        Range of each ratio by number.
    """

    def __init__(
        self, problem: Problem, regime: str, laws: Laws, sums: dict[str, Array], ground: Ground
    ) -> None:
        self.problem, self.regime, self.laws, self.sums, self.ground = problem, regime, laws, sums, ground
        self.layout = Layout(sums["volumes"], ground.rays)
        self.terms: list[Term] = []
        self.ranges: dict[int, Range] = {}
        self._forms: dict[str, int] = {}

    # --- sums and ratios -----------------------------------------------------------------------------

    def form(self, name: str) -> int:
        """Return the column of a named sum of masses."""
        if name not in self._forms:
            self._forms[name] = self.layout.form(name.replace("_", " "), self.sums[name])
        return self._forms[name]

    def any(self, name: str) -> bool:
        """Return True when some material brings to this sum."""
        return bool(np.any(np.abs(self.sums[name]) > 1e-12))

    def add(self, term: Term) -> int:
        """Keep a term and return its column."""
        self.terms.append(term)
        return term.column

    def ratio(self, name: str, above: str, below: str) -> int:
        """Return the ratio of two named sums, with the range that the linear rows leave it."""
        number = self.layout.ratio(name, {self.form(above): 1.0}, {self.form(below): 1.0})
        if number not in self.ranges:
            self.ranges[number] = self.ground.ratio_range(self.sums[above], self.sums[below])
        return number

    def range_of(self, above: Coefficients, below: Coefficients) -> Range:
        """Return the range of a ratio of sums of masses."""
        weights = [self.layout.weights(part) for part in (above, below)]
        if weights[0] is None or weights[1] is None:
            raise ValueError("only sums of masses have a range of their own")
        return self.ground.ratio_range(weights[0], weights[1])

    def product(
        self,
        name: str,
        parts: tuple[Coefficients, Coefficients, Coefficients],
        *,
        below: bool = False,
        above: bool = False,
        least: float = 0.0,
    ) -> Product:
        """Add ``X u / v`` and the ranges of its ratios."""
        factor, upper, lower = parts
        e, r = self.range_of(factor, lower), self.range_of(upper, lower)
        term = Product(self.layout, name, parts, (e, r), below=below, above=above, least=least)
        self.add(term)
        self.ranges.setdefault(term.extent, e)
        self.ranges.setdefault(term.part, r)
        a = term.scale
        if below:
            self.ranges.setdefault(term.minus, Range(a * e.low - r.high, a * e.high - r.low))
        if above:
            self.ranges.setdefault(term.plus, Range(a * e.low + r.low, a * e.high + r.high))
        return term

    # --- shares ---------------------------------------------------------------------------------------

    @cached_property
    def two_types(self) -> bool:
        """Whether gypsum and cement hydrates can stand side by side."""
        return self.regime == EXCESS and self.any("cement")

    @cached_property
    def share_range(self) -> Range:
        """Range of the cement share of the hydrates."""
        if self.two_types:
            span = self.ground.ratio_range(self.sums["cement"], self.sums["hydrates"])
            return Range(max(span.low, 0.0), min(span.high, 1.0))
        return Range(0.0, 0.0) if self.regime == EXCESS else _ONE

    @cached_property
    def share(self) -> int:
        """Ratio: cement share of the hydrates."""
        number = self.layout.ratio("cement share", {self.form("cement"): 1.0}, {self.form("hydrates"): 1.0})
        self.ranges[number] = self.share_range
        return number

    @cached_property
    def mixed(self) -> int | None:
        """Column: gypsum times cement hydrates over their sum; None where one is missing."""
        if not self.two_types:
            return None
        most = self.layout.upper[self.form("hydrates")]
        return self.add(Mixed(self.layout, self.form("hydrates"), self.form("cement"), self.share, most))

    def by_share(self, name: str, factor: str, ends: tuple[float, float], *, low: bool) -> Coefficients:
        """Return a sum times a number that goes straight from all-gypsum to all-cement, by hydrate share.

        Parameters
        ----------
        ends
            The number without and with cement alone.
        low
            True when the result may be too low but never too high; False for the contrary.
        """
        column = self.form(factor)
        if not self.two_types:
            return {column: ends[0] if self.regime == EXCESS else ends[1]}
        step = ends[1] - ends[0]
        if step == 0.0:
            return {column: ends[0]}
        below = (step > 0.0) == low
        parts = ({column: 1.0}, {self.form("cement"): 1.0}, {self.form("hydrates"): 1.0})
        span = self.range_of(parts[0], parts[2])
        if not (math.isfinite(span.low) and math.isfinite(span.high)):
            # Hydrates may vanish as far as the rows know: no envelope holds, but an end of the way does.
            return {column: min(ends) if low else max(ends)}
        product = self.product(name, parts, below=below, above=not below)
        return {column: ends[0], product.column: step}

    # --- strength -------------------------------------------------------------------------------------

    @cached_property
    def strength(self) -> int:
        """Column: hydrates times ln end strength, never dried."""
        laws = self.laws
        parts: list[Coefficients] = [{self.form("ln_strength"): 1.0}, {self.lost.column: -1.0}]
        parts.extend(self._grain_parts())
        if self.mixed is not None:
            parts.append({self.mixed: laws.mixing})
        if laws.kappa < 0.0:
            parts.append({self.form("cement"): -laws.kappa})
        # What surplus sulfate costs, and the bend beyond the members' own strength, only take away: left out.
        law = sum_of(*((1.0, part) for part in parts))
        return self.add(Sum(self.layout, "end strength", law, _LN_STRENGTH))

    @cached_property
    def lost(self) -> Product:
        """Slope on pores times paste porosity, from below."""
        parts = ({self.form("slope"): 1.0}, {self.form("pores"): 1.0}, {self.form("paste"): 1.0})
        return self.product("lost to pores", parts, below=True, least=self.laws.least_pores)

    def _grain_parts(self) -> list[Coefficients]:
        out: list[Coefficients] = []
        laws, ceiling = self.laws, float(self.problem.model["grain_ceiling"])
        most = -math.log1p(-ceiling)
        if self.any("heavy"):
            out.append({self._grains("heavy", "grain"): -1.0})
            # A negative exponent would turn grains into strength: granted at once, at the ceiling of grains.
            free = {"gypsum": -min(laws.grain_gypsum, 0.0), "cement": -min(laws.grain_csa, 0.0)}
            out.extend({self.form(name): most * value} for name, value in free.items() if value > 0.0)
        if self.any("light"):
            if laws.grain_light >= 0.0:
                out.append({self._grains("light", "hydrates"): -laws.grain_light})
            else:
                out.append({self.form("hydrates"): -laws.grain_light * most})
        return out

    def _grains(self, volume: str, factor: str) -> int:
        one = {self.layout.names["one"]: 1.0}
        parts = ({self.form(factor): 1.0}, {self.form(volume): 1.0}, one)
        product = self.product(f"{volume} grains in {factor}", parts, below=True)
        return self.add(Grain(self.layout, f"{volume} grains", parts[0], self.form(volume), product))

    # --- time -----------------------------------------------------------------------------------------

    @cached_property
    def wet(self) -> Wet:
        """Hydrates times what the water ratio does to ln set time."""
        columns = (self.form("hydrates"), self.form("binder_water"), self.form("reference_water"))
        hydrates, water, reference = ({column: 1.0} for column in columns)
        product = self.product("slowed by water", (hydrates, water, reference), below=True, above=True)
        term = Wet(self.layout, columns[0], product, self.layout.upper[columns[0]], self.laws.set_water)
        self.add(term)
        return term

    @cached_property
    def ln_final(self) -> int:
        """Column: hydrates times ln final set."""
        laws, hydrates = self.laws, self.form("hydrates")
        parts: dict[int, float] = {
            self.form("ln_final"): 1.0,
            self.wet.column: 1.0,
            hydrates: laws.slow_gypsum + laws.plasticized,
            self.form("cement"): laws.slow_csa - laws.slow_gypsum - laws.ln_fast,
        }
        if self.mixed is not None:
            parts[self.mixed] = laws.time_mixing
        return self.add(Sum(self.layout, "final set", parts, Range(-60.0, 60.0)))
