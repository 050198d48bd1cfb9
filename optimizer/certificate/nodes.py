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

__all__ = ["IN", "OPEN", "OUT", "Choice", "Node", "choose", "split", "widest", "worst_fault"]

Array = NDArray[np.float64]

OUT, IN, OPEN = 0, 1, -1

_USED = 1e-7
_SETTLED = 1e-6
_IDLE_PRICE = 0.02
_DOSE_WEIGHT = 1.0
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
    """What to split: a ratio at a value, or a material into in and out; nothing left when both are None."""

    ratio: int | None = None
    material: int | None = None
    at: float = math.nan
    error: float = 0.0


def worst_fault(relaxation: Relaxation, box: Box, point: Array, duals: Array) -> Fault | None:
    """Return the fault that holds the bound back most at the point of a relaxation, or None."""
    faults = [fault for term in relaxation.terms for fault in term.faults(box, point)]
    return _worst(faults, duals, max(float(point[relaxation.builder.form("hydrates")]), 1e-9))


def choose(
    relaxation: Relaxation, node: Node, box: Box, point: Array, duals: Array, hint: Array | None
) -> Choice:
    """Return what to split at the point of a relaxation.

    Parameters
    ----------
    relaxation, node, box
        Where we are.
    point, duals
        Point and multipliers of the relaxation.
    hint
        Ratios of the best mix known, or None.
    """
    hydrates = max(float(point[relaxation.builder.form("hydrates")]), 1e-9)
    faults = [fault for term in relaxation.terms for fault in term.faults(box, point)]
    worst = _worst(faults, duals, hydrates)
    error = 0.0 if worst is None else worst.error / hydrates
    total_error = sum(fault.error for fault in faults) / hydrates
    material, violation = _dose(relaxation, node.flags, point)
    if material is not None and (worst is None or _DOSE_WEIGHT * violation > error or error < _SETTLED):
        return Choice(material=material, error=total_error)
    if worst is None or error < _SETTLED:
        return Choice(error=total_error)
    ratio = worst.ratio()
    value = relaxation.builder.layout.ratios[ratio].of(point)
    return Choice(ratio, None, _split_point(box, ratio, value, hint), total_error)


def _worst(faults: list[Fault], duals: Array, hydrates: float) -> Fault | None:
    """Return the fault that holds the bound back most: error times the price of its rows.

    Rows without a price still hide limits that are missed: their errors count at a small one.
    """
    best, score = None, 0.0
    for fault in faults:
        if fault.error < _SETTLED * hydrates:
            continue
        price = max((abs(float(duals[row])) for row in fault.rows), default=0.0)
        price = max(price, _IDLE_PRICE if fault.free else 0.0)
        if fault.error * price > score:
            best, score = fault, fault.error * price
    return best


def _split_point(box: Box, ratio: int, value: float, hint: Array | None) -> float:
    low, high = float(box.low[ratio]), float(box.high[ratio])
    if not math.isfinite(value):
        value = 0.0
    if not (math.isfinite(low) and math.isfinite(high)):
        return _open_split(low, high, value)
    width = high - low
    if hint is not None and low + _MIDDLE * width < hint[ratio] < high - _MIDDLE * width:
        return float(hint[ratio])
    return min(max(value, low + _EDGE * width), high - _EDGE * width)


def _open_split(low: float, high: float, value: float) -> float:
    """Return a point inside an interval open to one side or both."""
    if math.isfinite(low) and value < low + _SETTLED:
        return low + 0.5
    if math.isfinite(high) and value > high - _SETTLED:
        return high - 0.5
    return value


def _dose(relaxation: Relaxation, flags: Array, point: Array) -> tuple[int | None, float]:
    """Return the material whose in-or-out is worst in between, and by how much of the powder."""
    problem = relaxation.problem
    powder = max(float(point[relaxation.builder.form("powder")]), 1e-12)
    shares = {k: float(point[k]) / powder for k in problem.solids}
    used = [k for k in problem.solids if shares[k] > _USED]
    best, worst = None, 1e-6
    for k in used:
        least = problem.bounds[k].least
        if flags[k] == OPEN and min(shares[k], least - shares[k]) > worst:
            best, worst = k, min(shares[k], least - shares[k])
    cap = problem.job.at_most_materials
    if cap is not None and len(used) > cap:
        ranked = sorted(used, key=lambda k: -shares[k])
        beyond = sum(shares[k] for k in ranked[cap:])
        still_open = [k for k in ranked if flags[k] == OPEN]
        if beyond > worst and still_open:
            best, worst = still_open[-1], beyond
    return best, worst


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
