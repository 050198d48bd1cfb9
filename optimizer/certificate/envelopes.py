"""Straight lines and planes that keep to one side of a curve on a whole box, with proof, not by sampling.

Each function answers for one box: the plane returned bounds the curve at every point of the box. Where a
maximum over the box is needed it is bounded cell by cell from convexity, concavity or monotone corners.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.layout import Range

__all__ = [
    "GainBox",
    "GainState",
    "Plane",
    "gain_plane",
    "gain_slopes",
    "ln_gain",
    "monotone_offset",
    "ratio_line",
    "wetness_lines",
]

Array = NDArray[np.float64]

_LN2 = math.log(2.0)
_KINK = math.sqrt(2.0)
_INITIAL_DECAY = -math.log1p(-0.10)
_LN_DECAY = math.log(_INITIAL_DECAY)
_SPAN = math.log(-math.log1p(-0.65) / _INITIAL_DECAY)
_LEAST_GAP = math.log(1.01)
_NEVER = -27.0
_SURE = 60.0
_DEEP = 80.0
_CELLS = (3, 4, 1)
_WIDE = 3.0
"""Interval of the lead [ln] beyond which no slope is spent on it."""


def wetness(ratio: float) -> float:
    """Return the log of the factor of set times at a water ratio over reference [-]."""
    return min(max(2.0 * math.log(ratio), -_LN2), _LN2)


def wetness_lines(span: Range, at: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return lines (constant, slope) below and above `wetness` on an interval.

    Parameters
    ----------
    span
        Interval of the water over reference water, above 0 [-].
    at
        Where the upper line should be close [-].
    """
    low, high = span.low, span.high
    corners = [r for r in (low, 1.0 / _KINK, _KINK, high) if low <= r <= high]
    chord = 0.0 if high - low < 1e-12 else (wetness(high) - wetness(low)) / (high - low)
    below = min(wetness(r) - chord * r for r in corners)
    slope = 2.0 / min(max(at, low, 1.0 / _KINK), high)
    touching = [2.0 / slope] if low <= 2.0 / slope <= high else []
    above = max(wetness(r) - slope * r for r in (*corners, *touching))
    return (below, chord), (above, slope)


def ratio_line(above: tuple[float, float], below: tuple[float, float], span: Range) -> tuple[float, float]:
    """Return a line (constant, slope) below ``(a0 + a1 h) / (b0 + b1 h)`` on an interval.

    The quotient has a curvature of one sign while the lower sum is positive: a chord or a tangent does.
    """
    a0, a1 = above
    b0, b1 = below

    def value(h: float) -> float:
        return (a0 + a1 * h) / (b0 + b1 * h)

    turn = a1 * b0 - a0 * b1
    low, high = span.low, span.high
    if -2.0 * b1 * turn >= 0.0 or high - low < 1e-12:
        middle = 0.5 * (low + high)
        slope = turn / (b0 + b1 * middle) ** 2
        return value(middle) - slope * middle, slope
    slope = (value(high) - value(low)) / (high - low)
    return value(low) - slope * low, slope


@dataclass(frozen=True)
class Plane:
    """``constant + share h + final t + rate h m + csa h c + gypsum (1 - h) g + pores f``.

    h is the cement share, t ln final set, m ln gain rate, c and g the ln strengths of the pore-free hydrates
    of either type, f the paste porosity.
    """

    constant: float
    share: float = 0.0
    final: float = 0.0
    rate: float = 0.0
    csa: float = 0.0
    gypsum: float = 0.0
    pores: float = 0.0

    def at(self, state: GainState) -> float:
        """Return the height of the plane."""
        h = state.share
        return (
            self.constant
            + h * (self.share + self.rate * state.rate + self.csa * state.csa)
            + self.final * state.final
            + self.gypsum * (1.0 - h) * state.gypsum
            + self.pores * state.pores
        )


@dataclass(frozen=True)
class GainState:
    """What the share of the end strength reached at an age depends on: see `GainBox`."""

    share: float
    final: float
    rate: float
    csa: float
    gypsum: float
    pores: float
    gap: float


@dataclass(frozen=True)
class GainBox:
    """What the share of the end strength reached at an age depends on, each as an interval.

    Attributes
    ----------
    age : float
        Age [min].
    share : Range
        Cement share of the hydrates [-].
    final : Range
        ln of the final set [ln min].
    rate : Range
        ln of the gain rate of the cement [ln 1/min].
    csa, gypsum : Range
        ln of the strength of cement and of gypsum hydrates without pores [ln MPa].
    pores : Range
        Paste porosity [-].
    gap : Range
        ln of final over initial set [-].
    steeper : float
        Slope of cement less slope of gypsum on paste porosity [-].
    """

    age: float
    share: Range
    final: Range
    rate: Range
    csa: Range
    gypsum: Range
    pores: Range
    gap: Range
    steeper: float

    def lead(self, csa: float, gypsum: float, pores: float) -> float:
        """Return ln of cement strength over gypsum strength in the same pores."""
        return min(max(csa - gypsum - self.steeper * pores, -_SURE), _SURE)

    def leads(self) -> tuple[float, float]:
        """Return the ends of the lead."""
        ends = (self.steeper * self.pores.low, self.steeper * self.pores.high)
        low = self.csa.low - self.gypsum.high - max(ends)
        high = self.csa.high - self.gypsum.low - min(ends)
        return min(max(low, -_SURE), _SURE), min(max(high, -_SURE), _SURE)

    @property
    def useful(self) -> bool:
        """Whether the lead's interval is narrow enough to spend slopes on it."""
        ends = (self.csa.low, self.csa.high, self.gypsum.low, self.gypsum.high)
        low, high = self.leads()
        return all(map(math.isfinite, ends)) and 0.0 < high - low < _WIDE and self.share.low < self.share.high


def _gypsum(age: float, final: float, gap: float) -> tuple[float, float]:
    """Return ln of the gypsum's gain and its slope on ln final set."""
    power = _SPAN / max(gap, _LEAST_GAP)
    ln_decay = _LN_DECAY + power * (math.log(age) - final + gap)
    if ln_decay >= 6.0:  # nothing is left to set
        return 0.0, 0.0
    if ln_decay <= -30.0:  # the degree is the decay itself
        return 3.0 * ln_decay, -3.0 * power
    decay = math.exp(ln_decay)
    return 3.0 * math.log(-math.expm1(-decay)), -3.0 * power * decay / math.expm1(decay)


def _cement(age: float, final: float, rate: float) -> tuple[float, float, float]:
    """Return ln of the cement's gain and its slopes on ln final set and ln rate."""
    start = math.exp(final)
    left = age - start
    grown = math.exp(rate) * left
    if grown <= math.exp(_NEVER):
        return _NEVER, 0.0, 0.0
    to_come = 1.0 / (1.0 + grown)
    return math.log(grown * to_come), -to_come * start / left, to_come


def ln_gain(age: float, share: float, final: float, rate: float, lead: float, gap: float) -> float:
    """Return ln of the share of the end strength reached at an age [-]; see `GainBox` for the rest."""
    gypsum = math.exp(max(_gypsum(age, final, gap)[0], -_DEEP))
    cement = math.exp(_cement(age, final, rate)[0] + lead)
    return math.log((1.0 - share) * gypsum + share * cement) - math.log1p(share * math.expm1(lead))


def gain_slopes(box: GainBox, state: GainState) -> Plane:
    """Return the slopes of the gain at a point as a plane without a constant."""
    lead = box.lead(state.csa, state.gypsum, state.pores)
    x, x_t = _gypsum(box.age, state.final, state.gap)
    p, p_t, p_m = _cement(box.age, state.final, state.rate)
    h = min(max(state.share, 1e-6), 1.0 - 1e-6)
    gypsum, cement, ahead = math.exp(max(x, -_DEEP)), math.exp(p + lead), math.exp(lead)
    top, base = (1.0 - h) * gypsum + h * cement, 1.0 - h + h * ahead
    part = h * cement / top
    rate = cement * p_m / top
    on_lead = _lead_slope(box, h, gypsum, math.exp(p)) - h * ahead / base if box.useful else 0.0
    csa, other = on_lead / max(h, 0.05), -on_lead / max(1.0 - h, 0.05)
    on_share = (cement - gypsum) / top - (ahead - 1.0) / base
    on_share -= rate * state.rate + csa * state.csa - other * state.gypsum
    return Plane(0.0, on_share, (1.0 - part) * x_t + part * p_t, rate, csa, other, -box.steeper * on_lead)


def _lead_slope(box: GainBox, share: float, gypsum: float, cement: float) -> float:
    """Return the chord of the first log over the lead: it is convex there."""
    low, high = box.leads()
    ends = [math.log((1.0 - share) * gypsum + share * cement * math.exp(lead)) for lead in (low, high)]
    return (ends[1] - ends[0]) / (high - low)


def gain_plane(box: GainBox, slopes: Plane, touch: float) -> Plane:
    """Return a plane above ln of the gain on the whole box, with the slopes given.

    Parameters
    ----------
    box, slopes
        Where it must hold, and how it is inclined.
    touch
        Lead at which it should be close.

    Notes
    -----
    ln gain = ln[(1 - h) e^x + h e^(p + L)] - ln[(1 - h) + h e^L], where x (gypsum) is concave in t, p
    (cement) jointly concave in (t, m), and the lead L linear in (c, g, f). In each cell of (t, m), x and p
    lie below their tangent planes at one corner; with those the first log is convex in (t, m, L), so its
    largest excess over the plane sits at a corner. The second log, with its sign, is concave in L and lies
    below its tangent at `touch`. In h the first log is concave and lies below a tangent, the rest
    is convex or monotone: again corners. Where L is not bounded usefully, the gain's being monotone in L
    and in the gap at every point makes their ends enough.
    """
    places, sets = _places(box), _sets(box)
    h = np.array(_edges(box.share, _CELLS[0]))
    x, p, t, m = (places[:, k, None] for k in range(4))
    lead, csa, gypsum, pores = (sets[None, :, k] for k in range(4))
    on_h = slopes.share + slopes.rate * m + (slopes.csa * csa - slopes.gypsum * gypsum)
    flat = slopes.final * t + (slopes.gypsum * gypsum + slopes.pores * pores)
    sloped = slopes.csa != 0.0 or slopes.gypsum != 0.0
    excess = _largest(h, x, p, lead, on_h, touch if sloped else None) - flat
    return replace(slopes, constant=float(excess.max()))


def _places(box: GainBox) -> Array:
    """Return one row per corner of the cells of (t, m): x, p, t, m; x and p from tangents of their cell."""
    times, rates = _edges(box.final, _CELLS[1]), _edges(box.rate, _CELLS[2])
    rows: list[tuple[float, ...]] = []
    for t0, t1 in pairwise(times):
        gypsums = [_gypsum(box.age, t0, gap) for gap in _ends(box.gap)]
        for m0, m1 in pairwise(rates):
            p, p_t, p_m = _cement(box.age, t0, m0)
            rows.extend(
                (x + x_t * (t - t0), p + p_t * (t - t0) + p_m * (m - m0), t, m)
                for t in (t0, t1)
                for m in (m0, m1)
                for x, x_t in gypsums
            )
    return np.array(rows)


def _sets(box: GainBox) -> Array:
    """Return one row per corner of what makes the lead: lead, c, g, f; its ends alone where it is wide."""
    if not box.useful:
        return np.array([(lead, 0.0, 0.0, 0.0) for lead in box.leads()])
    ends = product(_ends(box.csa), _ends(box.gypsum), _ends(box.pores))
    return np.array([(box.lead(c, g, f), c, g, f) for c, g, f in ends])


def _largest(h: Array, first: Array, second: Array, leads: Array, on_h: Array, start: float | None) -> Array:
    """Return the largest ``gain - on_h h`` over all cells of h, for each corner.

    With `start` the second log is replaced by its tangent in the lead there.
    """
    gypsum, lead = np.exp(np.maximum(first, -_DEEP))[..., None], np.exp(leads)[..., None]
    cement = np.exp(second)[..., None] * lead
    rest = 1.0 - h
    mixed = rest * gypsum + h * cement
    top = np.log(mixed)
    low_end = lead if start is None else math.exp(start)
    weights = rest + h * low_end
    base = np.log(weights) + on_h[..., None] * h
    rise = (cement - gypsum) / mixed * (h[1] - h[0])
    onward = (top + rise)[..., :-1] - base[..., 1:]
    back = (top - rise)[..., 1:] - base[..., :-1]
    held = top - base
    touched = np.minimum(np.maximum(held[..., :-1], onward), np.maximum(held[..., 1:], back))
    if start is not None:
        part = h * low_end / weights
        # The part is monotone in h: one of its ends over a cell leaves the larger excess.
        beyond = leads[..., None] - start
        touched = touched - np.minimum(part[:-1] * beyond, part[1:] * beyond)
    largest = touched.max(axis=-1)
    if start is None:
        # A weighted mean never exceeds the larger of the two.
        largest = np.minimum(largest, np.maximum(first, second) - np.minimum(on_h * h[0], on_h * h[-1]))
    return np.asarray(largest)


def _edges(span: Range, cells: int) -> list[float]:
    if span.high - span.low < 1e-9:
        return [span.low, span.high]
    step = (span.high - span.low) / cells
    return [*(span.low + k * step for k in range(cells)), span.high]


def _ends(span: Range) -> tuple[float, ...]:
    return (span.low,) if span.high - span.low < 1e-12 else (span.low, span.high)


def monotone_offset(
    function: Callable[..., Array], spans: Sequence[Range], slopes: Sequence[float], cells: Sequence[int]
) -> tuple[float, float]:
    """Return the least and the greatest of ``function - slopes @ x`` over a box, bounded from outside.

    Parameters
    ----------
    function
        Takes one array per axis; monotone in each argument wherever the others stand (the direction may
        change), so that its extremes over a cell sit at corners.
    spans, slopes, cells
        Interval, slope and number of cells by axis.
    """
    axes = [np.array(_edges(span, n)) for span, n in zip(spans, cells, strict=True)]
    grids = np.meshgrid(*axes, indexing="ij", sparse=True)
    values = np.broadcast_to(function(*grids), [len(axis) for axis in axes])
    line = sum((s * g for s, g in zip(slopes, grids, strict=True)), np.zeros(values.shape))
    low_value, high_value = _cell_extremes(values)
    low_line, high_line = _cell_extremes(np.asarray(line))
    return float((low_value - high_line).min()), float((high_value - low_line).max())


def _cell_extremes(values: Array) -> tuple[Array, Array]:
    corners = [
        values[tuple(slice(end, size - 1 + end) for end, size in zip(ends, values.shape, strict=True))]
        for ends in product((0, 1), repeat=values.ndim)
    ]
    stack = np.stack(corners)
    return stack.min(axis=0), stack.max(axis=0)
