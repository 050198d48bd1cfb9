"""Walk a mix downhill by linear programs: each looks at all materials at once and says which to use.

The smooth problem of a case has few unknowns and its optimum mostly lies where as many rows bind as there are
unknowns. There a sequence of linear programs, each in a box around the last mix, ends within four or five
steps, starts from any blend and needs no choice of materials beforehand. Where the optimum lies on a curve
instead, the walk says so and `optimizer.engine.polish` finishes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.polish import (
    TOLERANCE,
    Candidate,
    Evaluator,
    Look,
    polish,
    rows_of_support,
    violation,
)
from optimizer.formulation import Case
from optimizer.problem import Problem
from optimizer.solvers.relaxation import WarmLP

__all__ = ["descend"]

Array = NDArray[np.float64]

_MOST_STEPS = 25
_MEMORY = 3
_STEEP, _TINY = 1e9, 1e-12
_WHATEVER = 1e3
_PATIENCE = 5
_SLOW, _SLOW_SHORT = 2e-3, 0.15
"""Least gain over `_PATIENCE` steps, as a share of the objective, or of what rows still fall short."""

_NEAR = 0.02
"""Violation [-] up to which it is worth finishing a walk smoothly."""

_BOX = 0.4
"""First half-width of the box around the mix [kg/L]; a mix weighs about two."""

_LARGEST_BOX, _SMALLEST_BOX = 4.0, 1e-5
_BESIDE = 0.01
"""Distance within which a walk ends where an earlier one ended [kg/L]."""

_TRACE = 1e-9
"""Amount of a material that is none [kg/L]."""

_TELLING = 0.1
"""Box from which a promise says something of mixes far away, too [kg/L]."""

_SURELY = 2
"""Such promises in a row, each dearer than what is known, that end a walk from a mix that is no blend yet."""

_STILL = 1e-7
"""Promised gain, as a share of the objective, below which the walk has arrived."""

_WORTH, _LEAST_PRICE = 2.0, 0.01
"""Price of shortfall in units of what all rows are worth together, and its least share of the relief's."""

_POOR, _GOOD = 0.05, 0.7
_SHRINK, _GROW = 0.4, 2.0


@dataclass(frozen=True)
class _Point:
    """A mix with everything known of it: objective, slopes, rows held, merit."""

    mix: Array
    value: float
    gradient: Array
    rows: Array
    jacobian: Array

    @property
    def short(self) -> float:
        """Largest violation of a curved row [-]."""
        return max(0.0, -float(self.rows.min()))

    def merit(self, price: float) -> float:
        """Objective with the shortfall priced."""
        return self.value + price * self.short


@dataclass(frozen=True)
class _Step:
    """What a linear program proposes: the step, the merit it promises, and the price it was judged at."""

    move: Array
    promised: float
    price: float


def descend(
    problem: Problem,
    case: Case,
    allowed: Iterable[int],
    start: Array,
    backoff: Array | None = None,
    at_least: Iterable[int] = (),
    cutoff: float = np.inf,
    known: Sequence[Candidate] = (),
    look: Look | None = None,
    program: WarmLP | None = None,
) -> Candidate:
    """Return the best mix that a walk downhill from `start` finds.

    Parameters
    ----------
    problem, case
        What is asked.
    allowed
        Positions of the materials that may be used, without least shares: the walk may use any few of them.
    start
        Starting mix, shape (n + 1,) [kg/L].
    backoff
        Amount by which each curved row must be held beyond zero, shape (rows,).
    at_least
        Positions among `allowed` that are held at their least share or more.
    cutoff
        Objective from which an end is of no interest; a walk that promises no better is broken off.
    known
        Ends of earlier walks of the same question: a walk that comes upon one ends there, too.
    look
        Objective, rows and slopes at `start`, where they are known for all materials allowed.
    program
        A linear program no longer needed, to be used instead of a new one.

    Returns
    -------
    Candidate
        Its violation tells whether it is a blend at all; least shares of other materials are not looked at.
    """
    walk = _Walk(problem, case, tuple(sorted(set(allowed))), backoff, tuple(at_least), known, program)
    return walk.run(start, cutoff, look)


class _Walk:
    """Scratch of one walk: the box, the linear program of the last mix kept open, merits so far.

    `held` tells whether the linear rows hold, after the first full step at the latest; `beyond` keeps points
    on the far side of kinks.
    """

    def __init__(
        self,
        problem: Problem,
        case: Case,
        allowed: tuple[int, ...],
        backoff: Array | None,
        at_least: tuple[int, ...],
        known: Sequence[Candidate],
        program: WarmLP | None,
    ) -> None:
        self.problem, self.case, self.backoff, self.at_least = problem, case, backoff, at_least
        self.known = known
        water = len(problem.names)
        self.free = np.unique([*allowed, *problem.doses, water]).astype(np.intp)
        self.evaluator = Evaluator(problem, case, self.free, backoff)
        self.matrix, self.lower, self.upper = rows_of_support(problem, case, at_least)
        self.linear = self.matrix[:, self.free]
        self.floor, self.ceiling = (bound[:-1][self.free] for bound in self.evaluator.box())
        self.width = _BOX
        self.held = False
        self.marks: list[float] = []
        self.beyond: list[_Point] = []
        self.lp = program

    def run(self, start: Array, cutoff: float, look: Look | None) -> Candidate:
        """Walk until nothing is promised any more."""
        mix = np.zeros_like(start)
        mix[self.free] = np.clip(start[self.free], self.floor, self.ceiling)
        same = np.abs(mix - start).max() <= _TRACE
        at = self._look(mix, look if same else None, price_it=True)
        self.held = self._broken(at) <= _STILL
        at, arrived = self._walked(at, cutoff)
        if (found := self._come_upon(at)) is not None:
            return found
        if TOLERANCE < at.short <= _NEAR:
            # So near, a row may be worth more than the price of missing it: once more, whatever it costs.
            self.evaluator.relief_price *= _WHATEVER
            self.width, self.marks, self.beyond = _BOX, [], []
            at, arrived = self._walked(at, np.inf)
        return self._finished(at, arrived)

    def _walked(self, at: _Point, cutoff: float) -> tuple[_Point, bool]:
        """Return the end of a walk, and True when nothing better was promised there."""
        dear = 0
        for _ in range(_MOST_STEPS):
            step = self._step(at)
            if step is None:
                if self.width >= _LARGEST_BOX:
                    break
                self.width *= _LARGEST_BOX / _BOX
                continue
            if self._arrived(at, step):
                return at, True
            if self._idle(at, step):
                self.beyond.clear()
                continue
            dear = dear + 1 if step.promised > cutoff and self.width >= _TELLING else 0
            if dear and (at.short == 0.0 or dear >= _SURELY):
                return at, True
            self.marks.append(at.merit(self.evaluator.relief_price))
            if self._tired(at) or self.width < _SMALLEST_BOX:
                break
            at = self._moved_on(at, step)
            if self._come_upon(at) is not None:
                break
        return at, False

    def _come_upon(self, at: _Point) -> Candidate | None:
        """Return the known end a mix lies beside, unless the mix is better than that end."""
        near = (end for end in self.known if np.abs(end.mix - at.mix).max() <= _BESIDE)
        return next((end for end in near if at.short > 0.0 or at.value >= end.value), None)

    def _idle(self, at: _Point, step: _Step) -> bool:
        gain = at.merit(step.price) - step.promised
        return self.held and gain <= _STILL * max(abs(at.value), 1e-3)

    def _arrived(self, at: _Point, step: _Step) -> bool:
        """Return True when nothing is promised, kept slopes beyond kinks left aside."""
        return self._idle(at, step) and not self.beyond

    def _moved_on(self, at: _Point, step: _Step) -> _Point:
        """Return the step's end where it keeps its promise, else the same mix, with a smaller box."""
        ahead = self._look(self._moved(at.mix, step.move))
        merit = at.merit(step.price)
        kept = (merit - ahead.merit(step.price)) / max(merit - step.promised, _TINY)
        if self.held and kept < _POOR:
            self._remember(ahead)
            self.width = min(self.width, _SHRINK * float(np.abs(step.move).max()))
            return at
        if self.held:
            self._resize(step.move, kept)
        if self.beyond:
            self._remember(at)
        self.held = True
        return ahead

    def _remember(self, point: _Point) -> None:
        """Keep the slopes of a point beyond a kink: from there a row falls that seems to rise from here."""
        self.beyond = [*self.beyond, point][-_MEMORY:]

    def _tired(self, at: _Point) -> bool:
        """Return True when the last steps gained little: along a curve, or where no blend is to be had."""
        if len(self.marks) <= _PATIENCE:
            return False
        excess = at.short * self.evaluator.relief_price
        worth = _SLOW_SHORT * excess if at.short > _NEAR else _SLOW * max(abs(at.value), 1e-3)
        return self.marks[-1 - _PATIENCE] - self.marks[-1] < worth

    def _look(self, mix: Array, known: Look | None = None, *, price_it: bool = False) -> _Point:
        value, gradient, rows, jacobian = known or self.evaluator.evaluate(mix)
        gradient, jacobian = _tame(gradient), _tame(jacobian)
        if price_it:
            self.evaluator.price(value)
        return _Point(mix, value, gradient, rows, jacobian)

    def _broken(self, at: _Point) -> float:
        level = self.matrix @ at.mix
        return float(max(np.max(self.lower - level), np.max(level - self.upper), 0.0))

    def _step(self, at: _Point) -> _Step | None:
        """Return the best step in the box by the slopes at a mix, or None where the box holds none.

        Shortfall is judged at about what the rows are worth, not at the forbidding price of the relief:
        a good step along a curve that ends a hair outside is mended by the next one.
        """
        lp = self._program(at)
        answer = lp.solve(proved=False)
        if not answer.status.has_answer:
            return None
        worth = _WORTH * float(np.abs(answer.duals[len(self.matrix) :]).sum())
        price = min(self.evaluator.relief_price, max(worth, _LEAST_PRICE * self.evaluator.relief_price))
        relief = float(answer.x[-1])
        promised = at.value + answer.value + (price - self.evaluator.relief_price) * relief
        return _Step(answer.x[:-1], promised, price)

    def _program(self, at: _Point) -> WarmLP:
        """Return the linear program of a mix; its last column is the priced relief of all curved rows."""
        here = at.mix[self.free]
        level = self.matrix @ at.mix
        pieces = (at, *self.beyond)
        slopes = np.concatenate([piece.jacobian for piece in pieces])
        now = np.concatenate([piece.rows + piece.jacobian @ (at.mix - piece.mix) for piece in pieces])
        rows = np.empty((level.size + now.size, self.free.size + 1))
        rows[: level.size, :-1], rows[: level.size, -1] = self.linear, 0.0
        rows[level.size :, :-1], rows[level.size :, -1] = slopes[:, self.free], 1.0
        cost = np.append(at.gradient[self.free], self.evaluator.relief_price)
        low = np.append(np.maximum(self.floor - here, -self.width), 0.0)
        high = np.append(np.minimum(self.ceiling - here, self.width), np.inf)
        row_low = np.concatenate([self.lower - level, -now])
        row_high = np.concatenate([self.upper - level, np.full(now.size, np.inf)])
        if self.lp is None:
            self.lp = WarmLP(cost, low, high, rows, row_low, row_high)
        else:
            self.lp.replace(cost, low, high, rows, row_low, row_high)
        return self.lp

    def _moved(self, mix: Array, step: Array) -> Array:
        out = mix.copy()
        out[self.free] = np.clip(mix[self.free] + step, self.floor, self.ceiling)
        return out

    def _resize(self, step: Array, kept: float) -> None:
        """Widen the box when it held a good step back, narrow it when little of the promise came true."""
        if kept > _GOOD and np.abs(step).max() > 0.99 * self.width:
            self.width = min(_GROW * self.width, _LARGEST_BOX)
        elif kept < 1.0 - _GOOD:
            self.width /= _GROW

    def _finished(self, at: _Point, arrived: bool) -> Candidate:
        broken = violation(at.mix, at.rows, self.matrix, self.lower, self.upper)
        found = Candidate(self.case, at.mix, at.value, broken)
        if arrived or broken > _NEAR:
            return found
        used = {*found.support, *self.at_least}
        again = polish(self.problem, self.case, used, at.mix, self.backoff, at_least=self.at_least)
        return min(found, again, key=Candidate.rank)


def _tame(slopes: Array) -> Array:
    """Return slopes that a linear program takes: on the edge of "never" a quotient is no number, or huge."""
    with np.errstate(invalid="ignore"):
        if np.abs(slopes).max(initial=0.0) <= _STEEP:
            return slopes
    return np.clip(np.nan_to_num(slopes), -_STEEP, _STEEP)
