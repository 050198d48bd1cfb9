"""Answers in the words of the trade: values with their ranges, limits, blends, money by part.

Shared by command line, card and page, so that one answer reads alike everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from optimizer.job import DAMP_CLASSES, Limit
from optimizer.materials import Catalogue
from optimizer.nomenclature import CAUTIONS, quantity
from optimizer.solution import (
    BURN_FIRST,
    NO_PRICE,
    NOT_SURE,
    WITH_ITS_CHANCE,
    LimitVerdict,
    Prediction,
    Solution,
)
from optimizer.units import System, convert, display_value, odds_words, show, show_amount, significant
from optimizer.verdict.assess import HOLDS, UNCERTAIN
from ui.unit_text import prose_in

COST_GROUPS: Final[Mapping[str, tuple[str, ...]]] = {
    "labor": ("casting_labor", "sealing_labor", "packing_labor"),
    "powder and water": ("powder", "admixture", "water", "waste"),
    "molds": ("molds",),
    "sealer": ("sealer",),
    "drying rack": ("shelf",),
    "scrap": ("casting_rejects", "finishing_rejects"),
    "packing": ("packing",),
    "shipping": ("shipping",),
}
"""Words for the parts of a vessel's cost, and the parts they hold."""

_OUNCES: Final = 16
"""Ounces of a pound (NIST SP 811)."""

_MOST_DIGITS: Final = 6
_WHOLE_PERCENT: Final = 0.0195
"""Shares from here on are told in whole percents [fraction]."""

_SAME_COST: Final = 0.01
"""Costs closer than this share are not told apart [-]."""

_EXACT: Final = 1e-9
_TYPED_DECIMALS: Final = 3
"""Decimals a caster types at most; a bound that needs more was typed in another unit."""


def money(amount: float, currency: str) -> str:
    """Return money in whole cents.

    Examples
    --------
    >>> money(3.408, "EUR"), money(-0.004, "EUR")
    ('3.41 EUR', '0.00 EUR')
    """
    return f"{round(amount, 2) + 0.0:.2f} {currency}"


def saving_words(old: float, new: float, currency: str) -> str:
    """Return what a vessel of cost `new` saves against one of cost `old`, from the cents as printed.

    Parameters
    ----------
    old, new : float
        What one good vessel costs with each blend [currency].

    Examples
    --------
    >>> saving_words(7.614, 6.706, "EUR"), saving_words(7.25, 7.354, "EUR")
    ('saves 0.90 EUR (11.8 %)', 'costs 0.10 EUR (1.4 %) more')

    Costs within 1 % of each other are not told apart.

    >>> saving_words(7.60, 7.63, "EUR")
    'costs about the same, within 1 %'
    """
    saved = round(old, 2) - round(new, 2)
    share = abs(saved) / old if old > 0.0 else 0.0
    if share < _SAME_COST:
        return "costs about the same, within 1 %"
    size = f"{money(abs(saved), currency)} ({100.0 * share:.1f} %)"
    return f"saves {size}" if saved > 0.0 else f"costs {size} more"


def money_parts(parts: Mapping[str, float]) -> dict[str, str]:
    """Return amounts in whole cents that add up to the cents of their sum, by largest remainder.

    Examples
    --------
    >>> money_parts({"labor": 1.334, "powder": 1.333, "molds": 1.333})
    {'labor': '1.34', 'powder': '1.33', 'molds': '1.33'}
    """
    cents = {name: 100.0 * amount for name, amount in parts.items()}
    whole = {name: math.floor(amount + _EXACT) for name, amount in cents.items()}
    left = round(100.0 * round(math.fsum(parts.values()), 2)) - sum(whole.values())
    for name in sorted(cents, key=lambda each: whole[each] - cents[each])[:left]:
        whole[name] += 1
    return {name: f"{amount / 100.0:.2f}" for name, amount in whole.items()}


def cost_groups(parts: Mapping[str, float]) -> dict[str, float]:
    """Return the parts of a vessel's cost in the groups of `COST_GROUPS`, dearest first, none empty."""
    sums = {name: math.fsum(parts.get(part, 0.0) for part in group) for name, group in COST_GROUPS.items()}
    return {name: sums[name] for name in sorted(sums, key=lambda n: -sums[n]) if sums[name] > _EXACT}


CAST_FIRST: Final = ("extrapolated", "stays_soft")
"""Cautions that ask for one casting before any order, by key of `optimizer.nomenclature.CAUTIONS`."""


def caution_words(key: str, units: System = "metric") -> str:
    """Return a caution as text, its temperatures in the units shown.

    Examples
    --------
    >>> caution_words("bucket_heat", "us")[:50]
    'In the mold this mix likely stays below 118 °F whi'
    """
    return prose_in(CAUTIONS[key], units)


def uncounted_words(solution: Solution) -> str:
    """Return why the cost of a blend is not counted; empty where it is."""
    if solution.mix is None or solution.cost is not None:
        return ""
    bare = [name for name in solution.mix.blend if name not in solution.job.prices]
    if bare:
        return f"{', '.join(bare)} {'has' if len(bare) == 1 else 'have'} no price in the job"
    target = 100.0 * solution.job.shop.target_absorption
    return f"no number of coats brings the absorption down to the {target:g} % of target_absorption"


def grams_words(mass: float, step: float, units: System = "metric") -> str:
    """Return a mass as the scale shows it; with US units ounces stand beside.

    Examples
    --------
    >>> grams_words(163.2, 1.0), grams_words(0.43, 0.1, "us")
    ('163 g', '0.4 g (0.0141 oz)')
    """
    decimals = max(0, -math.floor(math.log10(step) + _EXACT))
    rounded = round(round(mass / step) * step, decimals)
    grams = f"{rounded:.{decimals}f} g"
    return f"{grams} ({ounces_words(rounded)})" if units == "us" else grams


def ounces_words(grams: float) -> str:
    """Return a mass in whole pounds and ounces, as a US scale shows it.

    Examples
    --------
    >>> ounces_words(1853.0), ounces_words(286.0), ounces_words(0.4), ounces_words(907.0)
    ('4 lb 1.4 oz', '10.1 oz', '0.0141 oz', '2 lb 0.0 oz')
    """
    ounces = convert(grams, "g", "oz")
    tenths = round(10.0 * ounces)
    if tenths < 10 * _OUNCES:
        return show_amount(grams, "g", 3, "us")
    return f"{tenths // (10 * _OUNCES)} lb {tenths % (10 * _OUNCES) / 10.0:.1f} oz"


def pack_words(kilograms: float, units: System) -> str:
    """Return the mass of a pack in the units shown, without digits nobody typed.

    Examples
    --------
    >>> pack_words(25.0, "metric"), pack_words(22.6796185, "us")
    ('25 kg', '50 lb')
    """
    number, _, unit = show_amount(kilograms, "kg", 3, units).partition(" ")
    return f"{float(number):g} {unit}"


def value_words(name: str, value: float, units: System = "metric") -> str:
    """Return a property's value with its unit; a class is its word."""
    if name == "damp_risk":
        return DAMP_CLASSES[int(value)]
    return show(value, name, units)


def range_words(name: str, prediction: Prediction, units: System = "metric") -> str:
    """Return where a property likely lies (5 % to 95 %), such as ``about 18-24 MPa``; empty when exact.

    Examples
    --------
    >>> range_words("dry_strength", Prediction(21.0, 17.6, 24.2, "MPa", "prior", "rank"))
    'about 18-24 MPa'
    """
    low, high = (value_words(name, each, units) for each in (prediction.low, prediction.high))
    return "" if low == high else f"about {span_words(low, high)}"


def span_words(low: str, high: str) -> str:
    """Return two values with their units as one span, the unit once where it is the same.

    Examples
    --------
    >>> span_words("18 MPa", "24 MPa"), span_words("-3 K", "5 K"), span_words("2 d", "never")
    ('18-24 MPa', '-3 to 5 K', '2 d to never')
    """
    number, _, unit = low.partition(" ")
    _, _, other_unit = high.partition(" ")
    if unit != other_unit or not number[-1].isdigit():
        return f"{low} to {high}"
    return f"{number} to {high}" if number.startswith("-") else f"{number}-{high}"


def seen_words(verdict: LimitVerdict, prediction: Prediction | None, units: System = "metric") -> str:
    """Return the value a limit was judged by with its likely range, such as ``21 MPa (about 18-24)``."""
    shown = verdict_words(verdict, units)
    span = range_words(verdict.limit.property, prediction, units) if prediction else ""
    unit = shown.partition(" ")[2]
    return f"{shown} ({span.removesuffix(f' {unit}')})" if span else shown


def bound_words(limit: Limit, units: System = "metric") -> str:
    """Return the bound as one would type it, in the units shown.

    A figure typed in these units comes back as it was typed; one typed in others is rounded.

    Examples
    --------
    >>> bound_words(Limit("dry_mass", "<=", 365.25)), bound_words(Limit("dry_mass", "<=", 368.5437758125))
    ('<= 365.25 g', '<= 368.5 g')

    Money is told in whole cents, none of which shuts out what the bound lets in.

    >>> bound_words(Limit("cost", "<=", 8.1)), bound_words(Limit("cost", "<=", 8.631))
    ('<= 8.10', '<= 8.64')
    """
    if limit.property == "damp_risk":
        return f"{limit.sense} {DAMP_CLASSES[int(limit.bound)]}"
    number, unit = display_value(limit.bound, limit.property, units)
    if limit.property == "cost":
        return f"{limit.sense} {_whole_cents(number, upward=limit.sense == '<=')}"
    typed = abs(number - round(number, _TYPED_DECIMALS)) <= _EXACT * max(abs(number), 1.0)
    digits = round(number, _TYPED_DECIMALS) if typed else float(significant(number, 4))
    return f"{limit.sense} {digits:.6g} {unit}".strip()


def _whole_cents(amount: float, *, upward: bool) -> str:
    cents = 100.0 * amount
    return f"{(math.ceil(cents - _EXACT) if upward else math.floor(cents + _EXACT)) / 100.0:.2f}"


def verdict_words(verdict: LimitVerdict, units: System = "metric") -> str:
    """Return the value a limit was judged by, with as many digits as the verdict needs to be seen.

    Examples
    --------
    A demold time of 60.3 min that fails 60 min is not shown as 60 min.

    >>> late = LimitVerdict(Limit("demold_time", "<=", 60.0), "min", 60.3, -0.3, 0.48, "fails")
    >>> verdict_words(late)
    '60.3 min'
    """
    name = verdict.limit.property
    if name == "damp_risk" or not math.isfinite(verdict.value):
        return value_words(name, verdict.value, units)
    number, unit = display_value(verdict.value, name, units)
    bound, _ = display_value(verdict.limit.bound, name, units)
    met = verdict.limit.margin(verdict.value) >= 0.0
    shown = show(verdict.value, name, units)
    for digits in range(quantity(name).digits, _MOST_DIGITS):
        seen = float(shown.split(" ")[0])
        side = seen <= bound if verdict.limit.sense == "<=" else seen >= bound
        if side == met or abs(number - bound) < 1e-6 * max(abs(bound), 1.0):
            break
        shown = f"{significant(number, digits + 1)} {unit}".strip()
    return shown


def chance_words(verdict: LimitVerdict) -> str:
    """Return the chance that a limit holds.

    Examples
    --------
    >>> chance_words(LimitVerdict(Limit("dry_mass", "<=", 365.0), "g", 340.0, 25.0, 0.9991, "holds"))
    'over 99 %'
    """
    if verdict.judged == NO_PRICE:
        return "-"
    return odds_words(verdict.probability)


def together_words(solution: Solution) -> str:
    """Return how surely all limits hold together, and that heat which nobody has measured is left out."""
    left_open = any(verdict.judged == BURN_FIRST for verdict in solution.limits)
    chance = odds_words(solution.joint_probability or 0.0)
    return f"all limits hold together with {chance}{', heat left open' if left_open else ''}"


def chance_sentence(solution: Solution) -> str:
    """Return how surely all limits of a blend hold together, with the verdict on it.

    That of a design is the one a check of the same blend gives.
    """
    if not solution.limits:
        return "No limits to judge by"
    told = f"A{together_words(solution)[1:]}"
    word = solution.verdict
    if solution.status == NOT_SURE and word == HOLDS:  # as sure as asked, but not as a scale can weigh it
        word = UNCERTAIN
    asked = "" if word == HOLDS else f", {100.0 * solution.job.confidence:.0f} % asked"
    return f"{told}: {word}{asked}"


def judged_words(verdict: LimitVerdict) -> str:
    """Return the verdict on a limit, or why it is not judged yet.

    Examples
    --------
    >>> judged_words(LimitVerdict(Limit("dry_mass", "<=", 380.0), "g", 379.9, 0.1, 0.52, "uncertain"))
    'uncertain'
    """
    return verdict.verdict if verdict.judged == WITH_ITS_CHANCE else verdict.judged


def blend_words(blend: Mapping[str, float], catalogue: Catalogue) -> str:
    """Return a blend as percentages of its materials, largest first.

    Examples
    --------
    >>> from optimizer.specs import load_catalogue
    >>> blend_words({"marble_flour": 0.382, "gypsum_cement": 0.618}, load_catalogue())
    '62 % gypsum cement, 38 % marble flour'
    """
    shares = share_words(blend)
    names = sorted(blend, key=lambda name: -blend[name])
    return ", ".join(f"{shares[name]} {label_of(name, catalogue)}" for name in names)


def label_of(name: str, catalogue: Catalogue) -> str:
    """Return the short label of a material, or of water."""
    return "water" if name == "water" else catalogue[name].short_label


def share_words(blend: Mapping[str, float]) -> dict[str, str]:
    """Return the shares of a blend as percentages that add up as the shares do.

    Whole percents are handed out by largest remainder; shares below two percent keep digits of their own.

    Examples
    --------
    >>> share_words({"a": 0.334, "b": 0.333, "c": 0.333})
    {'a': '34 %', 'b': '33 %', 'c': '33 %'}
    >>> share_words({"a": 0.5966, "b": 0.3984, "c": 0.005})
    {'a': '60 %', 'b': '40 %', 'c': '0.50 %'}
    """
    large = {name: 100.0 * share for name, share in blend.items() if share >= _WHOLE_PERCENT}
    whole = {name: math.floor(share) for name, share in large.items()}
    left = round(math.fsum(large.values())) - sum(whole.values())
    for name in sorted(large, key=lambda each: whole[each] - large[each])[:left]:
        whole[name] += 1
    return {name: f"{whole[name]} %" if name in whole else percent_words(blend[name]) for name in blend}


def percent_words(share: float) -> str:
    """Return a share as a percentage that can be weighed.

    Examples
    --------
    >>> percent_words(0.6318), percent_words(0.0125)
    ('63 %', '1.2 %')
    """
    if share >= _WHOLE_PERCENT:
        return f"{100.0 * share:.0f} %"
    return f"{significant(100.0 * share, 2)} %"
