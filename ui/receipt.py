"""What an edit did: the figures changed, and what that does to cost, chance and grams."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from optimizer.materials import Catalogue
from optimizer.nomenclature import quantity
from optimizer.solution import Solution
from optimizer.units import odds_words
from ui.draft import field_value
from ui.fields import Field
from ui.verdict_words import least_sure, sure_enough
from ui.words import label_of

_MASSES: Final = 2
"""Masses named in a receipt, the ones that changed most [count]."""

_SURER: Final = 0.05
"""Chance by which a blend is surer than the one before where that is why it took its place [-]; judgement."""

_NAMED: Final = 3
"""Fields named in a receipt [count]."""


@dataclass(frozen=True)
class Answer:
    """An answer, what is weighed for it, and what became of the blend before.

    Attributes
    ----------
    solution : Solution
        The answer.
    grams : Mapping[str, float]
        Grams of one mix by material [g].
    before : Solution | None
        Verdict on the blend of the answer before, as the question now is; None where that was not asked.
    """

    solution: Solution
    grams: Mapping[str, float]
    before: Solution | None = None


def changed_fields(
    before: Mapping[str, object],
    after: Mapping[str, object],
    fields: Sequence[Field],
    catalogue: Catalogue,
) -> list[str]:
    """Return what was changed between the tables of two job files: `mold volume 215 mL -> 190 mL`."""
    pairs = ((each, field_value(before, each.key), field_value(after, each.key)) for each in fields)
    told = [
        f"{_name(each, catalogue)} {old or 'empty'} → {new or 'empty'}"
        for each, old, new in pairs
        if old != new
    ]
    more = len(told) - _NAMED
    return [*told[:_NAMED], *([f"{more} more"] if more > 0 else [])]


def _name(field: Field, catalogue: Catalogue) -> str:
    """Return the label of a field; that of a price says of which powder."""
    head, _, rest = field.key.partition(".")
    return (
        f"{label_of(rest.partition('.')[0], catalogue)}, {field.label}" if head == "prices" else field.label
    )


def receipt_words(before: Answer, after: Answer, catalogue: Catalogue) -> str:
    """Return what became of cost, chance and grams.

    Where cost, chance and grams stay as they are, that is said.
    """
    told = list(_told(before, after, catalogue))
    return "; ".join(told) if told else "cost, chance and grams stay"


def _told(before: Answer, after: Answer, catalogue: Catalogue) -> Iterator[str]:
    old, new = before.solution, after.solution
    if new.mix is None:
        yield "no blend meets the limits now"
        return
    if old.mix is None:
        yield "a blend is found"
        return
    yield from _cost(old, new)
    yield from _chance(old, new)
    yield from _grams(before.grams, after.grams, catalogue)
    yield from _no_more(after)


def _cost(old: Solution, new: Solution) -> Iterator[str]:
    if old.cost is None or new.cost is None or old.job.currency != new.job.currency:
        return
    first, second = round(old.cost, 2), round(new.cost, 2)
    if first != second:
        yield f"cost {first:.2f} → {second:.2f} ({second - first:+.2f})"


def _chance(old: Solution, new: Solution) -> Iterator[str]:
    chances = [round(100.0 * (each.joint_probability or 0.0)) for each in (old, new)]
    if chances[0] != chances[1] and old.limits and new.limits:
        yield f"chance {chances[0]} → {chances[1]} %"


def _no_more(after: Answer) -> Iterator[str]:
    """Say that the blend before is not sure enough now, and by which limit: why another took its place."""
    kept = after.before
    worst = None if kept is None else least_sure(kept)
    if kept is None or worst is None or sure_enough(kept):
        return
    chance, now = kept.joint_probability or 0.0, after.solution.joint_probability or 0.0
    if now - chance > _SURER:
        label = quantity(worst.limit.property).label
        yield f"the blend before would hold with {odds_words(chance)}, least surely its {label}"


def _grams(old: Mapping[str, float], new: Mapping[str, float], catalogue: Catalogue) -> Iterator[str]:
    moves = {name: new.get(name, 0.0) - old.get(name, 0.0) for name in {**old, **new}}
    largest = sorted((name for name in moves if moves[name]), key=lambda name: -abs(moves[name]))
    for name in largest[:_MASSES]:
        decimals = 0 if math.isclose(moves[name], round(moves[name]), abs_tol=1e-6) else 1
        yield f"{label_of(name, catalogue)} {moves[name]:+.{decimals}f} g"
