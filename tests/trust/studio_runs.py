"""An order lived through by many studios: ``python -m tests.trust.studio_runs [runs]``.

Each studio casts the order that `vesselblend order` plans, one vessel after another. What the plan does not
know is drawn with a plain generator: the figures behind the times and the coats of the blend
(`tests.trust.castings`), the share of castings that come good, and which of them do. A studio sees its own
times as it goes: it casts at an even pace that sealing and packing keep up with, finishes what waits, and
casts on with the minutes left; of the last castings it gets ahead with as many as serves it better, none or
those of the days one vessel takes. It pours until as many came good as were ordered.

The castings told are to suffice in nine of ten, and the ready date to lie in the range told in as many. How
many castings come good rests on a hundred seen (`optimizer.money.capacity`). All jobs are invented.
"""

from __future__ import annotations

import datetime as dt
import math
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from optimizer.calibration.files import fitted_parameters
from optimizer.job import Shop
from optimizer.jobfile import parse_job, template
from optimizer.money.order import OrderPlan
from optimizer.problem import problem_of
from optimizer.specs import load_catalogue
from optimizer.studies.order_blends import OrderAnswer, plan_blends, shop_request
from tests.trust.castings import cast_plainly, mix_of

__all__ = ["NEVER", "Lived", "Studio", "live", "orders", "studios_of"]

START, DUE = dt.date(2026, 12, 7), dt.date(2027, 3, 1)
NEVER = dt.date.max
DAY = 1440.0
LONGEST = 1_500
"""Days after which a studio gives up [d]."""

_DUST = 1e-9


@dataclass(frozen=True)
class Studio:
    """What is true in one studio.

    Attributes
    ----------
    demold_time, drying_time, working_window : float
        As an order counts them [min, d, min].
    coats : float
        Coats of sealer [count].
    good_share : float
        Share of castings that come good [-].
    """

    demold_time: float
    drying_time: float
    working_window: float
    coats: float
    good_share: float


@dataclass(frozen=True)
class Lived:
    """What came of an order: good ones among the castings told [count], and the day all were packed."""

    good: int
    ready: dt.date


@dataclass
class _Floor:
    """Vessels by where they stand, and those that will stand there by the day from the start."""

    shop: Shop
    studio: Studio
    start: dt.date
    vessels: int
    molds: int
    luck: np.ndarray
    dry: Counter[int] = field(default_factory=Counter)
    cured: Counter[int] = field(default_factory=Counter)
    burned: Counter[int] = field(default_factory=Counter)
    to_seal: int = 0
    to_pack: int = 0
    on_rack: int = 0
    poured: int = 0
    good: int = 0
    packed: int = 0
    begun: float = 0.0
    """Minutes in a vessel that was begun yesterday and not finished [min]."""

    def works(self, k: int) -> bool:
        day = self.start + dt.timedelta(days=k)
        return day.weekday() in self.shop.working_days and day not in self.shop.holidays

    def days(self, ahead: int) -> int | None:
        """Return the day on which the last vessel is packed; `ahead` good ones are cast before finishing."""
        room, pace = self._room(), self._pace()
        for k in range(LONGEST if room else 0):
            self.to_seal += self.dry[k]
            self.on_rack -= self.cured[k]
            self.to_pack += self.burned[k]
            if self.works(k):
                self._work(k, room, room if self.vessels - self.good <= ahead else pace)
            if self.packed >= self.vessels:
                return k
        return None

    def _work(self, k: int, room: int, first: int) -> None:
        shop, minutes = self.shop, self.shop.shift * self.shop.people
        cast = self._pour(k, min(room, first, math.floor(minutes / shop.cast_minutes + _DUST)))
        minutes = self._seal(k, minutes - cast * shop.cast_minutes)
        done, minutes = self._done(min(self.to_pack, self.vessels - self.packed), shop.pack_minutes, minutes)
        self.to_pack -= done
        self.packed += done
        self._pour(k, min(room - cast, math.floor(minutes / shop.cast_minutes + _DUST)))

    def _room(self) -> int:
        """Return the castings that molds and mixes give in a day."""
        shop, studio = self.shop, self.studio
        turns = math.floor((shop.shift - shop.prep) / (studio.demold_time + shop.prep) + _DUST)
        window = math.floor((studio.working_window - shop.mixing) / shop.pour_minutes + _DUST)
        return min(
            self.molds * turns, shop.mixes_per_day * max(0, min(shop.molds_per_mix, self.molds, window))
        )

    def _pace(self) -> int:
        """Return the castings a day that sealing and packing keep up with."""
        shop = self.shop
        kept = 1.0 - shop.reject
        finishing = kept * self.studio.coats * shop.seal_minutes
        finishing += kept * (1.0 - shop.finish_reject) * shop.pack_minutes
        return math.floor(shop.shift * shop.people / (shop.cast_minutes + finishing) + _DUST)

    def _pour(self, k: int, wanted: int) -> int:
        """Pour what has a place and is still needed; the castings that fail do so as they leave the mold."""
        days = max(1, math.ceil(self.studio.drying_time + self.shop.shift / DAY - _DUST))
        cast = 0
        while cast < wanted and self.on_rack < self.shop.shelf_places and self.good < self.vessels:
            good = bool(self.luck[self.poured])
            cast, self.poured = cast + 1, self.poured + 1
            if good:
                self.good, self.on_rack = self.good + 1, self.on_rack + 1
                self.dry[k + days] += 1
        return cast

    def _seal(self, k: int, minutes: float) -> float:
        done, minutes = self._done(self.to_seal, self.studio.coats * self.shop.seal_minutes, minutes)
        self.to_seal -= done
        free = k + (self.shop.seal_days if self.studio.coats else 0)
        if free == k:
            self.on_rack -= done
        self.cured[free] += done
        burns, packable = self.shop.test_burn_days, free
        while burns > 0:
            burns -= self.works(packable)
            packable += 1
        if packable == k:
            self.to_pack += done
        self.burned[packable] += done
        return minutes

    def _done(self, waiting: int, each: float, minutes: float) -> tuple[int, float]:
        """Return what gets done and the minutes left; one that is half done is gone on with tomorrow."""
        if each == 0.0 or not waiting:
            return waiting, minutes
        done = min(waiting, math.floor((minutes + self.begun) / each + _DUST))
        left = minutes + self.begun - done * each
        self.begun = left if done < waiting else 0.0
        return done, 0.0 if done < waiting else left


def live(plan: OrderPlan, shop: Shop, studio: Studio, dice: np.random.Generator) -> Lived:
    """Live through an order in one studio.

    Parameters
    ----------
    plan
        The plan told: vessels, castings, molds at work, first day of casting.
    shop
        Hours, hands, rack, calendar.
    studio
        What is true there.
    dice
        Which castings come good.
    """
    luck = dice.random(4 * plan.pours + 100) < studio.good_share
    told = int(luck[: plan.pours].sum())
    if not math.isfinite(studio.demold_time + studio.drying_time + studio.coats):
        return Lived(told, NEVER)
    start = plan.request.start

    def last(ahead: int) -> int | None:
        return _Floor(shop, studio, start, plan.vessels, plan.molds_at_work, luck).days(ahead)

    way = math.ceil(studio.drying_time) + 1 + shop.seal_days + shop.test_burn_days
    a_day = math.floor(shop.shift * shop.people / shop.cast_minutes)
    ends = [day for day in map(last, (0, way * a_day)) if day is not None]
    return Lived(told, _boxed(start + dt.timedelta(days=min(ends)), shop) if ends else NEVER)


def _boxed(day: dt.date, shop: Shop) -> dt.date:
    """Return the working day on which the last box is packed."""
    days = shop.pack_days - 1
    while days > 0:
        day += dt.timedelta(days=1)
        days -= day.weekday() in shop.working_days and day not in shop.holidays
    return day


def orders(only: str = "") -> Iterator[tuple[str, OrderAnswer]]:
    """Yield orders of the demo, with its molds and with one, and of a fresh job; or those named so alone."""
    catalogue = load_catalogue()
    for kind, vessels, molds in (("demo", 300, 6), ("demo", 300, 1), ("job", 1_200, 3)):
        name = f"{vessels:,} of the {kind} with {molds} mold{'s' if molds > 1 else ''}"
        if only not in ("", name):
            continue
        job = parse_job(template(kind), catalogue, kind)
        job = replace(job, shop=replace(job.shop, molds=molds))
        request = replace(shop_request(job, vessels, START, DUE, None), may_buy_molds=False)
        answer = plan_blends(job, catalogue, request, fitted_parameters(job, catalogue), trial=False)
        yield name, answer


def studios_of(answer: OrderAnswer, count: int, seed: int) -> list[Studio]:
    """Return so many studios that cast the order's blend."""
    catalogue, job = load_catalogue(), answer.solution.job
    problem = problem_of(job, catalogue, fitted_parameters(job, catalogue))
    cast = cast_plainly(problem, mix_of(problem, answer.solution), count, seed).values
    good = 100.0 * (1.0 - job.shop.reject) * (1.0 - job.shop.finish_reject)
    shares = np.random.default_rng(seed + 1).beta(good, 100.0 - good, count)
    window = cast["working_window"] + job.shop.mixing
    rows = (cast["demold_time"], cast["drying_time"], window, cast["sealer_coats"], shares)
    return [Studio(*map(float, row)) for row in zip(*rows, strict=True)]


def main(words: list[str]) -> int:
    """Print how often castings and date told are right; the exit code is 1 where that is not nine in ten.

    Dates are whole days, so that a range may hold more than it must; it then ends on days without which it
    would hold too little.
    """
    runs = int(words[0]) if words else 1000
    wrong = 0
    for name, answer in orders():
        plan, dice = answer.plan, np.random.default_rng(43)
        seen = [live(plan, answer.request.shop, each, dice) for each in studios_of(answer, runs, seed=41)]
        enough = np.mean([one.good >= plan.vessels for one in seen])
        ready = np.array([one.ready.toordinal() for one in seen])
        early, late = ((day or NEVER).toordinal() for day in plan.ready_range)
        before, after = np.mean(ready < early), np.mean(ready > late)
        inside, within = 1.0 - before - after, np.mean((ready > early) & (ready < late))
        right = abs(inside - 0.90) <= 0.03 or (inside > 0.90 > within)
        wrong += abs(enough - 0.90) > 0.02 or not right
        points = [
            dt.date.fromordinal(int(x)) for x in np.quantile(ready, (0.05, 0.5, 0.95), method="nearest")
        ]
        sys.stdout.write(
            f"{name}: pour {plan.pours}, enough in {100 * enough:.1f} %; planned {plan.ready}, told "
            f"{plan.ready_range[0]} to {plan.ready_range[1]}: holds {100 * inside:.1f} %, sooner "
            f"{100 * before:.1f} %, later {100 * after:.1f} %, {100 * within:.1f} % on days between; "
            f"lived 5, 50, 95 %: {', '.join(map(str, points))}\n"
        )
        sys.stdout.flush()
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
