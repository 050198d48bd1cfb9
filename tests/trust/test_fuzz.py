"""Nonsense at every door: documented errors only, in bounded time and memory.

A few hundred inputs each here; ``python -m tests.trust.fuzz --count 1000000`` for a long night.
"""

from __future__ import annotations

import time
import tracemalloc

import pytest
from hypothesis import HealthCheck, given, settings

from tests.trust.fuzz_targets import TARGETS
from tests.trust.whole_commands import COMMANDS

SECONDS = 5.0
"""Processor time for one input; generous, for it is held on any machine."""

BYTES = 200 * 2**20


def _bounded(run, given_input):
    begun = time.process_time()
    run(given_input)
    assert time.process_time() - begun < SECONDS, "too slow"


@pytest.mark.parametrize("door", TARGETS)
def test_nonsense_ends_in_documented_errors(door):
    target = TARGETS[door]

    @settings(max_examples=40, suppress_health_check=list(HealthCheck), database=None)
    @given(target.inputs)
    def check(given_input):
        _bounded(target.run, given_input)

    check()


@settings(max_examples=25, suppress_health_check=list(HealthCheck), database=None)
@given(COMMANDS.inputs)
def test_whole_commands_end_in_documented_exit_codes(given_input):
    COMMANDS.run(given_input)


BOMBS = {
    "keys that nest": "[" + "a." * 100 + "a]\nx = 1\n",
    "points in a key": "a." * 5000 + "a = 1",
    "deep arrays": "x = " + "[" * 5000 + "]" * 5000,
    "deep tables": "x = " + "{a = " * 3000 + "1" + "}" * 3000,
    "long text": 'title = "' + "x" * 900_000 + '"',
    "many keys": "\n".join(f"k{k} = 1" for k in range(60_000)),
    "many tables": "\n".join(f"[t{k}]" for k in range(60_000)),
    "a number without end": "x = " + "9" * 5000,
    "quotes": 'x = "' * 50_000,
    "long array": "x = [" + "1," * 200_000 + "]",
}


CROWDED = ("job texts", "spec files", "trial tables", "sweep tables", "blends", "sweep axes")


def _thrown(door, bomb):
    TARGETS[door].run(("own.toml", BOMBS[bomb]) if door == "spec files" else BOMBS[bomb])


@pytest.mark.parametrize("door", CROWDED)
@pytest.mark.parametrize("bomb", BOMBS)
def test_bombs_take_little_time(door, bomb):
    begun = time.process_time()
    _thrown(door, bomb)
    assert time.process_time() - begun < 2.0 * SECONDS


@pytest.mark.parametrize("door", CROWDED)
def test_bombs_take_little_memory(door):
    tracemalloc.start()  # it makes everything slow: a few bombs stand for all
    try:
        for bomb in ("deep tables", "long text", "points in a key"):
            _thrown(door, bomb)
        assert tracemalloc.get_traced_memory()[1] < BYTES
    finally:
        tracemalloc.stop()
