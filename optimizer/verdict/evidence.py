"""What a prediction rests on, in one word a caster can act on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np

from optimizer.chain.anchors import DISAGREEMENT, family_gap
from optimizer.chain.predict import Cast
from optimizer.materials import Catalogue
from optimizer.problem import Problem

__all__ = ["EVIDENCE", "cement_notes", "evidence_of", "evidences"]

EVIDENCE: Final[dict[str, str]] = {
    "anchored": "a single binder near its own reference mix",
    "calibrated": "fitted to your own trials or burn test",
    "prior": "shipped figures, no trial of yours behind it",
    "extrapolated": "gypsum and cement mixed where nobody has published measurements",
}
"""The words and what they mean."""

_BLEND_PROPERTIES: Final = frozenset(
    {
        "wet_strength",
        "dry_strength",
        "flexural_strength",
        "working_window",
        "demold_time",
        "drying_time",
        "damp_risk",
    }
)
_HEAT_IN_USE: Final = frozenset({"outer_wall_temperature", "inner_wall_temperature", "heat_margin"})
_UNKNOWN_SHARE: Final = (0.30, 0.95)
"""Hemihydrate over hemihydrate plus cement without sand, by mass, for which no series is published [-]."""


def evidence_of(problem: Problem, cast: Cast, name: str) -> str:
    """Return the evidence word of property `name` for the one mix of `cast`."""
    return evidences(problem, cast, (name,))[name]


def evidences(problem: Problem, cast: Cast, names: Iterable[str]) -> dict[str, str]:
    """Return the evidence word of each property of `names` for the one mix of `cast`."""
    plain = "anchored" if _pure(problem, cast) else "prior"
    blend, heat = _blend_word(problem, cast, plain), _heat_word(problem)
    return {
        name: blend if name in _BLEND_PROPERTIES else heat if name in _HEAT_IN_USE else plain
        for name in names
    }


def _blend_word(problem: Problem, cast: Cast, plain: str) -> str:
    if _trials_behind(problem, cast):
        return "calibrated"
    known = not _UNKNOWN_SHARE[0] <= hemihydrate_share(problem, cast) <= _UNKNOWN_SHARE[1]
    return plain if known else "extrapolated"


def _heat_word(problem: Problem) -> str:
    """No binder's reference mix says anything of a flame: only a burn test does, stated or logged."""
    candle = problem.job.candle
    stated = candle is not None and candle.measured_outer is not None
    return "calibrated" if stated or problem.parameters.origin.get("flame_share", 0) else "prior"


def hemihydrate_share(problem: Problem, cast: Cast) -> float:
    """Return hemihydrate binders over all binders, sand left out, by mass [-]."""
    masses = cast.mixes[0, :-1] * problem.model.column("binder")[:-1]
    gypsum = sum(m for m, kind in zip(masses, problem.model.kinds, strict=True) if kind == "gypsum")
    return float(gypsum / max(float(masses.sum()), 1e-9))


def _trials_behind(problem: Problem, cast: Cast) -> int:
    """Return how many trials stand behind the least known of what the blend rests on.

    That is each of its binders and, where gypsum and cement meet, the law of mixing them.
    """
    origin = problem.parameters.origin
    used = [problem.materials[k] for k in np.flatnonzero(cast.mixes[0, :-1] > 1e-9)]
    binders = [material for material in used if material.role == "binder"]
    counts = [
        max(origin.get(f"{binder.name}.{factor}", 0) for factor in ("strength", "set_time"))
        for binder in binders
    ]
    if len({binder.kind for binder in binders}) > 1:
        counts.append(origin.get("gamma", 0))
    return min(counts, default=0)


def _pure(problem: Problem, cast: Cast) -> bool:
    """Return True for one binder alone within a tenth of its reference water."""
    masses = cast.mixes[0, :-1]
    used = np.flatnonzero(masses > 1e-3 * masses.sum())
    if len(used) != 1:
        return False
    material = problem.materials[used[0]]
    ratio = cast.mixes[0, -1] / masses[used[0]]
    return any(abs(ratio / p.water_ratio - 1.0) < 0.1 for p in material.reference_points)


def cement_notes(catalogue: Catalogue, names: Iterable[str]) -> tuple[str, ...]:
    """Return a sentence for each material whose points disagree with the cement it names by over 30 %."""
    out = []
    for name in names:
        gap = family_gap(catalogue, name)
        if abs(gap) > DISAGREEMENT:
            lender = catalogue[catalogue[name].cement].label
            share, side = f"{abs(np.expm1(gap)):.0%}", "above" if gap > 0.0 else "below"
            out.append(
                f"The strengths stated for {catalogue[name].label} put its paste {share} {side} {lender}."
            )
    return tuple(out)
