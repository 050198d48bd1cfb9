"""Trials as a caster types them, as a list, and as JSON."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.specs import load_catalogue
from optimizer.trials.book import TrialBook
from optimizer.trials.cells import read_row
from optimizer.trials.columns import read_header
from optimizer.trials.records import Portion, Trial
from optimizer.trials.rows import Entry
from optimizer.units import System, show, significant
from ui.jobs import read_amounts
from ui.terminal import Block, sentence, table

__all__ = ["listed_blocks", "opened", "trial_json", "typed_trial"]

_TYPED: Final = "trials add"


def opened(path: Path) -> TrialBook:
    """Return the trial book at `path`; `FileFaults` where there is none."""
    if not path.exists():
        repair = "Name it with --book, or begin one: vesselblend trials add"
        raise FileFaults([Fault(str(path), "no such file", "a trial book", repair)])
    return TrialBook(path)


def typed_trial(readings: Sequence[str], weighed: str | None, specs: str | None) -> Trial:
    """Return the trial of ``name=value`` readings and of a line of weighed grams.

    Raises
    ------
    FileFaults
        All faults of what was typed.
    """
    if not readings and weighed is None:
        repair = (
            'Write what was weighed and read, such as --weighed "gypsum_cement=300, water=105" demold=38min.'
        )
        raise FileFaults([Fault(_TYPED, "nothing", "at least one mass or reading", repair)])
    parts = [reading.partition("=") for reading in readings]
    shapeless = [name for name, equals, _ in parts if not equals]
    if shapeless:
        repair = 'Write name=value, such as "demold=38 min".'
        raise FileFaults([Fault(_TYPED, repr(text[:60]), "name=value", repair) for text in shapeless])
    names = [name.strip() for name, _, _ in parts]
    cells = [value.strip() for _, _, value in parts]
    if "date" not in (name.lower() for name in names):
        names, cells = ["date", *names], [dt.date.today().isoformat(), *cells]
    headers, faults = read_header(names, _TYPED)
    trial, wrong = read_row(cells, headers, _TYPED, decimal_comma=True)
    if faults or wrong or trial is None:
        raise FileFaults(replace(fault, where=_TYPED) for fault in (*map(_named, faults), *wrong))
    return trial if weighed is None else _with_weighed(trial, weighed, specs)


def _named(fault: Fault) -> Fault:
    """Return the fault of a table's header as one of a typed name."""
    return replace(fault, repair="Correct the name; `vesselblend trials export` writes all there are.")


def _with_weighed(trial: Trial, weighed: str, specs: str | None) -> Trial:
    grams = read_amounts(weighed, load_catalogue(specs), "g", "--weighed", water=True)
    powders = tuple(Portion(name, mass) for name, mass in grams.items() if name != "water")
    return replace(trial, portions=(*trial.portions, *powders), water=grams.get("water", trial.water))


def trial_json(trial: Trial) -> dict[str, Any]:
    """Return what was noted of a trial as JSON, in the units of its records."""
    return {name: value for name, value in _plain(trial).items() if value not in (None, "", [])}


def listed_blocks(entries: Sequence[Entry], count: int, units: System) -> Iterator[Block]:
    """Give a list of trials, newest first."""
    heads = ("trial", "blend", "water", "demold", "strength", "whiteness")
    yield table(heads, [_row(entry.trial, units) for entry in entries])
    yield sentence(f"{len(entries)} of {count} trials.", gap=True)


def _row(trial: Trial, units: System) -> list[str]:
    shares = ", ".join(f"{100.0 * share:.0f} % {name}" for name, share in trial.blend.items())
    ratio = "" if trial.water_ratio is None else f"{trial.water_ratio:.3f}"
    demold = "" if trial.demold is None else show(trial.demold, "demold_time", units)
    strengths = [
        f"{'' if s.sense == '=' else s.sense}{show(s.value, 'dry_strength', units)}" for s in trial.strengths
    ]
    white = "" if trial.whiteness is None else significant(trial.whiteness, 3)
    return [trial.id, shares, ratio, demold, ", ".join(strengths), white]


def _plain(value: Any) -> Any:  # noqa: ANN401  any part of a record
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return value.isoformat() if isinstance(value, dt.date) else value
