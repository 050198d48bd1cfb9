"""The job being edited on the page: a job file's text, with what stands in the fields laid over it.

Fields hold text as it was typed. Units, ranges and rules are the job file's own: the edited tables are
written as TOML and read by `optimizer.jobfile`, and a fault goes back to the field its key belongs to.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.job import Job, Price, Shop
from optimizer.jobfile import parse_job, template
from optimizer.jobfile.keys import PRICE as PRICE_KEYS
from optimizer.jobfile.keys import SHOP as SHOP_KEYS
from optimizer.jobfile.keys import TOP_VALUES, UNTITLED, reach
from optimizer.key_kinds import PLAIN_UNITS
from optimizer.materials import Catalogue
from optimizer.nomenclature import quantity
from optimizer.problem import counts_money
from optimizer.units import System
from ui.unit_text import field_in

_WHERE: Final = "job"
_SENSE: Final = re.compile(r"\s*(<=|>=|≤|≥|<|>|=)")
_PAIR: Final = re.compile(r"[:=]")

_SHOP, _PRICE = Shop(), Price(pack=1.0, price=0.0)
_STATED: Final = ("pack", "price")
_DEMO: Final = tomllib.loads(template("demo"))
_TITLED: Final = ("vessel", "limits")
"""Tables of the demo that its title speaks of."""

_NO_TITLE: Final = re.compile(rf"{re.escape(_DEMO['title'])}|{UNTITLED}|[0-9.]+ mL vessel")
"""Titles nobody gave: the demo's, that of a job without one, and a vessel's."""

_MONEY: Final = ("shop.wage", "shop.mold_price")
"""Money of the demo beside its prices."""

_SHARES: Final = frozenset({"confidence", "shop.humidity", "shop.reject", "shop.waste"})
"""Keys whose plain numbers read better as percent."""

_FRACTIONS: Final = frozenset(
    key.name for key in (*TOP_VALUES, *SHOP_KEYS, *PRICE_KEYS) if getattr(key, "unit", "") == "fraction"
)
_RANGE: Final = re.compile(r"(^|above |at most |below )([0-9.]+)( or more|(?=,|$))")
"""An end of a range of fractions, for those who write percent."""

Tables = dict[str, Any]


@dataclass(frozen=True)
class Drafted:
    """What the fields say.

    Attributes
    ----------
    text : str
        Job file of the draft, as typed.
    job : Job | None
        The job; None while anything in the draft cannot be read.
    faults : Mapping[str, Fault]
        Fault by dotted key (``limits.demold_time``); empty when there is a job.
    """

    text: str
    job: Job | None
    faults: Mapping[str, Fault]


@lru_cache(maxsize=32)
def tables_of(text: str) -> Tables:
    """Return the tables of a job file that is known to be TOML; they are shared: leave them as is."""
    return tomllib.loads(text)


def field_value(tables: Mapping[str, Any], key: str) -> Any:  # noqa: ANN401  text, flag or list
    r"""Return what a field shows for a dotted key: the file's words, without the sense of a limit.

    Examples
    --------
    >>> job = tables_of('[limits]\ndemold_time = "<= 60 min"')
    >>> field_value(job, "limits.demold_time"), field_value(job, "shop.prep")
    ('60 min', '')
    """
    return _shown(_value(tables, key), key)


def shows(tables: Mapping[str, Any], key: str, shown: object) -> bool:
    r"""Tell whether a field shows what a file states for a key, in its own units or in US ones.

    A figure that is only shown in other units is the file's own, to the last digit.

    Examples
    --------
    >>> job = tables_of('[vessel]\ncavity_volume = "215 mL"')
    >>> [shows(job, "vessel.cavity_volume", text) for text in ("215 mL", "7.27 fl oz", "7.3 fl oz")]
    [True, True, False]
    """
    return shown in (field_value(tables, key), field_text(tables, key, "us"))


def field_text(tables: Mapping[str, Any], key: str, units: System) -> Any:  # noqa: ANN401  as above
    """Return what a field shows for a dotted key in the units shown."""
    own = field_value(tables, key)
    return field_in(own, units, limit=key.startswith("limits.")) if isinstance(own, str) else own


def default_text(key: str) -> str:
    """Return what holds while a field of the shop or of a price is empty; empty text for other keys.

    Examples
    --------
    >>> default_text("shop.cast_minutes"), default_text("prices.marble_flour.packs_per_order")
    ('8 min', '1')
    >>> default_text("vessel.wall"), default_text("prices.marble_flour.pack")
    ('', '')
    """
    section, _, name = key.rpartition(".")
    keys, defaults = (PRICE_KEYS, _PRICE) if section.startswith("prices.") else (SHOP_KEYS, _SHOP)
    known = next((each for each in keys if section and section != "limits" and each.name == name), None)
    value = None if known is None or name in _STATED else getattr(defaults, known.field or name, None)
    return "" if known is None or value in (None, ()) else str(_shown(known.write(value), key))


def laid_over(tables: Mapping[str, Any], edits: Mapping[str, Any]) -> Tables:
    """Return the tables with edited values in place; an empty text takes a key out.

    Parameters
    ----------
    edits : Mapping[str, Any]
        Text, flag or list by dotted key.
    """
    new: Tables = {name: dict(each) if isinstance(each, dict) else each for name, each in tables.items()}
    for key, value in edits.items():
        if not shows(tables, key, value):
            _put(new, key, value.strip() if isinstance(value, str) else value)
    _without_unlisted(new)
    if new.get("example_prices") and invented(tables) and not invented(new):
        del new["example_prices"]
    return new


def invented(tables: Mapping[str, Any]) -> list[str]:
    """Return the dotted keys of the money of a job that are still the demo's invented examples.

    Examples
    --------
    >>> job = tables_of(template("demo"))
    >>> len(invented(job)), len(invented(laid_over(job, {"shop.wage": "24 /h"})))
    (9, 8)
    """
    if not tables.get("example_prices"):
        return []
    keys = (*(f"prices.{name}.price" for name in tables["materials"]), *_MONEY)
    pairs = ((key, field_value(tables, key)) for key in keys)
    return [key for key, value in pairs if value and value == field_value(_DEMO, key)]


def drafted(text: str, edits: Mapping[str, Any], catalogue: Catalogue) -> Drafted:
    """Return the draft of a job file's text under `edits`: its job, or its faults by key.

    Examples
    --------
    >>> from optimizer.jobfile import template
    >>> from optimizer.specs import load_catalogue
    >>> draft = drafted(template("demo"), {"limits.demold_time": "soon"}, load_catalogue())
    >>> draft.job is None, draft.faults["limits.demold_time"].repair
    (True, 'Begin with a number.')
    """
    import tomli_w

    new = tomli_w.dumps(laid_over(tables_of(text), edits))
    try:
        job = parse_job(new, catalogue, _WHERE)
    except FileFaults as error:
        return Drafted(new, None, {_field_of(fault): _as_typed(fault, edits) for fault in error.faults})
    unpriced = _unpriced(job)
    if unpriced:
        return Drafted(new, None, unpriced)
    title = _true_title(tables_of(new), job)
    if title == job.title:
        return Drafted(new, job, {})
    titled = replace(job, title=title, stated=job.stated | {"title"})
    return Drafted(tomli_w.dumps({"title": title} | tables_of(new) | {"title": title}), titled, {})


def _true_title(tables: Mapping[str, Any], job: Job) -> str:
    """Return what a job is called: by its vessel, where the title was made for another job or is none."""
    same = all(tables.get(part) == _DEMO.get(part) for part in _TITLED)
    if field_value(tables, "title") or same:
        return job.title
    return f"{float(f'{job.vessel.cavity_volume:.3g}'):g} mL vessel"


def with_blend(text: str, blend: str) -> str:
    r"""Return a job file's text with the selected blend as text; without any where it is the design's own.

    Examples
    --------
    >>> tables_of(with_blend('title = "Cup"\n', "gypsum_cement=100@0.3"))["in_hand"]
    'gypsum_cement=100@0.3'
    """
    import tomli_w

    known = tables_of(text)
    if known.get("in_hand", "") == blend:
        return text
    return tomli_w.dumps(laid_over(known, {"in_hand": blend}))


def _unpriced(job: Job) -> dict[str, Fault]:
    """Return a fault for each powder without a price, where money counts; by the key of its pack."""
    bare = [name for name in job.materials if name not in job.prices] if counts_money(job) else []
    repair = "Write its pack and its price, or take it out of the powders."
    return {
        f"prices.{name}.pack": Fault(
            f"{_WHERE}:prices.{name}.pack", "nothing", "a price for every powder the blend may use", repair
        )
        for name in bare
    }


def whose(tables: Mapping[str, Any], demo: Mapping[str, Any], key: str, shown: object) -> str:
    """Return whose figure a field shows: ``yours`` or ``example``.

    A figure is an example when the field is empty, so that the package's default holds, or when a job that
    says its prices are examples shows the demo's own value.

    Examples
    --------
    >>> demo = {"example_prices": True, "shop": {"wage": "20 /h"}}
    >>> whose(demo, demo, "shop.wage", "20 /h"), whose(demo, demo, "shop.wage", "24 /h")
    ('example', 'yours')
    """
    if shown in ("", []):
        return "example"
    return "example" if tables.get("example_prices") and shows(demo, key, shown) else "yours"


def _value(tables: Mapping[str, Any], key: str) -> Any:  # noqa: ANN401  any TOML value
    value: Any = tables
    for part in key.split("."):
        value = value.get(part) if isinstance(value, dict) else None
    return value


def _shown(value: Any, key: str) -> Any:  # noqa: ANN401
    """Return a value of a file as its field holds it: numbers and limits as text, flags and lists as is."""
    if key.startswith("limits."):
        return _SENSE.sub("", _own_bound(value, key)).strip()
    if key.endswith(".breaks"):
        return _breaks_text(value or [])
    if value is None or (key == "title" and _NO_TITLE.fullmatch(str(value))):
        return ""
    if key in _SHARES and not isinstance(value, str):
        return f"{100.0 * value:g} %"
    return value if isinstance(value, bool | list | str) else f"{value:g}"


def _own_bound(value: object, key: str) -> str:
    """Return of two bounds on one property the one whose sense the field speaks of."""
    texts = value if isinstance(value, list) else [value or ""]
    own = [str(each) for each in texts if str(each).startswith(_sense_of(key))]
    return next(iter([*own, *map(str, texts)]), "")


def _sense_of(key: str) -> str:
    return ">=" if quantity(key.removeprefix("limits.")).better == "higher" else "<="


def _put(tables: Tables, key: str, value: Any) -> None:  # noqa: ANN401
    *path, last = key.split(".")
    table = tables
    for part in path:
        table[part] = dict(table.get(part, {}))
        table = table[part]
    if key.startswith("limits."):
        bounds = _bounds(table.get(last, []), key, value)
        value = bounds[0] if len(bounds) == 1 else bounds
    elif last == "breaks":
        value = _breaks(value)
    if value in ("", []):
        table.pop(last, None)
    else:
        table[last] = value


def _bounds(known: object, key: str, text: str) -> list[str]:
    """Return the bounds of a property with the one the field speaks of replaced, or gone."""
    own = _own_bound(known, key)
    others = [str(each) for each in (known if isinstance(known, list) else [known]) if each != own]
    if not text:
        return others
    return [text if _SENSE.match(text) else f"{_sense_of(key)} {text}", *others]


def _breaks_text(rows: list[Any]) -> str:
    pairs = (tuple(row.values()) if isinstance(row, dict) else row for row in rows)
    return "; ".join(f"{packs}: {price}" for packs, price in pairs)


def _breaks(text: str) -> list[list[str]]:
    """Return price breaks typed as ``10: 38.50; 40: 36``; the job file says what is wrong with them."""
    return [[cell.strip() for cell in _PAIR.split(row)] for row in text.split(";") if row.strip()]


def _without_unlisted(tables: Tables) -> None:
    for section in ("prices", "bounds"):
        if section in tables:
            listed = tables["materials"]
            tables[section] = {name: each for name, each in tables[section].items() if name in listed}


def _as_typed(fault: Fault, edits: Mapping[str, Any]) -> Fault:
    """Return a fault in the words of the page: with what was typed, and no line to add to a file."""
    if fault.value == "nothing" and fault.repair.startswith("Add "):
        return replace(fault, repair="Write it here.")
    key = _field_of(fault)
    typed = edits.get(key)
    if key.rpartition(".")[2] in _FRACTIONS:
        fault = replace(fault, allowed=_RANGE.sub(_percent, fault.allowed))
    if not key.startswith("limits.") or not isinstance(typed, str):
        return fault
    if typed.lstrip().startswith(("-", "−")) and reach(key.removeprefix("limits.")).low == 0.0:
        unit = "" if quantity(key.removeprefix("limits.")).unit in PLAIN_UNITS else " with its unit"
        fault = replace(fault, repair=f"Write a number above 0{unit}, or nothing for no limit.")
    return fault if _SENSE.match(typed) else replace(fault, value=repr(typed))


def _percent(found: re.Match[str]) -> str:
    return f"{found[1]}{100.0 * float(found[2]):g} %{found[3]}"


def _field_of(fault: Fault) -> str:
    return fault.where.removeprefix(f"{_WHERE}:")
