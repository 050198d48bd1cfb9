"""Why this answer: what each limit costs on both sides, near ties, and the single binders beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.descent import descend
from optimizer.engine.polish import Candidate
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.formulation import CHAIN_ROWS, RowLabel, backoff_vector, curved_rows, row_labels
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.solution import Alternative, LimitPrice

__all__ = [
    "STEPS",
    "alternatives",
    "blend_shares",
    "limit_prices",
    "moved",
    "price_switches",
    "single_binders",
]

Array = NDArray[np.float64]

STEPS: Mapping[str, float] = {
    "demold_time": 5.0,
    "working_window": 1.0,
    "dry_strength": 1.0,
    "wet_strength": 1.0,
    "flexural_strength": 0.5,
    "dry_mass": 5.0,
    "demolded_mass": 5.0,
    "whiteness": 1.0,
    "heat_margin": 1.0,
    "drying_time": 0.25,
    "casting_peak": 1.0,
    "outer_wall_temperature": 1.0,
    "inner_wall_temperature": 1.0,
    "absorption": 0.01,
    "porosity": 0.01,
    "crystalline_silica": 0.05,
    "sealer_coats": 1.0,
    "damp_risk": 1.0,
}
"""One step of a limit, as a caster would move it [the property's unit]; others move by 1 %."""

_RIVALS = 5
_MOST_RIVALS = 12
_MOST_BINDERS = 8
_CONFIRMATIONS = 4
_NEAR = 1e-3
_TIE = 0.02


def step_of(limit: Limit) -> float:
    """Return one step of a limit [its unit]."""
    return STEPS.get(limit.property, 0.01 * max(abs(limit.bound), 1e-6))


def moved(limit: Limit, steps: float) -> Limit:
    """Return the limit loosened by `steps` steps (tightened when negative)."""
    way = 1.0 if limit.sense == "<=" else -1.0
    return replace(limit, bound=limit.bound + way * steps * step_of(limit))


def limit_prices(
    problem: Problem, rivals: Sequence[Candidate], best: Candidate, shifts: Mapping[RowLabel, float]
) -> dict[Limit, LimitPrice]:
    """Return what one step of each limit does to the objective, each side solved again.

    A limit with slack costs nothing to loosen; tightened, it is solved again only if the step bites. The
    re-solves use the materials of the answer and of its nearest rivals, so a better set of materials beyond
    them may be missed: the change shown is then larger than the true one, never smaller in cost.
    """
    starts = list({(c.support, c.case.coats, c.case.turns): c for c in (best, *rivals)}.values())[:_RIVALS]
    out = {}
    for limit in problem.job.limits:
        sides: list[float | None] = []
        for steps in (1.0, -1.0):
            changed = _with_limit(problem, limit, moved(limit, steps))
            if steps > 0 and not _tight(problem, best, limit, shifts):
                sides.append(best.value)
            else:
                sides.append(_resolved(changed, starts, shifts))
        loosen, tighten = (None if side is None else _sign(problem) * (side - best.value) for side in sides)
        out[limit] = LimitPrice(step_of(limit), loosen, tighten)
    return out


def _sign(problem: Problem) -> float:
    return -1.0 if problem.job.maximize else 1.0


def _with_limit(problem: Problem, old: Limit, new: Limit) -> Problem:
    return problem.with_limits([new if limit == old else limit for limit in problem.job.limits])


def _tight(problem: Problem, best: Candidate, limit: Limit, shifts: Mapping[RowLabel, float]) -> bool:
    rows, _ = curved_rows(problem, best.case, best.mix[None, :])
    backoff = backoff_vector(problem, best.case, shifts)
    held = rows[0] if backoff is None else rows[0] - backoff
    labels = row_labels(problem, best.case)
    return any(
        label is not None and label.limit == limit and value < _NEAR
        for label, value in zip(labels, held, strict=True)
    )


def _resolved(
    problem: Problem, starts: Iterable[Candidate], shifts: Mapping[RowLabel, float]
) -> float | None:
    found = []
    for start in starts:
        backoff = backoff_vector(problem, start.case, shifts)
        again = _walked(problem, start, backoff)
        if again.feasible:
            found.append(again.value)
    return min(found, default=None)


def _walked(problem: Problem, start: Candidate, backoff: Array | None) -> Candidate:
    """Return the best blend of a candidate's case and materials under changed prices or limits."""
    own = [k for k in start.support if k in problem.solids]
    return descend(problem, start.case, own, start.mix, backoff, own)


def blend_shares(problem: Problem, mix: Array) -> tuple[dict[str, float], float]:
    """Return the share of the dry mass by material, and the water ratio, of a mix per liter."""
    dry = float(mix[:-1].sum())
    shares = {
        name: float(mass / dry) for name, mass in zip(problem.names, mix[:-1], strict=True) if mass > 1e-9
    }
    return shares, float(mix[-1] / dry)


def alternatives(
    problem: Problem, rivals: Iterable[Candidate], best: Candidate, most: int = 3
) -> tuple[Alternative, ...]:
    """Return blends of other materials within 2 % of the best, cheapest first, named by what they spare."""
    out: list[Alternative] = []
    seen = {best.support}
    for rival in rivals:
        near = abs(rival.value - best.value) <= _TIE * max(abs(best.value), 1e-9)
        if near and rival.support not in seen:
            seen.add(rival.support)
            blend, water = blend_shares(problem, rival.mix)
            out.append(Alternative(_spares(problem, best, rival), blend, water, _sign(problem) * rival.value))
        if len(out) == most:
            break
    return tuple(out)


def _spares(problem: Problem, best: Candidate, rival: Candidate) -> str:
    """Name what a near tie spares the shop: a bag to keep, the silica, or nothing in particular."""
    silica = problem.model.column("silica")
    words = []
    if len(rival.support) < len(best.support):
        words.append("fewer bags")
    if rival.mix @ silica <= 1e-3 * rival.mix[:-1].sum() < best.mix @ silica:
        words.append("no silica")
    return "near tie" + (f", {' and '.join(words)}" if words else "")


def price_switches(
    problem: Problem, rivals: Sequence[Candidate], best: Candidate, shifts: Mapping[RowLabel, float]
) -> dict[str, float]:
    """Return by how much the price of each used material may rise before another blend is cheaper [-].

    Shares of its present landed price; a material that no rival of the search displaces is left out. The
    switch is found on the mixes of the search as they are and confirmed by polishing both at that price.
    """
    if problem.job.objective != "cost":
        return {}
    scale = best.case.line.per_powder_money * problem.liters
    out = {}
    for k in best.support:
        money = scale * problem.prices[k]
        rises = [
            ((r.value - best.value) / (money * (best.mix[k] - r.mix[k])), r)
            for r in rivals[:_MOST_RIVALS]
            if best.mix[k] > r.mix[k] + 1e-6 and r.value >= best.value
        ]
        if rises:
            rise, rival = min(rises, key=lambda pair: pair[0])
            out[problem.names[k]] = _confirmed_rise(problem, k, float(rise), (best, rival), shifts)
    return out


def _confirmed_rise(
    problem: Problem,
    k: int,
    rise: float,
    pair: tuple[Candidate, Candidate],
    shifts: Mapping[RowLabel, float],
) -> float:
    """Return the rise at which the rival, solved again, is no dearer than the present materials."""
    name = problem.names[k]
    for _ in range(_CONFIRMATIONS):
        price = replace(problem.job.prices[name], price=problem.job.prices[name].price * (1.0 + rise))
        prices = {**problem.job.prices, name: price}
        dearer = replace(problem, job=replace(problem.job, prices=prices))
        ours, theirs = (_walked(dearer, x, backoff_vector(dearer, x.case, shifts)) for x in pair)
        if not ours.feasible or theirs.value <= ours.value * (1.0 + 1e-6):
            break
        rise = 1.15 * rise + 0.005
    return rise


def single_binders(
    problem: Problem, shifts: Mapping[RowLabel, float], scan: Scan | None = None
) -> tuple[Alternative, ...]:
    """Return for each binder the best mix without any other at the same limits, or what it fails.

    Fillers and pigments stay allowed: that is the mix a caster would make of one binder. Of many binders
    only the cheapest few by the kilogram are asked.
    """
    fillers = tuple(k for k in problem.solids if problem.materials[k].role != "binder")
    binders = [k for k in problem.solids if problem.materials[k].role == "binder"]
    cheapest = sorted(binders, key=lambda k: (np.nan_to_num(problem.prices[k], nan=np.inf), k))[
        :_MOST_BINDERS
    ]
    out = []
    for k in sorted(cheapest):
        found = Search(problem, shifts, only=(k, *fillers), scan=scan).run()
        if found is None:
            continue
        blend, water = blend_shares(problem, found.mix)
        fails = () if found.feasible else _failing(problem, found, shifts)
        value = _sign(problem) * found.value if found.feasible else None
        out.append(Alternative(f"{problem.materials[k].label} alone", blend, water, value, fails))
    return tuple(out)


def _failing(problem: Problem, found: Candidate, shifts: Mapping[RowLabel, float]) -> tuple[str, ...]:
    rows, _ = curved_rows(problem, found.case, found.mix[None, :])
    backoff = backoff_vector(problem, found.case, shifts)
    held = rows[0] if backoff is None else rows[0] - backoff
    labels = row_labels(problem, found.case)
    broken = [
        label.limit.property
        for label, value in zip(labels[CHAIN_ROWS:], held[CHAIN_ROWS:], strict=True)
        if label is not None and value < -1e-6
    ]
    return tuple(dict.fromkeys(broken)) or ("the mix itself",)
