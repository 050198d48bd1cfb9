"""Heat limits of the vessel in use: how well the wall must conduct, and how well it can."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.envelopes import monotone_offset
from optimizer.certificate.layout import FREE, Layout, Range, Ratio, Row
from optimizer.certificate.terms import OFF, Box, Fault, Term
from optimizer.properties.conductivity import body_conductivity
from optimizer.properties.heat_limits import phase_limit
from optimizer.properties.service_heat import WallCase, wall_temperatures

__all__ = ["Conduct", "HeatParts", "Walls", "lowest_limit"]

Array = NDArray[np.float64]

_CELLS = (12, 2, 6, 6)
_LN_LEAST, _LN_MOST = math.log(1e-3), math.log(1e2)
"""No body conducts worse or better [ln W/mK]."""


@dataclass(frozen=True)
class Walls:
    """Which conductivities keep the wall cool enough, by the warmest it may get.

    The inner wall cools and the outer wall warms as the body conducts better, in both idealisations.
    """

    case: WallCase
    flame_share: float

    def needed(self, warmest: float, faces: tuple[bool, bool]) -> tuple[float, float]:
        """Return ln of the least and of the most conductivity with no face above `warmest` [degC].

        Parameters
        ----------
        warmest
            Highest temperature allowed [degC].
        faces
            Whether it binds the outer and the inner face.
        """
        least, most = _LN_LEAST, _LN_MOST
        if faces[1]:
            least = _edge(lambda k: self._warm(k)[1] > warmest, _LN_LEAST, _LN_MOST)
        if faces[0]:
            most = -_edge(lambda k: self._warm(-k)[0] > warmest, -_LN_MOST, -_LN_LEAST)
        return least, most

    def _warm(self, ln_conductivity: float) -> tuple[float, float]:
        outer, inner = wall_temperatures(self.case, np.array(math.exp(ln_conductivity)), self.flame_share)
        return float(outer), float(inner)


def _edge(too_warm: Callable[[float], bool], low: float, high: float) -> float:
    """Return a point still too warm but next to one that is not; too warm below, cool above.

    The low end when nothing is too warm, infinite when all is.
    """
    if not too_warm(low):
        return low
    if too_warm(high):
        return math.inf
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if too_warm(middle) else (low, middle)
    return low


@dataclass(frozen=True)
class HeatParts:
    """Columns, ratios and figures that conductivity and phases depend on; None where there is none."""

    paste: int
    pores: int
    heavy: int | None
    light: int | None
    porosity: int
    share: int
    heavy_part: int | None
    light_part: int | None
    heavy_mean: int | None
    light_mean: int | None
    gypsum_phase: int | None
    ettringite_phase: int
    ln_solid: tuple[float, float]


class Conduct(Term):
    """No column: two rows that keep ln conductivity of the wall between what a heat limit allows."""

    def __init__(
        self,
        layout: Layout,
        parts: HeatParts,
        walls: Walls,
        warmest: Callable[[float, float], float],
        faces: tuple[bool, bool],
    ) -> None:
        self.parts, self.walls, self.warmest, self.faces = parts, walls, warmest, faces
        self.ratios: list[Ratio] = layout.ratios
        self.depends = self._known()
        self.column = -1
        self.rows = tuple(layout.row({}, -FREE, FREE) for _ in range(2))
        self.edges: dict[float, tuple[float, float]] = {}

    def lift(self, point: Array) -> None:
        """Nothing to set."""

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        if not fresh:
            return
        low, high = self._needed(box)
        if low > high:
            yield self.rows[0], Row({}, 1.0, FREE)
            return
        yield self.rows[0], self._row(box, low, best=True)
        yield self.rows[1], self._row(box, high, best=False)

    def _needed(self, box: Box) -> tuple[float, float]:
        parts = self.parts
        gypsum = 0.0 if parts.gypsum_phase is None else max(float(box.low[parts.gypsum_phase]), 0.0)
        warmest = self.warmest(gypsum, max(float(box.low[parts.ettringite_phase]), 0.0))
        if warmest not in self.edges:
            self.edges[warmest] = self.walls.needed(warmest, self.faces)
        return self.edges[warmest]

    def _row(self, box: Box, edge: float, *, best: bool) -> Row:
        """Return the row that even the best (or worst) conductivity of the box must meet."""
        if edge == (_LN_LEAST if best else _LN_MOST):
            return OFF
        parts = self.parts
        spans = [self._span(box, k) for k in (parts.porosity, parts.share, parts.heavy_part, parts.light_part)]
        if not all(math.isfinite(s.low) and math.isfinite(s.high) for s in spans):
            return OFF
        means = [self._mean(box, k, best=best) for k in (parts.heavy_mean, parts.light_mean)]

        def ln_conductivity(porosity: Array, share: Array, heavy: Array, light: Array) -> Array:
            return self._ln_conductivity(porosity, share, heavy, light, means[0], means[1])

        slopes = _chords(ln_conductivity, spans)
        below, above = monotone_offset(ln_conductivity, spans, slopes, _CELLS)
        sign, constant = (1.0, above) if best else (-1.0, below)
        row = {parts.paste: sign * (constant - edge), parts.pores: sign * slopes[0]}
        if parts.heavy is not None:
            row[parts.heavy] = sign * slopes[2]
        if parts.light is not None:
            row[parts.light] = sign * slopes[3]
        return Row(row)

    def _ln_conductivity(
        self, porosity: Array, share: Array, heavy: Array, light: Array, ln_heavy: float, ln_light: float
    ) -> Array:
        """Return ln conductivity; grains are volumes over the paste's."""
        gypsum, cement = self.parts.ln_solid
        solid = np.exp(gypsum + share * (cement - gypsum))
        body = 1.0 + heavy + light
        return np.asarray(
            np.log(
                body_conductivity(
                    np.clip(porosity, 0.0, 0.99),
                    solid,
                    heavy / body,
                    math.exp(ln_heavy),
                    light / body,
                    math.exp(ln_light),
                )
            )
        )

    def _span(self, box: Box, ratio: int | None) -> Range:
        if ratio is None:
            return Range(0.0, 0.0)
        span = box.of(ratio)
        most = 0.99 if ratio == self.parts.porosity else 1.0 if ratio == self.parts.share else math.inf
        return Range(max(span.low, 0.0), min(span.high, most))

    def _mean(self, box: Box, ratio: int | None, *, best: bool) -> float:
        if ratio is None:
            return 0.0
        value = float(box.high[ratio] if best else box.low[ratio])
        return value if math.isfinite(value) else (6.0 if best else -6.0)

    def truth(self, point: Array) -> float:
        """Return ln conductivity [ln W/mK]."""
        values = [self._at(k, point) for k in self._arguments()]
        return float(self._ln_conductivity(*(np.array(v) for v in values[:4]), *values[4:]))

    def _arguments(self) -> tuple[int | None, ...]:
        parts = self.parts
        grains = (parts.heavy_part, parts.light_part, parts.heavy_mean, parts.light_mean)
        return (parts.porosity, parts.share, *grains)

    def _at(self, ratio: int | None, point: Array) -> float:
        value = 0.0 if ratio is None else self.ratios[ratio].of(point)
        return value if math.isfinite(value) else 0.0

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        parts = self.parts
        gypsum, ettringite = self._at(parts.gypsum_phase, point), self._at(parts.ettringite_phase, point)
        low, high = self.walls.needed(self.warmest(gypsum, ettringite), self.faces)
        value = self.truth(point)
        error = max(low - value, value - high)
        if error > 0.0:
            yield Fault(error * float(point[parts.paste]), self.rows, self.depends, pick=lambda: self._pick(box, point))

    def _known(self) -> tuple[int, ...]:
        parts = self.parts
        known = (*self._arguments(), parts.gypsum_phase, parts.ettringite_phase)
        return tuple(ratio for ratio in known if ratio is not None)

    def _pick(self, box: Box, point: Array) -> int:
        """Return the ratio to narrow: a phase whose ramp is open, else the widest by effect."""
        parts = self.parts
        for phase in (parts.gypsum_phase, parts.ettringite_phase):
            if phase is not None and box.low[phase] < 0.07 < box.high[phase] and self._at(phase, point) > 0.03:
                return phase
        weights = {parts.porosity: 3.0, parts.share: 0.3}
        weights |= {k: 1.2 for k in (parts.heavy_part, parts.light_part) if k is not None}
        weights |= {k: 0.15 for k in (parts.heavy_mean, parts.light_mean) if k is not None}
        return max(weights, key=lambda k: weights[k] * min(float(box.high[k] - box.low[k]), 10.0))


def _chords(function: Callable[..., Array], spans: list[Range]) -> list[float]:
    middle = [0.5 * (s.low + s.high) for s in spans]
    slopes = []
    for k, span in enumerate(spans):
        if k == 1 or span.high - span.low < 1e-9:
            # The solid's share has no sum of its own beside the paste: its interval alone counts.
            slopes.append(0.0)
            continue
        ends = [[*middle[:k], end, *middle[k + 1 :]] for end in (span.low, span.high)]
        low, high = (float(function(*(np.array(v) for v in end))) for end in ends)
        slopes.append((high - low) / (span.high - span.low))
    return slopes


def lowest_limit(exposure: str, margin: float) -> Callable[[float, float], float]:
    """Return the warmest wall that leaves a margin below the phases present, as a function of their shares."""

    def warmest(gypsum: float, ettringite: float) -> float:
        return float(phase_limit(gypsum, ettringite, exposure)) - margin

    return warmest


