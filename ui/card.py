"""The batch card: one sheet of paper at the bench, as one HTML file that needs nothing else."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib.resources import files
from typing import Any, Final

from optimizer.materials import Catalogue
from optimizer.nomenclature import quantity
from optimizer.solution import LimitVerdict, Solution
from optimizer.studies.batch import Batch, Portion
from optimizer.units import System, show_amount
from ui.words import (
    bound_words,
    grams_words,
    is_tight,
    label_of,
    percent_words,
    range_words,
    seen_words,
    value_words,
)

__all__ = ["CARD_CAUTIONS", "PAPERS", "Sheet", "card_html", "card_json", "sheet_of"]

PAPERS: Final[Mapping[str, str]] = {"a5": "148mm 210mm", "half-letter": "5.5in 8.5in"}
"""Paper by name, as the printer is told."""

CARD_CAUTIONS: Final[Mapping[str, str]] = {
    "skin": "Never put skin in setting mix: it grips and gets hot.",
    "silica": "Silica dust: fitted N95/P2 mask or better; never sweep dry.",
    "alkali": "Wet cement burns unfelt: gloves, goggles, rinse at once.",
    "setting_heat": "Sets hot: hands off, spread leftovers thin.",
    "bucket_heat": "Leftovers in the bucket get hot: spread them thin.",
    "heat_estimate": "Heat in use is an estimate: burn one and measure the wall.",
    "heat_negative": "The wall may run hotter than its mineral stands: test burn.",
    "damp": "May crack in damp: keep it dry.",
    "bleeding": "More water than the powders hold: the face may bleed.",
    "gypsum_water": "Softens when wet: dry rooms only.",
    "extrapolated": "Nobody has published a mix like this: cast a trial first.",
    "titanium_dust": "Titanium white: weigh in still air, do not breathe the dust.",
    "dust": "Powder dust: mask on, tip bags low.",
    "candle": "Seal the inside; burn three to the end under watch first.",
    "retest": "New blend, water or sealer: repeat seal check and burn test.",
    "certify": "Local codes, standards and accredited test houses decide.",
    "disposal": "Leftovers: let set, then bin. Never down the drain.",
}
"""Cautions of `optimizer.verdict.cautions.CAUTIONS` as one line each."""

MOST_CAUTIONS: Final = 5
_LASTING: Final = ("extrapolated", "candle", "certify")
"""Cautions that no card leaves out where they apply."""

_MOST_LIMITS: Final = 6
_ROOMY: Final = 4
"""So many rows to weigh leave room for `_MOST_LIMITS`; each further row takes that of two limits."""

_FULL: Final = 6
"""Rows to weigh from which each further one takes the room of a caution."""

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
    """One limit as the card shows it."""

    label: str
    asked: str
    value: str
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
    limits : tuple[LimitLine, ...]
        Limits, tight ones first.
    more : str
        What is to be said of limits there is no room for.
    cautions : tuple[str, ...]
        At most `MOST_CAUTIONS` lines.
    """

    title: str
    count: str
    model: str
    mark: str
    fill: str
    demolded: str
    dry: str
    seal: str
    rows: tuple[Row, ...] = ()
    clock: tuple[tuple[str, str], ...] = ()
    limits: tuple[LimitLine, ...] = ()
    more: str = ""
    cautions: tuple[str, ...] = ()


def sheet_of(
    solution: Solution, batch: Batch, catalogue: Catalogue, *, units: System = "metric", trials: int = 0
) -> Sheet:
    """Return what the card of one mix says.

    Parameters
    ----------
    solution : Solution
        A designed or checked blend.
    batch : Batch
        What to weigh for one mix.
    catalogue : Catalogue
        Its materials.
    units : str
        ``metric`` or ``us``; grams stay, ounces come beside them [-].
    trials : int
        Trials the model was calibrated on [count].
    """
    shop = solution.job.shop
    mixes = f", {batch.mixes} mixes" if batch.mixes > 1 else ""
    cavity = show_amount(solution.job.vessel.cavity_volume, "mL", 3, units)
    room = max(0, _MOST_LIMITS - 2 * max(0, len(batch.portions) - _ROOMY))
    ranked = sorted(solution.limits, key=_urgency)
    return Sheet(
        title=solution.job.title,
        count=f"{batch.per_mix} vessel{'' if batch.per_mix == 1 else 's'} of {cavity}{mixes}",
        model=f"made with model calibrated on {trials} trials",
        mark=solution.fingerprint[:_SHORT],
        fill=grams_words(batch.fill, shop.weigh_step, units),
        demolded=_mass(solution, "demolded_mass"),
        dry=_mass(solution, "dry_mass"),
        seal=_coats(solution),
        rows=tuple(_rows(batch, solution, catalogue, units)),
        clock=tuple(_clock(solution, units)),
        limits=tuple(_limit_line(verdict, solution, units) for verdict in ranked[:room]),
        more=_more(ranked[room:]),
        cautions=tuple(_cautions(solution.cautions, MOST_CAUTIONS - max(0, len(batch.portions) - _FULL))),
    )


def card_json(sheet: Sheet) -> dict[str, Any]:
    """Return the words of the card as JSON."""
    return asdict(sheet)


def card_html(sheet: Sheet, paper: str = "a5") -> str:
    """Return the card as one HTML file; every word of a job or spec is escaped.

    Parameters
    ----------
    sheet : Sheet
        What it says.
    paper : str
        One of `PAPERS` [-].
    """
    from jinja2 import Environment, StrictUndefined

    text = (files("ui") / "card.html").read_text(encoding="utf-8")
    maker = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return maker.from_string(text).render(sheet=sheet, paper=PAPERS[paper])


def _rows(batch: Batch, solution: Solution, catalogue: Catalogue, units: System) -> Iterator[Row]:
    room = value_words("casting_peak", solution.job.shop.temperature, units)
    coarse = solution.job.shop.weigh_step
    dry = sum(portion.grams for portion in batch.portions if portion.name != "water")
    crowded = len(batch.portions) > _ROOMY
    for portion in batch.portions:
        mass = grams_words(portion.grams, portion.step)
        note = _note(portion, dry, units, crowded=crowded)
        if portion.name == "water":
            yield Row("WATER", note, mass, f"{portion.grams:.0f} mL, {room}", water=True)
        else:
            shows = grams_words(portion.running, coarse) if portion.step >= coarse else "fine scale"
            yield Row(label_of(portion.name, catalogue), note, mass, shows)


def _note(portion: Portion, dry: float, units: System, *, crowded: bool) -> str:
    """Return share of the powder, or water ratio, and US ounces; a crowded card has room for one of them."""
    ounces = [show_amount(portion.grams, "g", 3, "us")] if units == "us" else []
    share = portion.grams / dry
    part = f"ratio {share:.3f}" if portion.name == "water" else percent_words(share)
    shares = [] if crowded and ounces else [part]
    return ", ".join([*shares, *ounces])


def _clock(solution: Solution, units: System) -> Iterator[tuple[str, str]]:
    shop, values = solution.job.shop, solution.properties
    pour_by = shop.mixing + values["working_window"].value
    yield "powder in", "0 min"
    yield "mixed", f"{shop.mixing:g} min"
    yield "pour by", value_words("working_window", pour_by, units)
    yield "demold", value_words("demold_time", values["demold_time"].value, units)
    yield "dry after", value_words("drying_time", values["drying_time"].value, units)


def _mass(solution: Solution, name: str) -> str:
    """Return a mass to weigh in grams whatever the units: the scale at the bench shows them."""
    prediction = solution.properties[name]
    return f"{value_words(name, prediction.value)} ({range_words(name, prediction)})"


def _coats(solution: Solution) -> str:
    target = f"to {100.0 * solution.job.shop.target_absorption:g} % absorption"
    if not math.isfinite(solution.coats):
        return f"never comes {target}: do not use with wax"
    span = range_words("sealer_coats", solution.properties["sealer_coats"])
    coats = "1 coat" if solution.coats == 1 else f"{solution.coats:.0f} coats"
    return f"{coats} inside {target}" + (f" ({span})" if span else "")


def _limit_line(verdict: LimitVerdict, solution: Solution, units: System) -> LimitLine:
    name = verdict.limit.property
    word = "TIGHT" if verdict.verdict == "meets" and is_tight(verdict) else verdict.verdict
    seen = seen_words(verdict, solution.properties.get(name), units)
    return LimitLine(quantity(name).label, bound_words(verdict.limit, units), seen, word)


def _more(left: Sequence[LimitVerdict]) -> str:
    if not left:
        return ""
    failed = [quantity(v.limit.property).label for v in left if v.verdict != "meets"]
    return f"not met: {', '.join(failed)}" if failed else f"({len(left)} more, all met)"


def _urgency(verdict: LimitVerdict) -> int:
    if verdict.verdict != "meets":
        return 0
    return 1 if is_tight(verdict) else 2


def _cautions(keys: Sequence[str], most: int) -> Iterator[str]:
    """Yield the most urgent cautions, and always those of the finished vessel."""
    urgent = [key for key in keys if key in CARD_CAUTIONS and key not in _LASTING]
    lasting = [key for key in _LASTING if key in keys]
    yield from (CARD_CAUTIONS[key] for key in (*urgent[: max(0, most - len(lasting))], *lasting))
