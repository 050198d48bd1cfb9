"""Nodes of the search: a case, a regime, a box of ratios and what is settled of each material."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.relax import Relaxation
from optimizer.certificate.terms import Box, Fault
from optimizer.formulation import Case

__all__ = ["IN", "OPEN", "OUT", "Choice", "Node", "choices", "split", "split_point", "widest", "worst_fault"]

Array = NDArray[np.float64]

OUT, IN, OPEN = 0, 1, -1

_USED = 1e-7
_SETTLED = 1e-6
_IDLE_PRICE = 0.02
_MOST_DOSES = 3
_MIDDLE, _EDGE = 0.10, 0.25


@dataclass(frozen=True)
class Node:
    """One part of the room of mixes.

    Attributes
    ----------
    bound : float
        Proved least goal in it [the goal's unit].
    case, regime : Case, str
        Steps and hydration regime.
    box : Box | None
        Intervals of the ratios; None for a root not yet looked at.
    point : Array | None
        Point of the relaxation above it.
    flags : Array
        By material: in, out or open.
    depth : int
        Splits above it.
    """

    bound: float
    case: Case
    regime: str
    flags: Array
    box: Box | None = None
    point: Array | None = None
    depth: int = 0


@dataclass(frozen=True)
class Choice:
    """What to split: a ratio at a value, or a material into in and out."""

    ratio: int | None = None
    material: int | None = None
    at: float = math.nan


def worst_fault(relaxation: Relaxation, box: Box, point: Array, duals: Array) -> Fault | None:
    """Return the fault that holds the bound back most at the point of a relaxation, or None."""
    faults = [fault for term in relaxation.terms for fault in term.faults(box, point)]
    return _worst(faults, box, duals, _hydrates(relaxation, point))


def _hydrates(relaxation: Relaxation, point: Array) -> float:
    return max(float(point[relaxation.builder.form("hydrates")]), 1e-9)


def choices(
    relaxation: Relaxation, flags: Array, box: Box, point: Array, duals: Array, hint: Array | None
) -> tuple[list[Choice], float]:
    """Return what could be split at the point of a relaxation, and the sum of its errors [ln].

    Parameters
    ----------
    relaxation, flags, box
        Where we are.
    point, duals
        Point and multipliers of the relaxation.
    hint
        Ratios of the best mix known, or None.
    """
    hydrates = _hydrates(relaxation, point)
    faults = [fault for term in relaxation.terms for fault in term.faults(box, point)]
    error = sum(fault.error for fault in faults if fault.free) / hydrates
    found = [Choice(material=k) for k in _doses(relaxation, flags, point)[:_MOST_DOSES]]
    ratios: list[int] = []
    worst = _worst(faults, box, duals, hydrates)
    if worst is not None:
        ratios.append(worst.ratio())
    hidden = _worst([fault for fault in faults if fault.free], box, np.zeros_like(duals), hydrates)
    if hidden is not None and hidden is not worst:
        ratios.append(hidden.ratio())
    for k in dict.fromkeys(ratios):
        value = relaxation.builder.layout.ratios[k].of(point)
        found.append(Choice(ratio=k, at=split_point(box, k, value, hint)))
    return found, error


def _worst(faults: list[Fault], box: Box, duals: Array, hydrates: float) -> Fault | None:
    """Return the fault that holds the bound back most: error times the price of its rows.

    Rows without a price still hide limits that are missed: their errors count at a small one.
    """
    best, score = None, 0.0
    for fault in faults:
        wide = any(box.high[k] - box.low[k] > _SETTLED for k in fault.ratios)
        if fault.error < _SETTLED * hydrates or not wide:
            continue
        price = max((abs(float(duals[row])) for row in fault.rows), default=0.0)
        price = max(price, _IDLE_PRICE if fault.free else 0.0)
        if fault.error * price > score:
            best, score = fault, fault.error * price
    return best


def split_point(box: Box, ratio: int, value: float, hint: Array | None) -> float:
    """Return where to split the interval of a ratio: at the best mix known or near `value`, at no end."""
    low, high = float(box.low[ratio]), float(box.high[ratio])
    if not (math.isfinite(low) and math.isfinite(high)):
        return _open_split(low, high, value)
    width = high - low
    if hint is not None and low + _MIDDLE * width < hint[ratio] < high - _MIDDLE * width:
        return float(hint[ratio])
    if not math.isfinite(value):  # a ratio of nothing to nothing
        return low + 0.5 * width
    return min(max(value, low + _EDGE * width), high - _EDGE * width)


def _open_split(low: float, high: float, value: float) -> float:
    """Return a point inside an interval open to one side or both, near its end: effects fade far off."""
    if math.isfinite(high):
        return max(value, high - 1.0) if value < high - _SETTLED else high - 0.5
    if math.isfinite(low):
        return min(value, low + 1.0) if value > low + _SETTLED else low + 0.5
    return value if math.isfinite(value) else 0.0


def _doses(relaxation: Relaxation, flags: Array, point: Array) -> list[int]:
    """Return the materials whose in-or-out is in between, worst first."""
    problem = relaxation.problem
    powder = max(float(point[relaxation.builder.form("powder")]), 1e-12)
    shares = {k: float(point[k]) / powder for k in problem.solids}
    used = [k for k in problem.solids if shares[k] > _USED]
    between: dict[int, float] = {}
    for k in used:
        least = problem.bounds[k].least
        short = min(shares[k], least - shares[k])
        if flags[k] == OPEN and short > 1e-6:
            between[k] = short
    cap = problem.job.at_most_materials
    if cap is not None and len(used) > cap:
        for k in used:
            if flags[k] == OPEN:
                between.setdefault(k, 1e-3 * (1.0 - shares[k]))
    return sorted(between, key=lambda k: -between[k])


def split(node: Node, box: Box, choice: Choice, bound: float, point: Array | None) -> Iterator[Node]:
    """Yield the parts of a node."""
    base = replace(node, bound=bound, box=box, point=point, depth=node.depth + 1)
    if choice.material is not None:
        for flag in (IN, OUT):
            flags = node.flags.copy()
            flags[choice.material] = flag
            yield replace(base, flags=flags)
    elif choice.ratio is not None:
        low, high = float(box.low[choice.ratio]), float(box.high[choice.ratio])
        yield replace(base, box=box.narrowed(choice.ratio, low, choice.at))
        yield replace(base, box=box.narrowed(choice.ratio, choice.at, high))


def widest(box: Box, root: Box) -> Choice:
    """Return a split of the interval that is widest beside its root range."""
    width = np.where(
        np.isfinite(root.high - root.low), (box.high - box.low) / np.maximum(root.high - root.low, 1e-12), 0.0
    )
    k = int(np.argmax(width))
    return Choice(ratio=k, at=0.5 * float(box.low[k] + box.high[k]))
