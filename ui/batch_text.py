"""What goes with the masses of a batch: how vessels share the mixes, and where a mass was moved."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from optimizer.job import Shop
from optimizer.materials import Catalogue
from optimizer.money.capacity import molds_per_mix
from optimizer.solution import Solution
from optimizer.studies.check import Batch, weighing_order, weighing_step
from optimizer.units import System
from ui.words import label_of, value_words

_NEAR: Final = 1e-6
_ANY: Final = 10**6
"""Molds, and molds the bucket fills, that hold nothing back [count]."""


def batch_words(batch: Batch, solution: Solution, catalogue: Catalogue) -> Iterator[str]:
    """Yield the sentences that go with the masses of a batch."""
    if batch.mixes > 1:
        yield _mixes_words(batch, solution)
    moved = list(_moved(batch, solution, catalogue))
    if len(moved) == 1:
        yield f"{moved[0]} than the plain multiple: so every limit keeps its verdict."
    elif moved:
        yield "These are whole multiples of one vessel: no rounding nearer keeps the verdict of every limit."


def _mixes_words(batch: Batch, solution: Solution) -> str:
    most = most_per_mix(solution)
    each = (
        f"Make this mix {batch.mixes} times, for {batch.per_mix} mold{'' if batch.per_mix == 1 else 's'} each"
    )
    if batch.per_mix == most:
        return f"{each}: one mix fills no more, for {held_words(solution)}."
    return (
        f"{each}: one could fill {most}, for {held_words(solution)}; {batch.per_mix} is the even split of "
        f"{batch.vessels}."
    )


def most_per_mix(solution: Solution) -> int:
    """Return the most vessels that are cast from one mix [count]."""
    shop = solution.job.shop
    # A property counts the window from the end of mixing, a day of work from its beginning.
    return max(1, molds_per_mix(solution.properties["working_window"].value + shop.mixing, shop))


def fill_words(solution: Solution, units: System = "metric") -> str:
    """Return how many molds one mix fills while it pours, and which of bucket, molds and room say so."""
    shop, window = solution.job.shop, solution.properties["working_window"].value
    room = value_words("casting_peak", shop.temperature, units)
    pours = f"in a room of {room} it pours for {value_words('working_window', window, units)} after mixing"
    many, bucket = molds_per_mix(math.inf, shop), shop.molds_per_mix
    in_time = molds_per_mix(window + shop.mixing, replace(shop, molds=_ANY, molds_per_mix=_ANY))
    if in_time < 1:
        return f"One mix fills no mold in time: {pours}, and one mold takes {shop.pour_minutes:g} min."
    full = f"the bucket fills {bucket}" if bucket == many else _molds_words(shop)
    if in_time < many:
        full = f"{full}, but {pours}, and a mold takes {shop.pour_minutes:g} min"
    else:
        full = f"{full}, and {pours}, long enough for {'more' if in_time > many else 'them'}"
    return f"One mix fills at most {min(in_time, many)} mold{'' if min(in_time, many) == 1 else 's'}: {full}."


def _molds_words(shop: Shop) -> str:
    return "there is one mold" if shop.molds == 1 else f"there are {shop.molds} molds"


def held_words(solution: Solution) -> str:
    """Return which of molds, bucket and pouring time lets one mix fill no more vessels."""
    shop, most = solution.job.shop, most_per_mix(solution)
    full = {
        _molds_words(shop): shop.molds <= most,
        f"the bucket fills {shop.molds_per_mix}": shop.molds_per_mix <= most,
    }
    held = [words for words, holds in full.items() if holds]
    return " and ".join(held) or f"the pouring time is long enough for {most}"


def _moved(batch: Batch, solution: Solution, catalogue: Catalogue) -> Iterator[str]:
    """Yield the materials whose mass is not the plain multiple of one vessel with its waste."""
    assert solution.mix is not None
    scale = batch.per_mix * (1.0 + solution.job.shop.waste)
    for name in weighing_order(batch.grams, catalogue):
        step = weighing_step(name, solution, catalogue)
        steps = batch.grams[name] / step - max(1, round(solution.mix.grams[name] * scale / step))
        if abs(steps) > _NEAR:
            size = f"{abs(steps) * step:.{max(0, -math.floor(math.log10(step) + _NEAR))}f} g"
            yield f"{label_of(name, catalogue)} {size} {'more' if steps > 0.0 else 'less'}"
