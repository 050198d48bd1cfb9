"""Doors through which strangers' text comes in, what to throw at each, and what may come of it.

A target takes one input and returns; it raises `AssertionError` when anything but a documented error comes
out, or when the answer is no answer. Inputs are half nonsense, half almost right: real texts, damaged.
"""

from __future__ import annotations

import csv
import io
import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import tomli_w
from hypothesis import strategies as st

from optimizer.errors import FileFaults, NoBlend, QuantityError, VesselblendError
from optimizer.job import Job
from optimizer.jobfile import TEMPLATES, parse_job, template
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP, VESSEL, read_limits, read_objective
from optimizer.materials import Catalogue
from optimizer.nomenclature import PROPERTIES, QUANTITIES
from optimizer.specs import load_catalogue, specs_folder
from optimizer.studies.check import check
from optimizer.sweep import read_scenarios
from optimizer.toml_files import decoded, parse_toml
from optimizer.trials.columns import read_header
from optimizer.trials.exchange import export_trials, read_trials
from optimizer.trials.table_files import read_csv_text, write_csv_text
from optimizer.units import parse
from ui.draft import drafted
from ui.jobs import blend_of, read_amounts, read_blend, read_water_ratio
from ui.trial_typing import typed_trial

__all__ = [
    "DRY",
    "JOBS",
    "NOISE",
    "NUMBER",
    "SENTENCE",
    "TARGETS",
    "Target",
    "damaged",
    "rebuilt",
    "trials_file",
]

UNITS = sorted(
    {row.unit for row in QUANTITIES.values()} | {"kg", "mL", "mm", "km", "currency/h", "kJ/g", "%"}
)
DRY = [name for name in load_catalogue() if load_catalogue()[name].role != "water"]
KEYS = [*TOP, *PROPERTIES, *(key.name for keys in (VESSEL, CANDLE, SHOP, PRICE, BOUNDS) for key in keys)]
ATOMS = st.sampled_from(
    [
        *(
            "0",
            "-1",
            "1,5",
            "1.234,5",
            "1,234",
            "1e9",
            "1e999",
            "nan",
            "inf",
            "-0",
            "½",
            "٣",
            "1_0",
            "0x1F",
            "9" * 400,
        ),
        *(
            "<=",
            ">=",
            "≤",
            "=",
            ":",
            "|",
            ",",
            ";",
            ".",
            "%",
            "@",
            '"',
            "'",
            "[",
            "]",
            "{",
            "}",
            "#",
            "\\",
            "\t",
            "\n",
        ),
        *(
            " ",
            "\r\n",
            "\0",
            "\ufeff",
            "\u202e",
            "\x1b[31m",
            "=1+1",
            "kg",
            "MPa",
            "min",
            "C",
            "F",
            "d",
            "h",
            "mL",
            "psi",
        ),
        *(
            "low",
            "true",
            "__import__('os')",
            "!!python/object",
            "../../etc",
            "${PATH}",
            "{0}",
            "%s",
            "2026-02-30",
        ),
    ]
)
NOISE = st.text(max_size=6) | ATOMS | st.sampled_from(KEYS + DRY)
SENTENCE = st.lists(NOISE, max_size=10).map("".join)
NUMBER = st.one_of(st.floats().map(repr), st.integers().map(str), st.decimals().map(str), ATOMS)
QUANTITY = st.tuples(NUMBER, st.sampled_from([*UNITS, "", "oz", "lb", "fl oz", "deg F", "µm", "kg/m3"])).map(
    " ".join
)


@dataclass(frozen=True)
class Target:
    """One door.

    Attributes
    ----------
    inputs : SearchStrategy
        What is thrown at it.
    run : Callable
        Takes one input; raises `AssertionError` when anything undocumented comes of it.
    """

    inputs: st.SearchStrategy[Any]
    run: Callable[[Any], object]


@st.composite
def damaged(draw: st.DrawFn, texts: st.SearchStrategy[str]) -> str:
    """Return a real text with a few pieces cut out, doubled or replaced by noise."""
    text = draw(texts)
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        length = draw(st.sampled_from([0, 0, 1, 2, 5, 20, 60]))
        piece = draw(st.one_of(SENTENCE, QUANTITY, st.just(text[start : start + length] * 2)))
        text = text[:start] + piece + text[start + length :]
    return text


SCALARS = st.one_of(
    st.booleans(),
    st.integers(),
    st.floats(),
    SENTENCE,
    QUANTITY,
    st.dates(),
    st.datetimes(),
    st.times(),
    NOISE,
)
TREES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(NOISE, inner, max_size=4)),
    max_leaves=10,
)


@st.composite
def rebuilt(draw: st.DrawFn, texts: st.SearchStrategy[str]) -> str:
    """Return a real TOML text with some values replaced by others, still TOML."""
    data = parse_toml(draw(texts), "text")
    for _ in range(draw(st.integers(1, 3))):
        table = data
        while True:
            name = draw(st.sampled_from(sorted(table)) if table else st.just("x"))
            inner = table.get(name)
            if not isinstance(inner, dict) or draw(st.integers(0, 3)) == 0:
                break
            table = inner
        table[draw(st.sampled_from([name, name, name, draw(NOISE)]))] = draw(TREES)
    try:
        return tomli_w.dumps(data)
    except (UnicodeEncodeError, ValueError, TypeError):  # no TOML for it
        return ""


JOBS = st.sampled_from(TEMPLATES).map(template)
SPECS = st.sampled_from(sorted(path.name for path in specs_folder().glob("*.toml")))


def _spec_texts(name: str) -> st.SearchStrategy[str]:
    text = st.just((specs_folder() / name).read_text(encoding="utf-8"))
    return damaged(text) | rebuilt(text)


@st.composite
def _changed_figures(draw: st.DrawFn, name: str) -> str:
    """Return a shipped spec file with a figure or two of another size."""
    data = parse_toml((specs_folder() / name).read_text(encoding="utf-8"), name)
    figures = [each for each in (*data.values(), *data.get("figures", {}).values()) if _is_figure(each)]
    for figure in draw(st.lists(st.sampled_from(figures), max_size=2)) if figures else ():
        number, _, unit = str(figure["value"]).partition(" ")
        try:
            changed = float(number) * draw(st.sampled_from([0.0, 1e-6, 0.1, 0.5, 2.0, 10.0, 1e3, -1.0]))
        except ValueError:
            continue
        figure["value"] = figure["low"] = figure["high"] = f"{changed!r} {unit}".strip()
    return tomli_w.dumps(data)


def _is_figure(value: object) -> bool:
    return isinstance(value, dict) and "value" in value


def _lines_of(error: FileFaults) -> None:
    lines = str(error).splitlines()
    assert len(lines) == len(error.faults) > 0, lines
    assert all(len(line) < 2000 for line in lines), max(map(len, lines))


def _repaired(error: QuantityError) -> None:
    assert error.repair, error
    assert len(str(error)) < 2000, error


def _job(text: str) -> Job | None:
    try:
        return parse_job(text, load_catalogue(), "job.toml")
    except FileFaults as error:
        _lines_of(error)
        return None


def _job_bytes(content: bytes) -> None:
    try:
        text = decoded(content, "job.toml")
    except FileFaults as error:
        _lines_of(error)
        return
    _job(text)


def _quantity(given: tuple[str, str]) -> None:
    text, unit = given
    try:
        value = parse(text, unit)
    except QuantityError as error:
        _repaired(error)
        return
    assert math.isfinite(value), value


def _limits(given: tuple[str, str]) -> None:
    name, text = given
    for read in (lambda: read_limits(name, text), lambda: read_objective(text)):
        try:
            read()
        except QuantityError as error:
            _repaired(error)


def _blend(text: str) -> None:
    catalogue = load_catalogue()
    for read in (
        lambda: read_blend(text, catalogue),
        lambda: read_amounts(text, catalogue, "g", "--weighed", water=True),
        lambda: read_water_ratio(text),
        lambda: blend_of(text, catalogue),
    ):
        try:
            read()
        except FileFaults as error:
            _lines_of(error)
        except NoBlend:
            pass


@cache
def _small() -> Job:
    job = _job(template("job"))
    assert job is not None
    return job


def _checked_blend(text: str) -> None:
    """Judge any blend that reads, and see that every figure is a number or none."""
    catalogue = load_catalogue()
    try:
        parts = read_blend(text, catalogue)
        solution = check(_small(), parts, catalogue)
    except VesselblendError:
        return
    assert solution.mix is not None
    assert all(math.isfinite(grams) and grams >= 0.0 for grams in solution.mix.grams.values()), solution.mix


def _specs(given: tuple[str, str]) -> Catalogue | None:
    name, text = given
    with tempfile.TemporaryDirectory() as folder:
        try:
            Path(folder, name).write_text(text, encoding="utf-8", errors="surrogatepass")
            return load_catalogue(folder)
        except FileFaults as error:
            _lines_of(error)
            return None


def _used_specs(given: tuple[str, str]) -> None:
    """Judge a blend with whatever spec files were taken for good."""
    catalogue = _specs(given)
    if catalogue is None:
        return
    name = Path(given[0]).stem
    parts = {"gypsum_cement": 50.0, "rapid_set_mortar": 40.0} | ({name: 10.0} if name in DRY else {})
    try:
        check(parse_job(template("demo"), catalogue, "demo"), parts, catalogue)
    except VesselblendError:
        return


def _table(text: str) -> None:
    try:
        table = read_csv_text(text, "trials.csv")
    except FileFaults as error:
        _lines_of(error)
        return
    assert len(table.trials) == len(table.rows)
    for line in csv.reader(io.StringIO(write_csv_text(table.trials), newline="")):
        assert not any(cell.startswith(("=", "+", "@", "\t")) for cell in line), line


def _spreadsheet(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "trials.xlsx")
        path.write_bytes(content)
        try:
            read_trials(path)
        except FileFaults as error:
            _lines_of(error)


def _readings(readings: list[str]) -> None:
    try:
        typed_trial(readings, None, None)
    except FileFaults as error:
        _lines_of(error)
    read_header(readings, "trials.csv")


def _scenarios(text: str) -> None:
    try:
        scenarios = read_scenarios([text], None, parse_toml(template("demo"), "demo"))
    except FileFaults as error:
        _lines_of(error)
        return
    assert 1 <= len(scenarios) <= 10_000_000


def _scenario_table(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "scenarios.csv")
        path.write_text(text, encoding="utf-8", errors="surrogatepass")
        try:
            read_scenarios([], path, parse_toml(template("demo"), "demo"))
        except FileFaults as error:
            _lines_of(error)


def _fields(edits: dict[str, str]) -> None:
    """Type anything into the fields of the page."""
    try:
        draft = drafted(template("demo"), edits, load_catalogue())
    except UnicodeEncodeError:  # half a letter, which no browser sends
        return
    assert (draft.job is None) == bool(draft.faults)


@cache
def trials_file(ending: str) -> bytes:
    """Return a file of trials as the book exports it."""
    from datetime import date

    from optimizer.trials.records import Portion, Strength, Trial

    trial = Trial(
        date(2026, 3, 2),
        id="a",
        portions=(Portion("gypsum_cement", 300.0), Portion("marble_flour", 100.0)),
        water=121.5,
        demold=41.0,
        strengths=(Strength(21.5, 60.0, "wet"),),
        remarks="=1+1, größer",
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"trials.{ending}")
        export_trials([trial, trial], path)
        return path.read_bytes()


@st.composite
def damaged_bytes(draw: st.DrawFn, content: bytes) -> bytes:
    """Return the bytes of a real file with some changed, cut out or added."""
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(content)))
        length = draw(st.sampled_from([0, 1, 4, 100, len(content)]))
        content = content[:start] + draw(st.binary(max_size=8)) + content[start + length :]
    return content


AXIS = st.lists(
    st.tuples(
        st.sampled_from(["shop.wage", "limits.dry_mass", "prices.silica_sand.price", "objective"]) | NOISE,
        ATOMS,
        SENTENCE,
        ATOMS,
    ).map("".join),
    min_size=1,
    max_size=3,
).map(", ".join)
ROWS = st.lists(st.lists(NOISE | QUANTITY, min_size=1, max_size=4).map(",".join), max_size=4).map("\n".join)
EDITS = st.dictionaries(
    st.sampled_from(
        [f"limits.{name}" for name in PROPERTIES] + [f"shop.{key.name}" for key in SHOP] + ["title"]
    ),
    SENTENCE | QUANTITY | NUMBER,
    max_size=4,
)

TARGETS: dict[str, Target] = {
    "quantities": Target(st.tuples(SENTENCE | QUANTITY | NUMBER, st.sampled_from(UNITS)), _quantity),
    "limits": Target(
        st.tuples(st.sampled_from(PROPERTIES), SENTENCE | damaged(st.just("<= 35 min"))), _limits
    ),
    "job texts": Target(damaged(JOBS) | rebuilt(JOBS) | SENTENCE, _job),
    "uploaded files": Target(st.binary(max_size=300) | damaged_bytes(template("demo").encode()), _job_bytes),
    "page fields": Target(EDITS, _fields),
    "blends": Target(SENTENCE | damaged(st.just("gypsum_cement=62,5; silica_sand=37.5 %@0.33")), _blend),
    "checked blends": Target(
        st.lists(
            st.tuples(st.sampled_from(DRY), st.just("="), NUMBER).map("".join), min_size=1, max_size=4
        ).map(";".join),
        _checked_blend,
    ),
    "spec files": Target(
        SPECS.flatmap(lambda name: st.tuples(st.just(name) | st.just("own.toml"), _spec_texts(name))),
        _specs,
    ),
    "used spec files": Target(
        SPECS.flatmap(lambda name: st.tuples(st.just(name), _changed_figures(name))), _used_specs
    ),
    "trial tables": Target(damaged(st.just(trials_file("csv").decode())) | ROWS | SENTENCE, _table),
    "spreadsheets": Target(damaged_bytes(trials_file("xlsx")) | st.binary(max_size=60), _spreadsheet),
    "typed readings": Target(st.lists(SENTENCE | damaged(st.just("demold=38 min")), max_size=4), _readings),
    "sweep axes": Target(
        AXIS | damaged(st.just("shop.temperature=10C:35C:6, limits.whiteness=80|90")), _scenarios
    ),
    "sweep tables": Target(
        ROWS | damaged(st.just("shop.wage,limits.dry_mass <=\n20 /h,300 g\n")), _scenario_table
    ),
}
