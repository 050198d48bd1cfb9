"""Whole commands with nonsense in their words and in the files they read, run in this process.

Most words and files are almost right, so that much gets past the first check. What may come of it: an exit
code of the README's table, no trace, and no file outside the folder.
"""

from __future__ import annotations

import contextlib
import io
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from unittest import mock

import click
from hypothesis import strategies as st

from tests.trust.fuzz_targets import DRY, JOBS, NOISE, NUMBER, SENTENCE, Target, damaged, rebuilt, trials_file
from ui.cli import cli, run

__all__ = ["COMMANDS", "Given", "typed"]

Leaf = tuple[tuple[str, ...], click.Command]
"""A command with the words that call it."""

Given = tuple[list[str], str, str]
"""Words of a command, text of ``job.toml``, text of ``trials.csv``."""

CODES = {0, 2, 3, 4, 5}
"""Exit codes of the README less those of an internal error and of Ctrl-C."""

LEFT_OUT = {"page", "sweep"}
"""A server never ends, and a sweep takes as long as it is told to; its axes and tables have own doors."""

FILES = st.sampled_from(["job.toml", "job.toml", "job.toml", "trials.csv", "-", ".", "none.toml", "out/x"])
BLEND = st.sampled_from(["gypsum_cement=1", "gypsum_cement=62,5; silica_sand=37.5 %", "silica_sand=1"])
DAY = st.sampled_from(["2026-12-18", "2027-02-29", "2026-01-01", "1999-12-31", "tomorrow"])
READING = st.sampled_from(
    [
        "gypsum_cement=300",
        "water=120",
        "demold=38 min",
        "vessel dry mass=352 g",
        "date=2026-11-02",
        "whiteness=91",
    ]
)
VALUES: dict[str, st.SearchStrategy[str]] = {
    "job": FILES,
    "file": FILES | st.just("trials.csv"),
    "name": st.sampled_from(DRY) | NOISE,
    "readings": READING | NOISE,
    "weighed": READING | NOISE,
    "book": st.sampled_from(["trials.db", "job.toml", "none/trials.db", "."]),
    "specs": st.sampled_from([".", "none"]),
    "calibration": st.sampled_from([".", "job.toml", "none"]),
    "output": st.sampled_from(["answer.txt", "-", "none/answer.txt", "."]),
    "blend": BLEND | damaged(BLEND),
    "against": BLEND | damaged(BLEND),
    "water_ratio": NUMBER,
    "against_water_ratio": NUMBER,
    "over": st.sampled_from(["cost,demold_time", "cost, dry_mass, whiteness", "cost"]) | SENTENCE,
    "points": st.sampled_from(["3", "5"]),
    "seconds": st.sampled_from(["0", "0.05"]),
    "prove": st.sampled_from(["0", "0.05"]),
    "vessels": st.sampled_from(["1", "24", "300", "10000"]),
    "due": DAY,
    "start": DAY,
}


def _leaves(
    command: click.Command, words: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    if isinstance(command, click.Group):
        for name, inner in command.commands.items():
            if name not in LEFT_OUT:
                yield from _leaves(inner, (*words, name))
    else:
        yield words, command


LEAVES = list(_leaves(cli))


@st.composite
def typed(draw: st.DrawFn) -> list[str]:
    """Return the words of some command with some of its options, a few of them nonsense."""
    words, command = draw(st.sampled_from(LEAVES))
    out = list(words)
    for option in command.params:
        if not (option.required or draw(st.booleans())):
            continue
        sense = _values(option)
        value = draw(st.integers(0, 9).flatmap(lambda odd, sense=sense: SENTENCE if odd == 0 else sense))
        named = isinstance(option, click.Option)
        out.extend([option.opts[0]] if named else [])
        out.extend([] if named and option.is_flag else [value])
    return out


def _values(option: click.Parameter) -> st.SearchStrategy[str]:
    known = VALUES.get(str(option.name))
    if known is not None:
        return known
    if isinstance(option.type, click.Choice):
        return st.sampled_from([str(choice) for choice in option.type.choices])
    return NUMBER


def _run(given: Given) -> None:
    words, job, trials = given
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        Path("job.toml").write_text(job, encoding="utf-8", errors="surrogatepass")
        Path("trials.csv").write_text(trials, encoding="utf-8", errors="surrogatepass")
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="replace") for _ in range(2))
        stdin = io.TextIOWrapper(io.BytesIO(job.encode("utf-8", "surrogatepass")), encoding="utf-8")
        with (
            mock.patch.object(sys, "stdin", stdin),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            code = run(words)
        said = _text(out) + _text(err)
    assert code in CODES, (code, said[-2000:])
    assert "Traceback" not in said, said[-2000:]


def _text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    buffer = stream.buffer
    assert isinstance(buffer, io.BytesIO)
    return buffer.getvalue().decode("utf-8", "replace")


_BOOK = st.just(trials_file("csv").decode())
COMMANDS = Target(
    st.tuples(
        typed(),
        JOBS | damaged(JOBS) | rebuilt(JOBS),
        _BOOK | damaged(_BOOK),
    ),
    _run,
)
