"""The curved pieces of the property chain, each as a column with rows that hold it on a box.

A term owns one column ``y`` that stands for a curved quantity of the mix. Rows of two kinds bind it: static
ones, true everywhere, and node rows, true on the box of ratios given. `Term.truth` is the quantity itself,
from the masses alone; what the rows still allow beyond it at a point is the term's error there, and the
ratio whose interval causes it is where to branch.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.envelopes import wetness, wetness_lines
from optimizer.certificate.layout import FREE, Coefficients, Layout, Range, Row, total

__all__ = [
    "OFF",
    "Box",
    "Fault",
    "Grain",
    "Mixed",
    "Product",
    "Sum",
    "Term",
    "Wet",
    "quartered",
    "sum_of",
]

Array = NDArray[np.float64]

_CUT = 1e-5


@dataclass(frozen=True)
class Box:
    """Intervals of all ratios of a relaxation, by number."""

    low: Array
    high: Array

    def of(self, ratio: int) -> Range:
        """Return one interval."""
        return Range(float(self.low[ratio]), float(self.high[ratio]))

    def finite(self, *ratios: int) -> bool:
        """Return True when all these intervals are finite."""
        return all(math.isfinite(self.low[k]) and math.isfinite(self.high[k]) for k in ratios)

    def narrowed(self, ratio: int, low: float, high: float) -> Box:
        """Return a box with one interval replaced."""
        lows, highs = self.low.copy(), self.high.copy()
        lows[ratio], highs[ratio] = low, high
        return Box(lows, highs)


@dataclass(frozen=True)
class Fault:
    """How much a term's rows give away at a point.

    Attributes
    ----------
    error : float
        Distance of the column to its truth, on the side the rows fail to hold.
    rows : tuple[int, ...]
        Rows whose multipliers price that error.
    ratios : tuple[int, ...]
        Ratios whose intervals cause it.
    pick : Callable[[], int] | None
        Says which of them to narrow, the first when None; asked only of the fault that matters most.
    free : bool
        True when the error matters even where its rows carry no price: a limit may be missed behind it.
    """

    error: float
    rows: tuple[int, ...]
    ratios: tuple[int, ...]
    pick: Callable[[], int] | None = None
    free: bool = True

    def ratio(self) -> int:
        """Return the ratio to narrow."""
        return self.ratios[0] if self.pick is None else self.pick()


class Term:
    """One curved piece; see the module."""

    column: int
    depends: tuple[int, ...] = ()
    """Ratios whose intervals the node rows use."""

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box by their number, close to the truth near `point`.

        `fresh` asks for all rows of a box just entered; else for those worth moving to a better point.
        """
        yield from ()

    def cuts(self, point: Array) -> Iterator[Row]:
        """Yield rows true everywhere that `point` breaks."""
        yield from ()

    def truth(self, point: Array) -> float:
        """Return the curved quantity at the masses of `point`, whatever its own column says.

        Terms of several columns have no such one quantity; they say how to `lift` instead.
        """
        raise NotImplementedError

    def lift(self, point: Array) -> None:
        """Set the term's columns to the truth."""
        point[self.column] = self.truth(point)

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the node rows give away at a point."""
        yield from ()


def sum_of(*parts: tuple[float, Coefficients]) -> dict[int, float]:
    """Return the sum of coefficient maps, each times its factor."""
    out: dict[int, float] = {}
    for factor, coefficients in parts:
        for column, value in coefficients.items():
            out[column] = out.get(column, 0.0) + factor * value
    return out


def quartered(box: Box, ratio: int, at: float) -> Box:
    """Return a box with one interval shrunk to a quarter around a value: to see what narrowing it gains."""
    low, high = float(box.low[ratio]), float(box.high[ratio])
    near = at - 0.25 * (at - low) if math.isfinite(low) else at - 0.25
    far = at + 0.25 * (high - at) if math.isfinite(high) else at + 0.25
    return box.narrowed(ratio, min(near, high), max(far, low))


OFF = Row({}, -FREE, FREE)


class Sum(Term):
    """``y`` equals a sum of other columns."""

    def __init__(self, layout: Layout, name: str, parts: Coefficients, span: Range) -> None:
        self.parts = parts
        self.column = layout.column(name, span.low, span.high)
        layout.row(sum_of((1.0, parts), (-1.0, {self.column: 1.0})), 0.0, 0.0)

    def truth(self, point: Array) -> float:
        """Return what the column should be; see `Term.truth`."""
        return total(self.parts, point)


class Product(Term):
    """``y = X u / v``: a sum times a ratio of sums, held from below, above or both.

    With ``e = X / v`` and ``r = u / v``: ``e r = ((a e + r)^2 - (a e - r)^2) / 4a``. The square of the right
    sign is bounded by tangents, true everywhere; the other by its secant on the interval of ``a e + r`` or
    ``a e - r``: its error is at most an eighth of the interval squared over 2a. Multiplied by v all of it is
    linear. The four planes of the box of e and r (McCormick 1976) are added.
    """

    def __init__(
        self,
        layout: Layout,
        name: str,
        parts: tuple[Coefficients, Coefficients, Coefficients],
        spans: tuple[Range, Range],
        *,
        below: bool = False,
        above: bool = False,
        least: float = 0.0,
    ) -> None:
        self.name, self.least = name, least
        self.factor, self.above_part, self.below_part = parts
        self.extent = layout.ratio(f"{name}: extent", self.factor, self.below_part)
        self.part = layout.ratio(f"{name}: ratio", self.above_part, self.below_part)
        e, r = spans
        self.scale = max(r.high - r.low, 1e-6) / max(e.high - e.low, 1e-6)
        self.sum = sum_of((self.scale, self.factor), (1.0, self.above_part))
        self.difference = sum_of((self.scale, self.factor), (-1.0, self.above_part))
        ends = [x * p for x in (e.low, e.high) for p in (r.low, max(r.high, least))]
        widest = max(abs(layout.upper[k]) for k in self.below_part) if self.below_part else 1.0
        most = max(map(abs, ends)) * max(widest, 1.0)
        self.column = layout.column(name, min(-most, 0.0), most)
        self._lay_below(layout, spans) if below else None
        self._lay_above(layout, spans) if above else None
        self.is_below, self.is_above = below, above
        sides = (*((self.minus,) if below else ()), *((self.plus,) if above else ()))
        self.depends = (self.extent, self.part, *sides)
        if least > 0.0:
            layout.row(sum_of((1.0, {self.column: 1.0}), (-least, self.factor)))

    def _lay_below(self, layout: Layout, spans: tuple[Range, Range]) -> None:
        e, r = spans
        self.minus = layout.ratio(f"{self.name}: difference", self.difference, self.below_part)
        self.plus_square = layout.column(f"{self.name}: sum squared", 0.0, self._most(layout, spans))
        self.low_rows = tuple(layout.row({}, -FREE, FREE) for _ in range(3))
        for at in np.linspace(self.scale * e.low + r.low, self.scale * e.high + r.high, 4):
            row = self._tangent(self.plus_square, self.sum, float(at))
            layout.row(row.coefficients, row.lower, row.upper)

    def _lay_above(self, layout: Layout, spans: tuple[Range, Range]) -> None:
        e, r = spans
        self.plus = layout.ratio(f"{self.name}: sum", self.sum, self.below_part)
        self.minus_square = layout.column(f"{self.name}: difference squared", 0.0, self._most(layout, spans))
        self.high_rows = tuple(layout.row({}, -FREE, FREE) for _ in range(3))
        for at in np.linspace(self.scale * e.low - r.high, self.scale * e.high - r.low, 4):
            row = self._tangent(self.minus_square, self.difference, float(at))
            layout.row(row.coefficients, row.lower, row.upper)

    def _most(self, layout: Layout, spans: tuple[Range, Range]) -> float:
        e, r = spans
        reach = self.scale * max(abs(e.low), abs(e.high)) + max(abs(r.low), abs(r.high))
        widest = max(abs(layout.upper[k]) for k in self.below_part)
        return 1.1 * reach**2 * max(widest, 1.0) / (4.0 * self.scale) + 1.0

    def _tangent(self, square: int, root: Coefficients, at: float) -> Row:
        """Return ``square >= tangent of root^2 / v / 4a`` where root / v is `at`."""
        quarter = 1.0 / (4.0 * self.scale)
        return Row(
            sum_of((1.0, {square: 1.0}), (-2.0 * at * quarter, root), (at * at * quarter, self.below_part))
        )

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box; see `Term.node_rows`."""
        if not fresh:
            return
        if self.is_below:
            yield from zip(self.low_rows, self._below(box), strict=True)
        if self.is_above:
            yield from zip(self.high_rows, self._above(box), strict=True)

    def _below(self, box: Box) -> tuple[Row, Row, Row]:
        secant = OFF
        if box.finite(self.minus):
            d, quarter = box.of(self.minus), 1.0 / (4.0 * self.scale)
            secant = Row(
                sum_of(
                    (1.0, {self.column: 1.0, self.plus_square: -1.0}),
                    ((d.low + d.high) * quarter, self.difference),
                    (-d.low * d.high * quarter, self.below_part),
                )
            )
        return (secant, *self._planes(box, low=True))

    def _above(self, box: Box) -> tuple[Row, Row, Row]:
        secant = OFF
        if box.finite(self.plus):
            s, quarter = box.of(self.plus), 1.0 / (4.0 * self.scale)
            secant = Row(
                sum_of(
                    (-1.0, {self.column: 1.0, self.minus_square: 1.0}),
                    ((s.low + s.high) * quarter, self.sum),
                    (-s.low * s.high * quarter, self.below_part),
                )
            )
        return (secant, *self._planes(box, low=False))

    def _planes(self, box: Box, *, low: bool) -> tuple[Row, Row]:
        e, r = box.of(self.extent), box.of(self.part)
        if low:
            return self._plane(r.low, e.low, 1.0), self._plane(r.high, e.high, 1.0)
        return self._plane(r.high, e.low, -1.0), self._plane(r.low, e.high, -1.0)

    def _plane(self, on_factor: float, on_part: float, sign: float) -> Row:
        if not (math.isfinite(on_factor) and math.isfinite(on_part)):
            return OFF
        return Row(
            sum_of(
                (sign, {self.column: 1.0}),
                (-sign * on_factor, self.factor),
                (-sign * on_part, self.above_part),
                (sign * on_factor * on_part, self.below_part),
            )
        )

    def cuts(self, point: Array) -> Iterator[Row]:
        """Yield tangents that the point breaks; see `Term.cuts`."""
        below = total(self.below_part, point)
        pairs = []
        if self.is_below:
            pairs.append((self.plus_square, self.sum))
        if self.is_above:
            pairs.append((self.minus_square, self.difference))
        for square, root in pairs:
            at = total(root, point) / below
            if at * at * below / (4.0 * self.scale) > point[square] + _CUT:
                yield self._tangent(square, root, at)

    def truth(self, point: Array) -> float:
        """Return what the column should be; see `Term.truth`."""
        ratio = total(self.above_part, point) / total(self.below_part, point)
        return total(self.factor, point) * max(ratio, self.least)

    def lift(self, point: Array) -> None:
        """Set the columns to their truth; see `Term.lift`."""
        point[self.column] = self.truth(point)
        below = total(self.below_part, point)
        if self.is_below:
            point[self.plus_square] = total(self.sum, point) ** 2 / below / (4.0 * self.scale)
        if self.is_above:
            point[self.minus_square] = total(self.difference, point) ** 2 / below / (4.0 * self.scale)

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the rows give away; see `Term.faults`."""
        error = self.truth(point) - float(point[self.column])
        if self.is_below and error > 0.0:
            yield Fault(error, self.low_rows, (self.minus, self.part, self.extent))
        if self.is_above and error < 0.0:
            yield Fault(-error, self.high_rows, (self.plus, self.part, self.extent))


class Mixed(Term):
    """``y = G C / H``: gypsum and cement hydrates over their sum, held from both sides.

    Concave and homogeneous: from above by tangents, true everywhere; from below, on the cone of an interval
    of the cement share h, by the plane through its two rays.
    """

    def __init__(self, layout: Layout, hydrates: int, cement: int, share: int, most: float) -> None:
        self.hydrates, self.cement, self.share = hydrates, cement, share
        self.depends = (share,)
        self.column = layout.column("gypsum beside cement", 0.0, 0.25 * most)
        self.rows = (layout.row({}, -FREE, FREE),)
        for at in (0.02, 0.15, 0.35, 0.6, 0.85, 0.98):
            row = self._tangent(at)
            layout.row(row.coefficients, row.lower, row.upper)

    def _tangent(self, at: float) -> Row:
        return Row({self.column: -1.0, self.hydrates: at * at, self.cement: 1.0 - 2.0 * at})

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box; see `Term.node_rows`."""
        if not fresh:
            return
        h = box.of(self.share)
        on_cement = 1.0 - h.low - h.high
        yield self.rows[0], Row({self.column: 1.0, self.hydrates: -h.low * h.high, self.cement: -on_cement})

    def truth(self, point: Array) -> float:
        """Return what the column should be; see `Term.truth`."""
        hydrates, cement = point[self.hydrates], point[self.cement]
        return float(cement * (hydrates - cement) / hydrates)

    def cuts(self, point: Array) -> Iterator[Row]:
        """Yield tangents that the point breaks; see `Term.cuts`."""
        if point[self.column] > self.truth(point) + _CUT:
            yield self._tangent(float(point[self.cement] / point[self.hydrates]))

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the rows give away; see `Term.faults`."""
        error = self.truth(point) - float(point[self.column])
        if error > 0.0:
            yield Fault(error, self.rows, (self.share,))


class Grain(Term):
    """``y = -X ln(1 - v)``: a sum times the loss by grains of volume v, held from below by tangents.

    With ``X v`` held from below as a product, every tangent ``t0 + t1 v`` of the loss gives a row.
    """

    def __init__(
        self, layout: Layout, name: str, factor: Coefficients, volume: int, product: Product
    ) -> None:
        self.factor, self.volume, self.product = factor, volume, product
        most = layout.upper[product.column] * 2.0
        self.column = layout.column(f"{name}: loss", 0.0, most)
        for at in (0.0, 0.1, 0.22, 0.36):
            row = self._tangent(at)
            layout.row(row.coefficients, row.lower, row.upper)

    def _tangent(self, at: float) -> Row:
        slope = 1.0 / (1.0 - at)
        constant = -math.log1p(-at) - slope * at
        return Row(sum_of((1.0, {self.column: 1.0, self.product.column: -slope}), (-constant, self.factor)))

    def truth(self, point: Array) -> float:
        """Return what the column should be; see `Term.truth`."""
        return -total(self.factor, point) * math.log1p(-float(point[self.volume]))

    def cuts(self, point: Array) -> Iterator[Row]:
        """Yield tangents that the point breaks; see `Term.cuts`."""
        at = float(point[self.volume])
        row = self._tangent(at)
        if total(row.coefficients, point) < row.lower - _CUT:
            yield row


def _two_weights(target: Array, first: Array, second: Array) -> tuple[float, float]:
    """Return the weights with which `first` and `second` make `target` on every mass."""
    weights, *_ = np.linalg.lstsq(np.column_stack([first, second]), target, rcond=None)
    return float(weights[0]), float(weights[1])


class Wet(Term):
    """``y = H p c(r)``: hydrates times what a water ratio r adds to ln set time, held from both sides."""

    def __init__(self, layout: Layout, hydrates: int, product: Product, most: float, power: float) -> None:
        self.hydrates, self.product, self.ratio = hydrates, product, product.part
        self.depends = (self.ratio,)
        self.power = power
        ends = power * wetness(math.inf) * most
        self.column = layout.column("slowed by water", -ends, ends)
        self.rows = tuple(layout.row({}, -FREE, FREE) for _ in range(2))

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box; see `Term.node_rows`."""
        span = box.of(self.ratio)
        if not (math.isfinite(span.high) and span.low > 0.0):
            yield from ((number, OFF) for number in self.rows)
            return
        at = 0.5 * (span.low + span.high) if point is None else self._ratio(point)
        below, above = wetness_lines(span, at)
        for number, sign, (constant, slope) in ((0, 1.0, below), (1, -1.0, above)):
            yield (
                self.rows[number],
                Row(
                    {
                        self.column: sign,
                        self.hydrates: -sign * self.power * constant,
                        self.product.column: -sign * self.power * slope,
                    }
                ),
            )

    def _ratio(self, point: Array) -> float:
        return total(self.product.above_part, point) / total(self.product.below_part, point)

    def truth(self, point: Array) -> float:
        """Return what the column should be; see `Term.truth`."""
        return self.power * float(point[self.hydrates]) * wetness(self._ratio(point))

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the rows give away; see `Term.faults`."""
        error = self.truth(point) - float(point[self.column])
        # A curved log is held back by the width of r; the product inside has faults of its own.
        yield Fault(abs(error), (self.rows[0] if error > 0.0 else self.rows[1],), (self.ratio,))
