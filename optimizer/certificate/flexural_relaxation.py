"""Strength that must reach a level which itself depends on the hydrate shares."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.envelopes import ratio_line
from optimizer.certificate.layout import FREE, Coefficients, Layout, Row, total
from optimizer.certificate.terms import Box, Fault, Term, sum_of

__all__ = ["Need"]

Array = NDArray[np.float64]


class Need(Term):
    """No column: ``ln S >= (a0 + a1 h) / (b0 + b1 h) + shift``, times the hydrates, by a line in h."""

    def __init__(
        self,
        layout: Layout,
        columns: tuple[int, int],
        share: int,
        strength: Coefficients,
        quotient: tuple[tuple[float, float], tuple[float, float]],
        shift: float,
    ) -> None:
        self.hydrates, self.cement = columns
        self.depends = (share,)
        self.share, self.strength, self.quotient, self.shift = share, strength, quotient, shift
        self.column = -1
        self.rows = (layout.row({}, -FREE, FREE),)

    def lift(self, point: Array) -> None:
        """Nothing to set."""

    def node_rows(self, box: Box, point: Array | None, *, fresh: bool = True) -> Iterator[tuple[int, Row]]:
        """Yield the rows of this box; see `Term.node_rows`."""
        if not fresh:
            return
        constant, slope = ratio_line(*self.quotient, box.of(self.share))
        line = {self.hydrates: -(constant + self.shift), self.cement: -slope}
        yield self.rows[0], Row(sum_of((1.0, self.strength), (1.0, line)))

    def faults(self, box: Box, point: Array) -> Iterator[Fault]:
        """Yield what the rows give away; see `Term.faults`."""
        hydrates = float(point[self.hydrates])
        share = float(point[self.cement]) / hydrates
        (a0, a1), (b0, b1) = self.quotient
        constant, slope = ratio_line(*self.quotient, box.of(self.share))
        error = (a0 + a1 * share) / (b0 + b1 * share) - constant - slope * share
        if error > 0.0 and total(self.strength, point) < hydrates * ((a0 + a1 * share) / (b0 + b1 * share)):
            yield Fault(error * hydrates, self.rows, (self.share,))
