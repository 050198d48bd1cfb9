"""Days of drying, held from below: they are paid for on the shelf and may be limited."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.build import Builder
from optimizer.certificate.layout import FREE, Coefficients, Row, total
from optimizer.certificate.terms import Box, Fault, Term, sum_of
from optimizer.properties.drying import drying_time
from optimizer.property_model.predict import slower_inside
from optimizer.property_model.strength import DAY

__all__ = ["Days", "add_days"]

Array = NDArray[np.float64]


def add_days(builder: Builder) -> int:
    """Return the column of drying time [d], laid out once."""
    known = next((term for term in builder.terms if isinstance(term, Days)), None)
    return builder.add(Days(builder)) if known is None else known.column


class Days(Term):
    """``y = cure h + w (A + B R(h))`` with w the free water and R the vapor resistance, convex in h."""

    def __init__(self, builder: Builder) -> None:
        model, conditions = builder.problem.model, builder.problem.conditions
        wall = conditions.vessel.wall
        slower = float(slower_inside(model["inner_face"]))
        self.constant, full = (slower * float(drying_time(conditions.room, 1e3, wall, x)) for x in (0.0, 1.0))
        self.front = full - self.constant
        gypsum, cement = (math.log(float(model[f"vapor_resistance_{kind}"])) for kind in ("gypsum", "csa"))
        self.ln_resistance = (gypsum, cement - gypsum)
        self.cure = conditions.shop.damp_cure / DAY
        self.free, self.share = builder.form("free_water"), builder.share
        self.depends = (self.share,)
        self.hydrates, self.cement = builder.form("hydrates"), builder.form("cement")
        resistance = math.exp(max(gypsum, cement))
        most = self.cure + builder.layout.upper[self.free] * (self.constant + self.front * resistance)
        self.column = builder.layout.column("drying time", 0.0, max(most, 1.0))
        self.held = self._held(builder)
        self.rows = tuple(builder.layout.row({}, -FREE, FREE) for _ in range(3))

    def _held(self, builder: Builder) -> int | None:
        """Return the column of free water times cement share, or None where the share is fixed."""
        if builder.share_range.low == builder.share_range.high:
            return None
        rising = self.ln_resistance[1] > 0.0
        parts = ({self.free: 1.0}, {self.cement: 1.0}, {self.hydrates: 1.0})
        return builder.product("water held by cement", parts, below=rising, above=not rising).column

    def _line(self, at: float) -> Coefficients:
        """Return the tangent of the days that the water takes, at a cement share."""
        if self.held is None:
            return {self.free: self._rate(at)}
        slope = self.front * self.ln_resistance[1] * self._resistance(at)
        return {self.free: self._rate(at) - slope * at, self.held: slope}

    def _resistance(self, share: float) -> float:
        return math.exp(self.ln_resistance[0] + share * self.ln_resistance[1])

    def _rate(self, share: float) -> float:
        return self.constant + self.front * self._resistance(share)

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box; see `Term.node_rows`."""
        if not fresh:
            return
        low, high = (min(max(float(v), 0.0), 1.0) for v in (box.low[self.share], box.high[self.share]))
        for number, at in zip(self.rows, (low, 0.5 * (low + high), high), strict=True):
            yield number, Row(sum_of((1.0, {self.column: 1.0}), (-1.0, self._line(at))), self.cure * low)

    def truth(self, point: Array) -> float:
        """Return what the column should be; see `Term.truth`."""
        share = float(point[self.cement]) / float(point[self.hydrates])
        return self.cure * share + max(total({self.free: 1.0}, point), 0.0) * self._rate(share)

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the rows give away; see `Term.faults`."""
        error = self.truth(point) - float(point[self.column])
        if error > 0.0:
            yield Fault(error, self.rows, (self.share,), free=False)
