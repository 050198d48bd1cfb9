"""The verdict on a blend as the page says it first: how sure, at what cost, what is open, what is unsure."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from optimizer.materials import Catalogue
from optimizer.nomenclature import quantity
from optimizer.solution import (
    BURN_FIRST,
    NOT_SURE,
    WITH_ITS_CHANCE,
    LimitVerdict,
    Prediction,
    Solution,
    TrialWorth,
)
from optimizer.units import System, odds_words
from ui.answer_text import least_sure_first
from ui.drawings import DOTS, LimitLine, dots_held
from ui.page_words import spoken_bound
from ui.words import blend_words, chance_words, judged_words, money, value_words, verdict_words

_SAME = 1e-3
"""Largest difference of two mixes that count as one [kg/L]."""


def headline(solution: Solution) -> str:
    """Return the verdict on all limits together as one short sentence."""
    if not solution.limits:
        return "No limit is set: the cheapest blend of all"
    held = f"ll limits hold in {dots_held(solution.joint_probability or 0.0)} of {DOTS} casts"
    return f"A{held}" if sure_enough(solution) else f"Not sure enough: a{held}"


def sure_enough(solution: Solution) -> bool:
    """Tell whether all limits hold together with the chance that was asked for, or there are none."""
    return not solution.limits or (solution.joint_probability or 0.0) >= solution.job.confidence


def sure_words(solution: Solution) -> str:
    """Return the chance as a number, what was asked, and which limit takes most of it."""
    if not solution.limits:
        return ""
    asked = f"{100.0 * solution.job.confidence:.0f} %"
    chance = odds_words(solution.joint_probability or 0.0)
    if solution.status == NOT_SURE:
        return f"{chance}; no blend found is as sure as the {asked} asked for."
    told = "as sure as the" if sure_enough(solution) else "less than the"
    return f"{chance}: {told} {asked} asked for."


def open_words(solution: Solution) -> str:
    """Return what the chance leaves out; empty where nothing is open."""
    names = [quantity(v.limit.property).label for v in solution.limits if v.judged == BURN_FIRST]
    return f"Heat is open ({', '.join(names)}): burn one first." if names else ""


def least_sure(solution: Solution) -> LimitVerdict | None:
    """Return the limit least likely to hold; one that is not judged only where no other is."""
    return min(solution.limits, key=least_sure_first, default=None)


def least_sure_words(solution: Solution, units: System) -> str:
    """Return the limit least likely to hold, with its value and its chance."""
    worst = least_sure(solution)
    if worst is None:
        return "no limit"
    told = chance_words(worst) if worst.judged == WITH_ITS_CHANCE else worst.judged
    return f"{quantity(worst.limit.property).label} {verdict_words(worst, units)} ({told})"


DEMO_GONE: Final = (
    "The demo's invented casts no longer count: answers may be less sure until more of your own do."
)
"""What goes with figures fitted to own trials, in a job that had those fitted to the demo's casts."""


def rests_on(trials: int, *, invented: bool) -> str:
    """Return what the figures rest on: how many trials, and whether these are the demo's invented ones.

    Examples
    --------
    >>> rests_on(0, invented=False), rests_on(1, invented=False)
    ('Rests on shipped figures, no trial of yours.', 'Rests on one trial of yours.')
    >>> rests_on(6, invented=True)
    "Rests on the demo's 6 invented casts."
    """
    if not trials:
        return "Rests on shipped figures, no trial of yours."
    if invented:
        return f"Rests on the demo's {trials} invented casts."
    return f"Rests on {trials} of your trials." if trials > 1 else "Rests on one trial of yours."


def worth_words(worth: TrialWorth, solution: Solution, catalogue: Catalogue) -> str:
    """Return a blend that is worth a trial, its cost if it holds, and when the trial pays."""
    currency, mix = solution.job.currency, solution.mix
    same = mix is not None and math.dist(worth.mix, mix.per_liter) < _SAME
    blend = "this very blend" if same else blend_words(worth.blend, catalogue)
    cost, spent = money(worth.cost_if_it_holds, currency), money(worth.trial_cost, currency)
    return (
        f"{blend}: {cost} if it holds ({odds_words(worth.chance)}); a trial costs about {spent} and pays "
        f"from {worth.pays_from_vessels:,.0f} vessels."
    )


def span_of(solution: Solution) -> str:
    """Return where nine of ten costs lie; empty where no cost is known."""
    if solution.expected is None or solution.cost is None:
        return ""
    low, high = (money(end, "").strip() for end in (solution.expected.low, solution.expected.high))
    return "hardly moves" if low == high else f"9 of 10 between {low} and {high}"


def limit_lines(solution: Solution, units: System, marks: dict[str, str]) -> list[LimitLine]:
    """Return the lines of the limits, least sure first; `marks` says by property whose figure it is."""
    ordered = sorted(solution.limits, key=least_sure_first)
    most = None if sure_enough(solution) else solution.decisive
    return [
        replace(
            _line(each, solution.properties.get(each.limit.property), units, marks),
            takes_most=each.limit == most,
        )
        for each in ordered
    ]


def _line(verdict: LimitVerdict, known: Prediction | None, units: System, marks: dict[str, str]) -> LimitLine:
    limit = verdict.limit
    judged = verdict.judged == WITH_ITS_CHANCE
    span = _ends(verdict, known, units)
    mark = marks.get(limit.property, "")
    return LimitLine(
        name=quantity(limit.property).label,
        bound=spoken_bound(limit, units),
        chance=verdict.probability,
        told=chance_words(verdict) if judged else "open",
        span=f"{mark} {span}".strip(),
        verdict=judged_words(verdict),
        fails_low=limit.sense == ">=",
        judged=judged,
    )


def _ends(verdict: LimitVerdict, known: Prediction | None, units: System) -> str:
    """Return low end, best value and high end, the unit once at the end."""
    best = verdict_words(verdict, units)
    if known is None:
        return best
    low, high = (value_words(verdict.limit.property, end, units) for end in (known.low, known.high))
    if low == high:
        return best
    unit = high.partition(" ")[2]
    low, best = (each.removesuffix(f" {unit}") if unit else each for each in (low, best))
    return f"{low} … {best} … {high}"
