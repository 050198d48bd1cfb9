"""Heat limits of the vessel in use: how well the wall must conduct, and how well it can."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.envelopes import monotone_offset
from optimizer.certificate.layout import FREE, Layout, Range, Ratio, Row, total
from optimizer.certificate.terms import OFF, Box, Fault, Term, quartered
from optimizer.properties.heat_transfer import paste_conductivity
from optimizer.properties.service_heat import Burn, WallCase, phase_limit, wall_temperatures

__all__ = ["Conduct", "GrainParts", "HeatParts", "Walls", "lowest_limit"]

Array = NDArray[np.float64]

_TABLE = 16_000
_LN_LEAST, _LN_MOST = math.log(1e-3), math.log(1e2)
"""No body conducts worse or better [ln W/mK]."""


@dataclass(frozen=True)
class Walls:
    """Which conductivities keep the wall cool enough, by the warmest it may get.

    The inner wall cools and the outer wall warms as the body conducts better, in both idealisations.
    """

    case: WallCase
    burn: Burn

    @cached_property
    def table(self) -> tuple[Array, Array, Array]:
        """Ln conductivity [ln W/mK], outer and inner wall [degC]."""
        ln_conductivity = np.linspace(_LN_LEAST, _LN_MOST, _TABLE)
        outer, inner = wall_temperatures(self.case, np.exp(ln_conductivity), self.burn)
        return ln_conductivity, np.asarray(outer), np.asarray(inner)

    def needed(self, warmest: float, faces: tuple[bool, bool]) -> tuple[float, float]:
        """Return ln of the least and of the most conductivity with no face above `warmest` [degC].

        Each is that of the table's last point that is too warm; crossed where all of it is.

        Parameters
        ----------
        warmest
            Highest temperature allowed [degC].
        faces
            Whether it binds the outer and the inner face.
        """
        ln_conductivity, outer, inner = self.table
        least, most = _LN_LEAST, _LN_MOST
        if faces[1]:
            warm = int(np.count_nonzero(inner > warmest))
            least = math.inf if warm == _TABLE else float(ln_conductivity[max(warm - 1, 0)])
        if faces[0]:
            cool = int(np.count_nonzero(outer <= warmest))
            most = -math.inf if cool == 0 else float(ln_conductivity[min(cool, _TABLE - 1)])
        return least, most


@dataclass(frozen=True)
class HeatParts:
    """Columns, ratios and figures that conductivity and phases depend on; None where there is none.

    Attributes
    ----------
    paste, pores : int
        Columns.
    porosity, share : int
        Ratios: paste porosity, cement share of the hydrates.
    grains : tuple[GrainParts, ...]
        Kinds of grains there are.
    gypsum_phase, ettringite_phase : int | None
        Ratios: share of the phase in the dry solids.
    ln_solid : tuple[float, float]
        ln conductivity of the solid of gypsum and of cement [ln W/mK].
    weight : float
        Place of the paste between its two bounds [fraction].
    """

    paste: int
    pores: int
    porosity: int
    share: int
    grains: tuple[GrainParts, ...]
    gypsum_phase: int | None
    ettringite_phase: int
    ln_solid: tuple[float, float]
    weight: float


@dataclass(frozen=True)
class GrainParts:
    """One kind of grains: columns of volume and of volume times ln conductivity, and their ratios.

    Attributes
    ----------
    volume, conduct : int
        Columns.
    part, mean : int
        Ratios: volume beside the paste's, mean ln conductivity.
    """

    volume: int
    conduct: int
    part: int
    mean: int


class Conduct(Term):
    """No column: two rows that keep the conductivity of the wall between what a heat limit allows.

    Maxwell's relation is linear in the volumes of the grains: a body conducts k or more exactly when
    ``sum v_j p_j >= T (paste + sum v_j)``, with ``p_j = (k_j - m) / (k_j + 2 m)`` and
    ``T = (k - m) / (k + 2 m)``
    and m the paste's own conductivity. T and p are bounded by lines in paste porosity (and ln k_j), and
    porosity times grain volume by the planes of its box.
    """

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
        phases = (parts.gypsum_phase, parts.ettringite_phase)
        grains = (ratio for kind in parts.grains for ratio in (kind.part, kind.mean))
        self.depends = (parts.porosity, parts.share, *grains, *(k for k in phases if k is not None))
        self.column = -1
        self.rows = tuple(layout.row({}, -FREE, FREE) for _ in range(2))
        self.edges: dict[float, tuple[float, float]] = {}

    def lift(self, point: Array) -> None:
        """Nothing to set."""

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box; see `Term.node_rows`."""
        if not fresh:
            return
        low, high = self._needed(box)
        if low > high:
            yield self.rows[0], Row({}, 1.0, FREE)
            return
        yield self.rows[0], self._row(box, low, point, best=True)
        yield self.rows[1], self._row(box, high, point, best=False)

    def _needed(self, box: Box) -> tuple[float, float]:
        parts = self.parts
        gypsum = 0.0 if parts.gypsum_phase is None else max(float(box.low[parts.gypsum_phase]), 0.0)
        warmest = self.warmest(gypsum, max(float(box.low[parts.ettringite_phase]), 0.0))
        if warmest not in self.edges:
            self.edges[warmest] = self.walls.needed(warmest, self.faces)
        return self.edges[warmest]

    def _row(self, box: Box, edge: float, point: Array | None, *, best: bool) -> Row:
        """Return the row that even the best (or worst) solid and grains of the box must meet."""
        parts, porosity = self.parts, box.of(self.parts.porosity)
        porosity = Range(max(porosity.low, 0.0), min(porosity.high, 0.99))
        known = all(box.finite(kind.part, kind.mean) for kind in parts.grains)
        if edge == (_LN_LEAST if best else _LN_MOST) or not known:
            return OFF
        share = (min(max(float(v), 0.0), 1.0) for v in (box.low[parts.share], box.high[parts.share]))
        solids = [parts.ln_solid[0] + h * (parts.ln_solid[1] - parts.ln_solid[0]) for h in share]
        solid = max(solids) if best else min(solids)
        sign = 1.0 if best else -1.0
        constant, slope = _wanted(solid, parts.weight, edge, porosity, best)
        row = {parts.paste: -sign * constant, parts.pores: -sign * slope}
        for kind in parts.grains:
            base, on_pores, on_mean = _given(solid, parts.weight, porosity, box.of(kind.mean), not best)
            row[kind.volume] = sign * (base - constant)
            row[kind.conduct] = sign * on_mean
            self._add_product(row, kind, box, porosity, sign * (on_pores - slope), point)
        return Row(row)

    def _add_product(
        self,
        row: dict[int, float],
        kind: GrainParts,
        box: Box,
        porosity: Range,
        factor: float,
        point: Array | None,
    ) -> None:
        """Add ``factor`` times grain volume times paste porosity, never too low, by one plane of its box."""
        part = box.of(kind.part)
        if factor > 0.0:
            planes = ((porosity.high, part.low), (porosity.low, part.high))
        else:
            planes = ((porosity.low, part.low), (porosity.high, part.high))
        at = [0.5 * (porosity.low + porosity.high), 0.5 * (part.low + part.high)]
        if point is not None:
            at = [self._at(self.parts.porosity, point), self._at(kind.part, point)]
        heights = [f * at[1] + p * at[0] - f * p for f, p in planes]
        f, p = planes[heights.index(min(heights) if factor > 0.0 else max(heights))]
        row[kind.volume] += factor * f
        row[self.parts.pores] += factor * p
        row[self.parts.paste] -= factor * f * p

    def _ln_conductivity(self, point: Array) -> float:
        """Return ln conductivity of the wall at a point [ln W/mK]."""
        parts = self.parts
        share = min(max(self._at(parts.share, point), 0.0), 1.0)
        solid = math.exp(parts.ln_solid[0] + share * (parts.ln_solid[1] - parts.ln_solid[0]))
        pores = min(max(self._at(parts.porosity, point), 0.0), 0.99)
        paste = float(paste_conductivity(pores, solid, weight=parts.weight))
        beside = [self._at(kind.part, point) for kind in parts.grains]
        grains = [math.exp(self._at(kind.mean, point)) for kind in parts.grains]
        lift = sum(v * (k - paste) / (k + 2.0 * paste) for v, k in zip(beside, grains, strict=True))
        lift /= 1.0 + sum(beside)
        return math.log(paste * (1.0 + 2.0 * lift) / (1.0 - lift))

    def _at(self, ratio: int | None, point: Array) -> float:
        value = 0.0 if ratio is None else self.ratios[ratio].of(point)
        return value if math.isfinite(value) else 0.0

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the rows give away; see `Term.faults`."""
        parts = self.parts
        gypsum, ettringite = self._at(parts.gypsum_phase, point), self._at(parts.ettringite_phase, point)
        warmest = self.warmest(gypsum, ettringite)
        if warmest not in self.edges:
            self.edges[warmest] = self.walls.needed(warmest, self.faces)
        low, high = self.edges[warmest]
        value = self._ln_conductivity(point)
        error = min(max(low - value, value - high), 5.0)
        if error > 0.0:
            yield Fault(
                error * float(point[parts.paste]), self.rows, self.depends, lambda: self._pick(box, point)
            )

    def _pick(self, box: Box, point: Array) -> int:
        """Return the ratio whose interval, shrunk to a quarter, would break the rows most at the point."""
        best, worst = self.parts.porosity, math.inf
        for ratio in self.depends:
            if box.high[ratio] - box.low[ratio] < 1e-6:
                continue
            rows = self.node_rows(quartered(box, ratio, self._at(ratio, point)), point)
            slack = min(total(row.coefficients, point) - row.lower for _, row in rows)
            if slack < worst:
                best, worst = ratio, slack
        return best


@lru_cache(maxsize=2048)
def _wanted(ln_solid: float, weight: float, edge: float, porosity: Range, low: bool) -> tuple[float, float]:
    """Return a line below (or above) T over the paste's porosity, for ln conductivities [ln W/mK]."""
    solid, wanted = math.exp(ln_solid), math.exp(edge)

    def curve(pores: Array) -> Array:
        paste = paste_conductivity(pores, solid, weight=weight)
        return np.asarray((wanted - paste) / (wanted + 2.0 * paste))

    slope = _chord(curve, porosity)
    below, above = monotone_offset(curve, (porosity,), (slope,), (48,))
    return (below if low else above), slope


@lru_cache(maxsize=2048)
def _given(
    ln_solid: float, weight: float, porosity: Range, mean: Range, low: bool
) -> tuple[float, float, float]:
    """Return a plane below (or above) p over the paste's porosity and the grains' mean ln conductivity."""
    solid = math.exp(ln_solid)

    def curve(pores: Array, ln_grain: Array) -> Array:
        paste, grain = paste_conductivity(pores, solid, weight=weight), np.exp(ln_grain)
        return np.asarray((grain - paste) / (grain + 2.0 * paste))

    middle = [np.array(0.5 * (r.low + r.high)) for r in (porosity, mean)]
    slopes = (_chord(lambda x: curve(x, middle[1]), porosity), _chord(lambda x: curve(middle[0], x), mean))
    below, above = monotone_offset(curve, (porosity, mean), slopes, (24, 8))
    return (below if low else above), *slopes


def _chord(curve: Callable[[Array], Array], span: Range) -> float:
    if span.high - span.low < 1e-9:
        return 0.0
    low, high = (float(curve(np.array(x))) for x in (span.low, span.high))
    return (high - low) / (span.high - span.low)


def lowest_limit(exposure: str, bears: float, margin: float) -> Callable[[float, float], float]:
    """Return the warmest wall that leaves a margin below the phases present, by their shares."""

    def warmest(gypsum: float, ettringite: float) -> float:
        return float(phase_limit(gypsum, ettringite, exposure, bears)) - margin

    return warmest
