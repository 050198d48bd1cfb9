"""The text of an order: in time or not, with which molds, what to buy, day by day, and the other blends."""

from __future__ import annotations

import datetime
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from optimizer.job import Shop
from optimizer.materials import Catalogue
from optimizer.money.capacity import GOOD_ENOUGH
from optimizer.money.lateness_options import Change, Remedy
from optimizer.money.order import OrderPlan
from optimizer.money.purchase import Leftover
from optimizer.money.schedule import DayPlan
from optimizer.solution import Solution
from optimizer.studies.check import weighing_order, weighing_step
from optimizer.studies.order_blends import OrderAnswer
from optimizer.units import System, odds_words
from ui.answer_text import EXAMPLE_PRICES
from ui.card import CARD_CAUTIONS
from ui.ranking_text import day_words, ranking_blocks, timely
from ui.terminal import Block, heading, indented, sentence, table
from ui.words import blend_words, cost_groups, grams_words, label_of, money, pack_words

BOTTLENECKS: Final = {
    "molds": "the molds: every one is filled as often as a shift allows",
    "labor": "labor: casting, sealing and packing take the whole shift",
    "mixer": "the mixes of a day",
    "shelf": "the places on the drying rack",
    "drying": "drying: the last castings wait longer to dry than all the casting takes",
}
"""What holds an order back, in words, by `optimizer.money.capacity.RESOURCES`."""

_CHANGES: Final = {
    "molds": "molds",
    "shift": "shift",
    "people": "people",
    "shelf_places": "places on the drying rack",
    "working_days": "working days a week",
    "demold_time": "demold time of the blend",
}
_MOST_DAYS: Final = 45
"""Rows of a plan beyond which it is told by weeks."""

_MINUTES: Final = ("shift", "demold_time")


def order_blocks(
    answer: OrderAnswer, catalogue: Catalogue, units: System, hastened: Sequence[Block] = ()
) -> Iterator[Block]:
    """Give the text of an order that some blend can make; `hastened`: what would make its blend surer."""
    request, best = answer.request, answer.plan
    dates = f"by {day_words(request.due)}, casting from {day_words(request.start)}"
    owned = f"{counted(request.shop.molds, 'mold')} owned"
    yield sentence(f"{counted(request.vessels, 'vessel')} {dates}, {owned}", "bold")
    yield sentence(plan_words(best, request.shop.molds))
    yield from map(sentence, first_words(answer, best))
    yield from hastened
    yield from _blend(answer, best, catalogue, units)
    yield from _held_back(best, answer)
    yield from _remedies(best, answer)
    yield from _buying(answer, best, catalogue, units)
    yield from _money(answer, best)
    if best.schedule and best.schedule.days:
        yield heading("Day by day")
        heads = ("day", "cast", "seal", "pack", "on shelf", "work", "held back by")
        rows = [_day_row(day) for day in best.schedule.days if _busy(day)]
        if len(rows) > _MOST_DAYS:
            yield sentence(
                "Weeks or fours of weeks by their first day, shelf at its fullest; --json has every day.",
                indent=2,
            )
            rows = [_week_row(days) for days in _weeks(best.schedule.days)]
        yield table(heads, rows, right=range(1, 6))
        if not request.shop.holidays:
            yield sentence("No holidays are stated: add them to the job, holidays = [2026-12-25].", indent=2)
    yield from ranking_blocks(answer, catalogue)
    yield from _cautions(answer.solutions[best.candidate.name])


def first_words(answer: OrderAnswer, plan: OrderPlan) -> Iterator[str]:
    """Give what to know before an order is promised: how sure, the trial, the range of the ready date."""
    solution = answer.solutions[plan.candidate.name]
    if solution.limits:
        chance, asked = odds_words(plan.candidate.chance or 0.0), f"{100.0 * solution.job.confidence:.0f} %"
        sure = f"All limits hold together with {chance}; {asked} was asked for."
        yield sure if plan.candidate.sure else f"{sure} Promise nothing on this blend before a trial."
    if plan.trial is not None:
        yield (
            f"Never cast, so a trial first: cast one on {day_words(plan.trial)}, dry, seal and burn it; cast "
            f"the order from {day_words(plan.request.start)} if it does well."
        )
    if plan.ready is not None:
        early, late = plan.ready_range
        if early != late:
            yield (
                f"Ready between {day_words(early)} and {day_words(late)} in nine of ten orders: times, coats "
                "of sealer and scrap are not known better."
            )
    first = answer.ranked[0].plan.candidate.name
    if first != plan.candidate.name:
        yield f"This plans the {plan.candidate.name}; ranked first for this order: {first}."


def plan_words(plan: OrderPlan, owned: int) -> str:
    """Return whether a plan is in time, when it is ready, with how many molds and with those owned alone."""
    if plan.ready is None:
        return _never_words(plan)
    molds = f"with {counted(plan.molds_at_work, 'mold')} at work{_bought_words(plan, owned)}"
    alone = f" With the {counted(owned, 'mold')} owned alone: {day_words(plan.ready_owned)}." if owned else ""
    if plan.meets_date:
        more = alone if plan.molds_at_work > owned else ""
        return f"{timely(plan)}: ready on {day_words(plan.ready)} {molds}.{more}"
    if owned and plan.molds_at_work == owned:
        alone = ""
        molds = f"with the {counted(owned, 'mold')} owned alone{_bought_words(plan, owned)}"
    early = plan.earliest and plan.ready_owned and plan.earliest < plan.ready_owned
    if not early:
        return f"Late: ready on {day_words(plan.ready)} {molds}. No number of molds makes it earlier."
    sooner = f" Earliest with {plan.earliest_molds} molds: {day_words(plan.earliest)}."
    return f"Late: ready on {day_words(plan.ready)} {molds}.{alone}{sooner}"


def _never_words(plan: OrderPlan) -> str:
    if not plan.turns:
        return "This order cannot be made: no casting leaves its mold within a working day."
    if not plan.most_vessels:
        return "This order cannot be made: molds, mixer, shelf or hands do not give one casting a day."
    most = f"{plan.most_vessels:,} vessels"
    return (
        f"This order takes more than ten years, the longest plan: split it; {most} can be made in that time."
    )


def _bought_words(plan: OrderPlan, owned: int) -> str:
    """Return how many molds to buy, those in place of worn ones apart."""
    if not plan.molds_to_buy:
        return ""
    worn = plan.molds_to_buy - max(0, plan.molds_at_work - owned)
    if worn <= 0:
        return f", {plan.molds_to_buy} of them to buy"
    return f" and {plan.molds_to_buy} to buy, {worn} of these in place of worn ones"


def _blend(answer: OrderAnswer, plan: OrderPlan, catalogue: Catalogue, units: System) -> Iterator[Block]:
    solution = answer.solutions[plan.candidate.name]
    assert solution.mix is not None
    yield heading(f"Blend ({plan.candidate.name})")
    grams = solution.mix.grams
    steps = {name: weighing_step(name, solution, catalogue) for name in grams}
    order = weighing_order(grams, catalogue)
    weigh = ", ".join(f"{grams_words(grams[n], steps[n], units)} {label_of(n, catalogue)}" for n in order)
    yield sentence(f"{blend_words(solution.mix.blend, catalogue)}.", indent=2)
    yield sentence(f"One vessel: {weigh}.", indent=2)
    turns = f"{plan.turns} casts per mold a day"
    yield sentence(f"{pours_words(plan)} At {turns}; {_few(plan.molds_worn)} molds worn out.", indent=2)


def pours_words(plan: OrderPlan) -> str:
    """Return how many to pour, and how surely enough of them come good."""
    enough = f"{plan.vessels} come good with {100.0 * GOOD_ENOUGH:.0f} %, scrap counted"
    return f"Pour {plan.pours}, so that {enough}."


def _held_back(plan: OrderPlan, answer: OrderAnswer) -> Iterator[Block]:
    if not plan.bottleneck:
        return
    fullest = plan.schedule.fullest if plan.schedule else None
    yield heading("What holds it back")
    yield sentence(f"{BOTTLENECKS[plan.bottleneck].capitalize()}.", indent=2)
    yield sentence(busiest_words(plan, answer.request.shop), indent=2)
    sooner = [
        f"{name} {day_words(day)}"
        for name, day in plan.relief.items()
        if day and plan.ready and day < plan.ready
    ]
    if sooner:
        yield sentence(f"Ready date if one of these held nothing back: {', '.join(sooner)}.", indent=2)
    if fullest:
        yield sentence(shelf_words(plan, answer.request.shop.shelf_places), indent=2)


def bottleneck_words(plan: OrderPlan) -> str:
    """Return what holds an order back, and when it would be ready if that did not."""
    sooner = plan.relief.get(plan.bottleneck)
    early = sooner is not None and plan.ready is not None and sooner < plan.ready
    freed = f"; without that: ready {day_words(sooner)}" if early and sooner is not None else ""
    return f"{BOTTLENECKS[plan.bottleneck]}{freed}"


def busiest_words(plan: OrderPlan, shop: Shop) -> str:
    """Return the day with the most work and how much of the shift it takes, and why first days cast more."""
    if plan.schedule is None or not any(map(_busy, plan.schedule.days)):
        return ""
    day = max(plan.schedule.days, key=lambda each: each.minutes)
    there = f"{day.minutes / 60.0:.1f} h of work in the {shop.shift * shop.people / 60.0:.1f} h there are"
    done = f"{day.cast} cast, {day.sealed} sealed, {day.packed} packed"
    words = f"Busiest day: {day_words(day.day)}, {there} ({done})."
    most = max(each.cast for each in plan.schedule.days)
    steady = plan.rates["labor"]
    if most <= steady:
        return words
    return (
        f"{words} In the long run labor keeps up {steady:.0f} castings a day, sealing and packing "
        f"counted; days with less to seal and pack cast more, up to {most}."
    )


def shelf_words(plan: OrderPlan, places: int) -> str:
    """Return how full the drying rack gets, and what waits off it."""
    fullest = plan.schedule.fullest if plan.schedule else None
    if fullest is None:
        return ""
    off = max(day.off_shelf for day in plan.schedule.days) if plan.schedule else 0
    return (
        f"Drying shelf: at most {fullest.on_shelf} of {places} places are taken, first on "
        f"{day_words(fullest.day)}; off it at most {off} sealed vessels wait for test burns and packing."
    )


def _remedies(plan: OrderPlan, answer: OrderAnswer) -> Iterator[Block]:
    if plan.remedies:
        yield heading(f"What {remedies_words(plan)}: any one of these")
        yield from (indented(remedy_words(remedy)) for remedy in plan.remedies)
    elif not plan.meets_date:
        yield sentence(no_remedy_words(plan, answer.request.due), indent=2)


def remedies_words(plan: OrderPlan) -> str:
    """Return what each of the remedies of a plan does."""
    makes = f"makes {day_words(plan.request.due)} with the shop as it stands"
    return f"{makes}, in nine of ten orders, too" if plan.owned_make_it else makes


def no_remedy_words(plan: OrderPlan, due: datetime.date) -> str:
    """Return why nothing makes the date, and which one to ask for."""
    later = f"ask for {day_words(plan.earliest)}" if plan.earliest else "ask for fewer vessels"
    if plan.soonest and plan.soonest > due:
        alone = f"drying, sealing and test burns of one vessel alone take until {day_words(plan.soonest)}"
        return f"No change to the shop makes the date: {alone}; {later}."
    return f"No change to the shop that is tried makes the date; {later}."


def remedy_words(remedy: Remedy) -> str:
    """Return a change that makes the date, and the date it makes."""
    told = [_change(change) for change in remedy.changes if change.now != change.needed]
    return f"{' and '.join(told)}: ready {day_words(remedy.ready)}"


def _change(change: Change) -> str:
    if change.name == "overnight":
        return "fill the molds at the end of the shift and leave them overnight"
    unit = " min" if change.name in _MINUTES else ""
    return f"{_CHANGES[change.name]} {_figure(change.now)} to {_figure(change.needed)}{unit}"


def _figure(number: float) -> str:
    return f"{number:,.0f}" if number >= 100.0 else f"{number:.3g}"


def _buying(answer: OrderAnswer, plan: OrderPlan, catalogue: Catalogue, units: System) -> Iterator[Block]:
    bought, currency = plan.purchase, answer.solutions[plan.candidate.name].job.currency
    yield heading("Buy")
    if bought.bags:
        left = {each.material: each for each in plan.leftovers}
        rows = [
            [
                label_of(bag.material, catalogue),
                f"{bag.packs} x {pack_words(bag.offer.pack, units)}",
                *_left(left.get(bag.material), units),
            ]
            for bag in bought.bags
        ]
        yield table(("powder", "packs", "left over", "worth", "keeps"), rows, right=(1, 2, 3))
    stock = [
        f"{pack_words(mass, units)} {label_of(n, catalogue)}"
        for n, mass in bought.from_stock.items()
        if mass > 0.0
    ]
    if stock:
        yield sentence(f"From the shelf: {', '.join(stock)}.", indent=2)
    yield from (sentence(words, indent=2) for words in leftover_words(plan, catalogue, currency, units))
    if plan.molds_to_buy:
        price = money(plan.molds_to_buy * answer.request.shop.mold_price, currency)
        yield sentence(f"{counted(plan.molds_to_buy, 'mold')}, {price}.", indent=2)
    yield sentence(f"Powders now: {money(bought.total, currency)}, tax and delivery in.", indent=2)


def left_words(left: Leftover, units: System) -> str:
    """Return how much is left over, what it is worth, and whether it keeps."""
    mass, worth, keeps = _left(left, units)
    return f"{mass}, worth {worth}, {'keeps ' if left.keeps_until else ''}{keeps}"


def _left(left: Leftover | None, units: System) -> list[str]:
    if left is None:
        return ["-", "-", ""]
    keeps = f"until {day_words(left.keeps_until)}" if left.keeps_until else "no shelf life stated"
    return [pack_words(left.mass, units), f"{left.worth:.2f}", keeps]


def leftover_words(plan: OrderPlan, catalogue: Catalogue, currency: str, units: System) -> Iterator[str]:
    """Give what is left over, what it is worth, and what does not keep."""
    if not plan.leftovers:
        return
    mass = math.fsum(each.mass for each in plan.leftovers)
    worth = money(math.fsum(each.worth for each in plan.leftovers), currency)
    why = "Packs are whole, so " if plan.purchase.bags else ""
    yield (
        f"{why}{pack_words(mass, units)} worth {worth} at their landed price stay on the shelf for the next "
        f"order; the cost of a vessel does not contain them."
    )
    old = [label_of(each.material, catalogue) for each in plan.leftovers if each.spoils]
    if old:
        yield (
            f"Bought at once, {', '.join(old)} would pass its shelf life before the last casting: buy it in "
            f"parts, and count what is left over as lost."
        )


def _money(answer: OrderAnswer, plan: OrderPlan) -> Iterator[Block]:
    job = answer.solutions[plan.candidate.name].job
    yield heading("Money")
    order, wear = (money(each.per_good_vessel, job.currency) for each in (plan.cost_order, plan.cost_wear))
    yield sentence(
        f"{order} for a good vessel on average, bought molds charged to this order; {wear} with wear only. "
        f"{total_words(plan, job.currency)}",
        indent=2,
    )
    groups = cost_groups(plan.cost_order.parts).items()
    parts = ", ".join(
        f"{name} {each:.2f}" for name, each in sorted(groups, key=lambda group: -group[1]) if each
    )
    yield sentence(f"With bought molds charged: {parts}.", indent=2)
    floor = money(plan.price_floor, job.currency)
    yield sentence(f"Lowest price that covers it, with your fees and profit: {floor}.", indent=2)
    if job.example_prices:
        yield sentence(EXAMPLE_PRICES, indent=2)


def total_words(plan: OrderPlan, currency: str) -> str:
    """Return what the whole order costs."""
    return f"All {plan.vessels:,} vessels: {money(plan.total, currency)}."


def counted(number: int, word: str) -> str:
    """Return a number of things.

    Examples
    --------
    >>> counted(1, "mold"), counted(300, "vessel")
    ('1 mold', '300 vessels')
    """
    return f"{number} {word}{'' if number == 1 else 's'}"


def _busy(day: DayPlan) -> bool:
    return bool(day.cast or day.sealed or day.packed)


def _day_row(day: DayPlan) -> list[str]:
    work = f"{day.minutes / 60.0:.1f} h"
    counts = [str(n) for n in (day.cast, day.sealed, day.packed, day.on_shelf)]
    return [day_words(day.day), *counts, work, day.limited_by]


def _weeks(days: Sequence[DayPlan]) -> Iterator[list[DayPlan]]:
    """Yield the days of each week in which anything is done; of four weeks where there are very many."""
    span = 7 if len(days) <= 7 * _MOST_DAYS else 28
    for first in range(0, len(days), span):
        week = list(days[first : first + span])
        if any(_busy(day) for day in week):
            yield week


def _week_row(days: Sequence[DayPlan]) -> list[str]:
    minutes = math.fsum(day.minutes for day in days)
    done = [sum(day.cast for day in days), sum(day.sealed for day in days), sum(day.packed for day in days)]
    held = Counter(day.limited_by for day in days if day.limited_by)
    most = held.most_common(1)[0][0] if held else ""
    shelf = str(max(day.on_shelf for day in days))
    return [day_words(days[0].day), *map(str, done), shelf, f"{minutes / 60.0:.0f} h", most]


def _cautions(solution: Solution) -> Iterator[Block]:
    """Yield the cautions of the blend in the short words of the card."""
    if solution.cautions:
        yield heading("Cautions")
        yield from (indented(CARD_CAUTIONS[key]) for key in solution.cautions if key in CARD_CAUTIONS)


def _few(number: float) -> str:
    return f"{number:.1f}" if number < 10.0 else f"{number:,.0f}"
