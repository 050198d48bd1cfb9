"""The batch card: one sheet of paper at the bench, as one HTML file that needs nothing else."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from importlib.resources import files
from itertools import groupby
from typing import Any, Final

from optimizer.errors import printable
from optimizer.job import Limit
from optimizer.materials import Catalogue
from optimizer.nomenclature import quantity
from optimizer.solution import LimitVerdict, Solution
from optimizer.studies.check import Batch, Portion
from optimizer.units import System, show_amount
from optimizer.verdict.assess import FAILS
from ui.unit_text import prose_in
from ui.words import (
    bound_words,
    chance_sentence,
    chance_words,
    grams_words,
    judged_words,
    label_of,
    ounces_words,
    range_words,
    share_words,
    span_words,
    value_words,
    verdict_words,
)

PAPERS: Final[Mapping[str, str]] = {"a5": "148mm 210mm", "half-letter": "5.5in 8.5in"}
"""Paper by name, as the printer is told."""

CARD_CAUTIONS: Final[Mapping[str, str]] = {
    "heat_negative": "The wall may run hotter than its mineral stands: test burn.",
    "setting_heat": "Sets hot: hands off, spread leftovers thin.",
    "alkali": "Wet cement burns unfelt: gloves, goggles, rinse at once.",
    "silica": "Silica dust: fitted N95/P2 mask or better; never sweep dry.",
    "skin": "Never put skin in setting mix: it grips and gets hot.",
    "titanium_dust": "Titanium white: weigh in still air, do not breathe the dust.",
    "dust": "Powder dust: mask on, tip bags low.",
    "stays_soft": "Some castings may stay too soft to demold: cast one first.",
    "extrapolated": "Cast one trial vessel first: no published mix like it.",
    "damp": "May crack in damp: keep it dry.",
    "bleeding": "More water than the powders hold: the face may bleed.",
    "gypsum_water": "Softens when wet: dry rooms only.",
    "bucket_heat": "Leftovers in the bucket get hot: spread them thin.",
    "heat_estimate": "Heat in use is an estimate: burn one and measure the wall.",
    "candle": "Seal the inside; burn three to the end under watch first.",
    "retest": "New blend, water or sealer: repeat seal check and burn test.",
    "disposal": "Leftovers: let set, then bin. Never down the drain.",
    "certify": "Local codes, standards and accredited test houses decide.",
}
"""Cautions of `optimizer.verdict.evidence.CAUTIONS` as one line each, in the same order."""

_LASTING: Final = ("heat_negative", "skin", "stays_soft", "candle", "certify")
"""Cautions that no card leaves out where they apply."""

_NO_LIMIT: Final = "not a limit"

_FRAMED: Final = "extrapolated"
"""Caution that stands in a frame on top: it is to be done before all the rest."""

_MOST_ROWS: Final = 6
"""Limits with a row of their own; the others stand beside each other."""

_LETTERS: Final = 56
"""Letters of a line of limits that stand beside each other, and of the heading above them."""

_MOST_NOTES: Final = 2

_LEAST_LINES: Final = 2.0
"""Lines kept for limits and cautions, however much is to be noted."""

_LINES: Final = 21.0
"""Lines that rows to weigh, notes, limits and cautions have together, measured on A5 in a wide face."""

_ROW_LINES: Final[Sequence[tuple[int, int, float]]] = ((8, 22, 1.75), (10, 18, 1.43), (99, 14, 1.15))
"""Up to so many rows: points of their figures, and lines that a row takes."""

_WRAPPED_LINES: Final = 2.1
"""Lines of a row whose name goes on in a second line."""

_NOTE_LINES: Final = 1.2
"""Lines of a framed note, and of a head that goes on in a second line."""

_CROWDED: Final = 6
"""Rows to weigh beyond which a name stands beside its share or its ounces, not both."""

_LONGEST: Final = 8
"""Rows to weigh beyond which no ounces stand beside the grams."""

_NAME_LETTERS: Final[Mapping[System, int]] = {"metric": 22, "us": 20}
"""Letters of a name with its share that stay in one line on the paper usual with these units."""

_TITLE_LETTERS: Final = 46
_TITLE_LINES: Final = 2
_COUNT_LETTERS: Final = 26

_SHORT: Final = 12


@dataclass(frozen=True)
class Row:
    """One row to weigh: its name, share or ounces, mass, and what the scale then shows."""

    label: str
    note: str
    mass: str
    shows: str
    water: bool = False


@dataclass(frozen=True)
class LimitLine:
    """One limit as the card shows it: what was asked, the best value, its chance, and the verdict."""

    label: str
    asked: str
    value: str
    chance: str
    word: str


@dataclass(frozen=True)
class Sheet:
    """Everything the card says, as words.

    Attributes
    ----------
    title, count, model, mark : str
        Job, what is cast, what the predictions rest on, fingerprint.
    rows : tuple[Row, ...]
        What to weigh, in order.
    clock : tuple[tuple[str, str], ...]
        What to do and when, counted from powder in.
    fill, demolded, dry, seal : str
        Wet mix of one mold, masses to check against, coats.
    sure : str
        How surely all limits hold together, in one sentence.
    limits : tuple[LimitLine, ...]
        All limits, least sure first.
    rows_of_limits : int
        How many of them have a row of their own [count].
    beside : str
        The others, beside each other.
    unread : str
        Which properties decide nothing without the caster's own reading; left out of a crowded card.
    notes : tuple[str, ...]
        What is wrong with the mix itself, such as too little water to pour.
    cautions : tuple[str, ...]
        As many as there is room for; those of the finished vessel always.
    points : int
        Size of the figures to weigh; a long list takes smaller ones [pt].
    """

    title: str
    count: str
    model: str
    mark: str
    fill: str = ""
    demolded: str = ""
    dry: str = ""
    seal: str = ""
    rows: tuple[Row, ...] = ()
    clock: tuple[tuple[str, str], ...] = ()
    sure: str = ""
    limits: tuple[LimitLine, ...] = ()
    rows_of_limits: int = 0
    beside: str = ""
    unread: str = ""
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    points: int = 22


def sheet_of(
    solution: Solution, batch: Batch, catalogue: Catalogue, *, units: System = "metric", trials: int = 0
) -> Sheet:
    """Return what the card of one mix says.

    Parameters
    ----------
    solution : Solution
        A designed or checked blend.
    units : str
        ``metric`` or ``us``; grams stay, ounces come beside them [-].
    trials : int
        Trials the model was calibrated on [count].
    """
    shop, mark = solution.job.shop, solution.fingerprint[:_SHORT]
    rows = tuple(_rows(batch, solution, catalogue, units))
    head = Sheet(solution.job.title, _count(solution, batch, units), _rests_on(trials), mark)
    points, lines = _room(head, rows, units)
    lasting = [key for key in _LASTING if key in solution.cautions]
    notes = _fitting(tuple(_notes(solution, units)), lines - len(lasting))
    told = [*lasting, *(key for key in (_FRAMED,) if CARD_CAUTIONS[key] in notes)]
    urgent = [key for key in solution.cautions if key in CARD_CAUTIONS and key not in told]
    sure = chance_sentence(solution)
    left = math.floor(lines - _NOTE_LINES * len(notes)) - len(lasting) - (len(sure) > _LETTERS)
    limits = tuple(_limit_line(each, units) for each in _ranked(tuple(_checks(solution))))
    room = max(-(-left // 2), _lines_beside(limits))
    apart = max(k for k in range(_MOST_ROWS + 1) if not k or k + _lines_beside(limits[k:]) <= room)
    taken = apart + _lines_beside(limits[apart:])
    printed = {*urgent[: max(0, left - taken)], *lasting}
    return replace(
        head,
        fill=grams_words(batch.fill, shop.weigh_step, units),
        demolded=_mass(solution, "demolded_mass", units),
        dry=_mass(solution, "dry_mass", units),
        seal=_coats(solution),
        rows=rows,
        clock=tuple(_clock(solution, units)),
        sure=sure,
        limits=limits,
        rows_of_limits=apart,
        beside=_beside(limits[apart:]),
        unread=_unread(solution) if taken <= left else "",
        notes=notes,
        cautions=tuple(words for key, words in CARD_CAUTIONS.items() if key in printed),
        points=points,
    )


def _fitting(notes: tuple[str, ...], lines: float) -> tuple[str, ...]:
    """Return as many notes as leave lines for limits and cautions: those say what to look at."""
    most = max(0, math.floor((lines - _LEAST_LINES) / _NOTE_LINES))
    return notes[:most]


def _count(solution: Solution, batch: Batch, units: System) -> str:
    cavity = show_amount(solution.job.vessel.cavity_volume, "mL", 3, units)
    mixes = f", mix {batch.mixes} times" if batch.mixes > 1 else ""
    return f"{batch.per_mix} vessel{'' if batch.per_mix == 1 else 's'} of {cavity}{mixes}"


def _rests_on(trials: int) -> str:
    return f"made with model calibrated on {trials} trial{'' if trials == 1 else 's'}"


def _room(head: Sheet, rows: Sequence[Row], units: System) -> tuple[int, float]:
    """Return the points of the figures to weigh, and the lines left for notes, limits and cautions."""
    points, usual = next((size, lines) for most, size, lines in _ROW_LINES if len(rows) <= most)
    wrapped = sum(len(f"{row.label} {row.note}") > _NAME_LETTERS[units] for row in rows)
    taken = usual * (len(rows) - wrapped) + _WRAPPED_LINES * wrapped
    heads = min(math.ceil(len(head.title) / _TITLE_LETTERS), _TITLE_LINES) - 1
    return points, _LINES - taken - _NOTE_LINES * (heads + (len(head.count) > _COUNT_LETTERS))


def _notes(solution: Solution, units: System) -> Iterator[str]:
    """Yield what is framed on top: what is wrong with the mix, and that one is to be cast first."""
    yield from (
        prose_in(_first_clause(note), units) for note in (*solution.barred_by, *solution.notes)[:_MOST_NOTES]
    )
    if _FRAMED in solution.cautions:
        yield CARD_CAUTIONS[_FRAMED]


def _checks(solution: Solution) -> Iterator[LimitVerdict]:
    """Yield the verdicts on all limits; a heat margin below 0 that has none is shown, and not judged."""
    yield from solution.limits
    heat = solution.properties["heat_margin"]
    if heat.value < 0.0 and all(each.limit.property != "heat_margin" for each in solution.limits):
        bare = Limit("heat_margin", ">=", 0.0)
        yield LimitVerdict(bare, heat.unit, heat.value, heat.value, 0.0, FAILS, _NO_LIMIT)


def _first_clause(note: str) -> str:
    """Return what a note says first, as one line of the card."""
    return re.split(r"[:;(]", note)[0].strip(" .")


def card_json(sheet: Sheet) -> dict[str, Any]:
    """Return the words of the card as JSON."""
    return asdict(sheet)


def card_html(sheet: Sheet, paper: str = "a5") -> str:
    """Return the card as one HTML file; every word of a job or spec is escaped.

    Parameters
    ----------
    paper : str
        One of `PAPERS` [-].
    """
    from jinja2 import Environment, StrictUndefined

    text = (files("ui") / "card.html").read_text(encoding="utf-8")
    maker = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda word: printable(word) if type(word) is str else word,
    )
    return maker.from_string(text).render(sheet=sheet, paper=PAPERS[paper])


def _rows(batch: Batch, solution: Solution, catalogue: Catalogue, units: System) -> Iterator[Row]:
    room = value_words("casting_peak", solution.job.shop.temperature, units)
    coarse = solution.job.shop.weigh_step
    powders = {portion.name: portion.grams for portion in batch.portions if portion.name != "water"}
    dry = math.fsum(powders.values())
    shares = share_words({name: grams / dry for name, grams in powders.items()})
    crowded = len(batch.portions) > _CROWDED
    ounces: System = "metric" if len(batch.portions) > _LONGEST else units
    for portion in batch.portions:
        mass = grams_words(portion.grams, portion.step)
        part = shares.get(portion.name, f"ratio {portion.grams / dry:.3f}")
        note = _note(portion, part, ounces, crowded=crowded)
        if portion.name == "water":
            volume = show_amount(portion.grams, "mL", 3, "us") if units == "us" else f"{portion.grams:.0f} mL"
            yield Row("WATER", note, mass, f"{volume}, {room}", water=True)
        else:
            shows = grams_words(portion.running, coarse) if portion.step >= coarse else "fine scale"
            yield Row(label_of(portion.name, catalogue), note, mass, shows)


def _note(portion: Portion, part: str, units: System, *, crowded: bool) -> str:
    """Return share of the powder, or water ratio, and US ounces; a crowded card has room for one of them."""
    ounces = [ounces_words(portion.grams)] if units == "us" else []
    return ", ".join([*([] if crowded and ounces else [part]), *ounces])


def _clock(solution: Solution, units: System) -> Iterator[tuple[str, str]]:
    shop, values = solution.job.shop, solution.properties
    # what a caster must not miss is the early end; a casting that is not ready yet stays in its mold
    pour_by = shop.mixing + values["working_window"].low
    ready = values["demold_time"]
    ends = (value_words("demold_time", each, units) for each in (ready.low, ready.high))
    yield "powder in", "0 min"
    yield "mixed", f"{shop.mixing:g} min"
    yield "pour by", value_words("working_window", pour_by, units)
    yield "demold", span_words(*ends)
    yield "dry after", value_words("drying_time", values["drying_time"].value, units)


def _mass(solution: Solution, name: str, units: System) -> str:
    """Return a mass to weigh in grams, as the scale at the bench shows it; in US units with ounces."""
    prediction = solution.properties[name]
    ounces = f"{ounces_words(prediction.value)}; " if units == "us" else ""
    return f"{value_words(name, prediction.value)} ({ounces}{range_words(name, prediction)})"


def _coats(solution: Solution) -> str:
    target = f"to {100.0 * solution.job.shop.target_absorption:g} % absorption"
    if not math.isfinite(solution.coats):
        return f"never comes {target}: do not use with wax"
    span = range_words("sealer_coats", solution.properties["sealer_coats"])
    coats = "1 coat" if solution.coats == 1 else f"{solution.coats:.0f} coats"
    return f"{coats} inside {target}" + (f" ({span})" if span else "")


def _limit_line(verdict: LimitVerdict, units: System) -> LimitLine:
    return LimitLine(
        quantity(verdict.limit.property).label,
        bound_words(verdict.limit, units),
        verdict_words(verdict, units),
        "" if verdict.judged == _NO_LIMIT else chance_words(verdict),
        judged_words(verdict),
    )


def _unread(solution: Solution) -> str:
    """Return which properties the card counts on that decide nothing without the caster's own reading."""
    counted = dict.fromkeys([*(v.limit.property for v in solution.limits), "sealer_coats", "drying_time"])
    labels = [
        quantity(name).label
        for name in counted
        if name in solution.properties and solution.properties[name].use == "own reading"
    ]
    return f"not decided without your own reading: {', '.join(labels)}" if labels else ""


def _beside(limits: Sequence[LimitLine]) -> str:
    """Return limits beside each other: their verdict where it changes, their chance, and their labels."""
    often = Counter(each.label for each in limits)
    parts: list[str] = []
    said = ""
    for (word, chance), group in groupby(limits, key=lambda each: (each.word, each.chance)):
        labels = [f"{x.label} {x.asked}" if often[x.label] > 1 else x.label for x in group]
        parts.append(f"{'' if word == said else f'{word} '}{chance}: {', '.join(labels)}")
        said = word
    return "; ".join(parts)


def _lines_beside(limits: Sequence[LimitLine]) -> int:
    return math.ceil(len(_beside(limits)) / _LETTERS)


def _ranked(verdicts: Sequence[LimitVerdict]) -> list[LimitVerdict]:
    """Return verdicts, least sure first; heat that is the least sure or below 0 goes before all."""
    least = min((each.probability for each in verdicts), default=1.0)

    def urgency(verdict: LimitVerdict) -> tuple[int, float, float]:
        doubtful = verdict.value < 0.0 or verdict.probability <= least
        if verdict.limit.property == "heat_margin" and doubtful:
            return 0, 0.0, 0.0
        return 1, verdict.probability, verdict.margin

    return sorted(verdicts, key=urgency)
