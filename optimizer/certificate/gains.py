"""How much of the end strength is there at an age: the one piece that depends on several ratios at once."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.envelopes import GainBox, GainState, Plane, gain_plane, gain_slopes, ln_gain
from optimizer.certificate.layout import FREE, Layout, Range, Ratio, Row
from optimizer.certificate.terms import Box, Fault, Term, quartered, sum_of

__all__ = ["Gain", "GainParts"]

Array = NDArray[np.float64]

_LEAST = -60.0
_RATES = Range(-30.0, 10.0)
"""Where the chain keeps ln of the gain rate."""


@dataclass(frozen=True)
class GainParts:
    """Columns and ratios a `Gain` reads: see `GainBox`; None where one binder type is missing.

    Attributes
    ----------
    hydrates, cement, ln_final, ln_rate, ln_csa, ln_gypsum : int
        Columns.
    held_pores : int | None
        Column of hydrates times paste porosity, never too low; None where it is not held.
    share, final, gap, pores, rate, csa_level, gypsum_level : int | None
        Ratios.
    steeper, least_pores, ln_fast : float
        Figures of the laws.
    """

    hydrates: int
    cement: int
    ln_final: int
    ln_rate: int
    ln_csa: int
    ln_gypsum: int
    held_pores: int | None
    share: int
    final: int
    gap: int
    pores: int
    rate: int | None
    csa_level: int | None
    gypsum_level: int | None
    steeper: float
    least_pores: float
    ln_fast: float


class Gain(Term):
    """``y = H ln gain(age)``: hydrates times ln of the share of the end strength reached, from above.

    The planes of `gain_plane` become rows: times the hydrates each of their arguments is a column.
    """

    def __init__(self, layout: Layout, parts: GainParts, age: float, latest: float = math.inf) -> None:
        self.parts, self.age, self.latest = parts, age, latest
        self.ratios: list[Ratio] = layout.ratios
        self.depends = self._known()
        self.column = layout.column(f"gain at {age:g} min", _LEAST, 0.0)
        self.rows = tuple(layout.row({}, -FREE, FREE) for _ in range(2))
        self._planes: dict[tuple[GainBox, GainState], Row] = {}

    def gain_box(self, box: Box) -> GainBox:
        """Return what the gain depends on, on a box of ratios."""
        parts, fast = self.parts, self.parts.ln_fast
        final, pores = box.of(parts.final), box.of(parts.pores)
        rate = _RATES if parts.rate is None else box.of(parts.rate)
        return GainBox(
            age=self.age,
            share=Range(max(float(box.low[parts.share]), 0.0), min(float(box.high[parts.share]), 1.0)),
            final=Range(final.low, max(min(final.high, self.latest), final.low)),
            rate=Range(max(rate.low, _RATES.low) + fast, min(rate.high, _RATES.high) + fast),
            csa=_span(box, parts.csa_level),
            gypsum=_span(box, parts.gypsum_level),
            pores=Range(max(pores.low, parts.least_pores), max(pores.high, parts.least_pores)),
            gap=box.of(parts.gap),
            steeper=parts.steeper if parts.csa_level is not None else 0.0,
        )

    def _ratio(self, number: int | None, point: Array) -> float:
        value = 0.0 if number is None else self.ratios[number].of(point)
        return value if math.isfinite(value) else 0.0

    def state(self, point: Array) -> GainState:
        """Return what the gain depends on at a point."""
        parts = self.parts
        hydrates = float(point[parts.hydrates])
        rate = min(max(self._ratio(parts.rate, point), _RATES.low), _RATES.high)
        return GainState(
            share=min(max(float(point[parts.cement]) / hydrates, 0.0), 1.0),
            final=float(point[parts.ln_final]) / hydrates,
            rate=rate + parts.ln_fast,
            csa=self._ratio(parts.csa_level, point),
            gypsum=self._ratio(parts.gypsum_level, point),
            pores=max(self._ratio(parts.pores, point), parts.least_pores),
            gap=self._ratio(parts.gap, point),
        )

    def truth(self, point: Array) -> float:
        """Return what the column should be; see `Term.truth`."""
        at = self.state(point)
        lead = at.csa - at.gypsum - self.parts.steeper * at.pores if self.parts.csa_level is not None else 0.0
        value = ln_gain(self.age, at.share, at.final, at.rate, min(max(lead, -60.0), 60.0), at.gap)
        return float(point[self.parts.hydrates]) * max(value, _LEAST)

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box; see `Term.node_rows`."""
        span = self.gain_box(box)
        middle = _middle(span)
        if fresh:
            yield self.rows[0], self._row(span, middle if point is None else _within(span, self.state(point)))
            yield self.rows[1], Row({}, -FREE, FREE)
        elif point is not None:
            yield self.rows[1], self._row(span, _within(span, self.state(point)))

    def _row(self, span: GainBox, state: GainState) -> Row:
        key = (span, state)
        if key not in self._planes:
            if len(self._planes) > 500:
                self._planes.clear()
            self._planes[key] = self._plane_row(self._plane(span, state))
        return self._planes[key]

    def _plane(self, span: GainBox, state: GainState) -> Plane:
        slopes = gain_slopes(span, state)
        if self.parts.held_pores is None or slopes.pores < 0.0:
            slopes = replace(slopes, pores=0.0)
        return gain_plane(span, slopes, span.lead(state.csa, state.gypsum, state.pores))

    def _plane_row(self, plane: Plane) -> Row:
        parts = self.parts
        row = sum_of(
            (-1.0, {self.column: 1.0}),
            (plane.constant, {parts.hydrates: 1.0}),
            (plane.share + plane.rate * parts.ln_fast, {parts.cement: 1.0}),
            (plane.final, {parts.ln_final: 1.0}),
            (plane.rate, {parts.ln_rate: 1.0}),
            (plane.csa, {parts.ln_csa: 1.0}),
            (plane.gypsum, {parts.ln_gypsum: 1.0}),
        )
        if parts.held_pores is not None:
            row[parts.held_pores] = plane.pores
        return Row(row)

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the rows give away; see `Term.faults`."""
        error = float(point[self.column]) - self.truth(point)
        if error > 0.0:
            yield Fault(error, self.rows, self.depends, pick=lambda: self._pick(box, point))

    def _known(self) -> tuple[int, ...]:
        parts = self.parts
        known = (
            parts.share,
            parts.final,
            parts.gap,
            parts.rate,
            parts.csa_level,
            parts.gypsum_level,
            parts.pores,
        )
        return tuple(ratio for ratio in known if ratio is not None)

    def _pick(self, box: Box, point: Array) -> int:
        """Return the ratio whose interval, shrunk to a quarter, would lower the plane at the point most."""
        at = self.state(point)
        best, least = self.parts.final, math.inf
        for ratio in self._known():
            if box.high[ratio] - box.low[ratio] < 1e-6:
                continue
            span = self.gain_box(quartered(box, ratio, self._ratio(ratio, point)))
            height = self._plane(span, _within(span, at)).at(at)
            if height < least:
                best, least = ratio, height
        return best


def _span(box: Box, ratio: int | None) -> Range:
    return Range(0.0, 0.0) if ratio is None else box.of(ratio)


def _middle(span: GainBox) -> GainState:
    names = (span.share, span.final, span.rate, span.csa, span.gypsum, span.pores, span.gap)
    return GainState(*(_center(r) for r in names))


def _center(span: Range) -> float:
    if math.isfinite(span.low) and math.isfinite(span.high):
        return 0.5 * (span.low + span.high)
    return span.low if math.isfinite(span.low) else span.high if math.isfinite(span.high) else 0.0


def _within(span: GainBox, at: GainState) -> GainState:
    def held(value: float, limits: Range) -> float:
        return min(max(value, limits.low), limits.high)

    return GainState(
        held(at.share, span.share),
        held(at.final, span.final),
        held(at.rate, span.rate),
        held(at.csa, span.csa),
        held(at.gypsum, span.gypsum),
        held(at.pores, span.pores),
        held(at.gap, span.gap),
    )
