"""Which tests execute which line of the code, and how long each takes.

The tests are run once under ``coverage``. A context is one test, with all its parameters, or one fixture that
several tests share; what such a fixture executes counts for every test that asks for it.
"""

from __future__ import annotations

import ast
import functools
import json
import math
import os
import signal
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

import coverage
import pytest

OWN: Final = ("optimizer", "ui", "tests")
_NEAR: Final = 4.0
"""A test of another package is tried as if it took so many times as long."""


@dataclass(frozen=True)
class Reached:
    """What one run of the tests showed.

    Parameters
    ----------
    seconds
        Time of each test with the fixtures it asks for [s].
    lines
        Tests that execute a line, by file below the copy and line.
    failed
        Tests that fail as the code stands: they hold nothing.
    modules
        Modules of libraries that the tests imported.
    """

    seconds: dict[str, float]
    lines: dict[str, dict[int, list[str]]]
    failed: list[str]
    modules: list[str]

    def at(self, places: Iterable[tuple[str, int]]) -> set[str]:
        """Return the tests that execute one of the lines."""
        found = {test for file, line in places for test in self.lines.get(file, {}).get(line, ())}
        return found - set(self.failed)

    def of_package(self, package: str) -> set[str]:
        """Return the tests in the folder of a package's tests."""
        return {test for test in self.seconds if test.startswith(f"tests/{package}/")} - set(self.failed)

    def order(self, tests: set[str], package: str, most: float) -> list[str]:
        """Return the fastest tests first, those of a package before others, until `most` seconds.

        Tests of about the same length stay together by file, because a change of file ends shared fixtures.
        """

        def rank(test: str) -> tuple[int, bool, str, float]:
            away = not test.startswith((f"tests/{package}/", f"optimizer/{package}/"))
            seconds = self.seconds[test] * (_NEAR if away else 1.0)
            return math.floor(math.log(max(seconds, 0.02), 4.0)), away, test.split("::")[0], seconds

        out, used = [], 0.0
        for test in sorted(tests, key=rank):
            if used >= most:
                break
            out.append(test)
            used += self.seconds[test]
        return out


class _Recorder:
    """A plugin of pytest that tells coverage which test, or which shared fixture, is being run."""

    def __init__(self, measured: coverage.Coverage, packages: tuple[str, ...]) -> None:
        self.packages = packages
        self.measured = measured
        self.seconds: Counter[str] = Counter()
        self.tests: dict[str, list[Any]] = defaultdict(list)
        self.failed: set[str] = set()
        self._stack: list[str] = []
        self._since = time.perf_counter()

    def _turn_to(self, name: str) -> None:
        now = time.perf_counter()
        if self._stack:
            self.seconds[self._stack[-1]] += now - self._since
        self._since = now
        self.measured.switch_context(name)

    def _within(self, name: str) -> Generator[None, Any, Any]:
        self._turn_to(name)
        self._stack.append(name)
        try:
            return (yield)
        finally:
            before = self._stack[-2] if len(self._stack) > 1 else ""
            self._turn_to(before)
            self._stack.pop()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: Any) -> Generator[None, Any, Any]:
        forget_results(self.packages)
        self.tests[_function(item.nodeid)].append(item)
        return (yield from self._within(_function(item.nodeid)))

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Generator[None, Any, Any]:
        if fixturedef.scope == "function":
            return (yield)
        return (yield from self._within(_fixture(fixturedef.baseid, fixturedef.argname)))

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.outcome == "failed":
            self.failed.add(_function(report.nodeid))

    def shared_by(self) -> dict[str, list[str]]:
        """Return which tests ask for each context; a test asks for its own."""
        fixtures = [tuple(name.split("\n")) for name in self.seconds if "\n" in name]
        out: dict[str, list[str]] = {test: [test] for test in self.tests}
        for base, name in fixtures:
            out[_fixture(base, name)] = [
                test
                for test, items in self.tests.items()
                if test.startswith(base) and any(name in getattr(each, "fixturenames", ()) for each in items)
            ]
        return out


def _function(nodeid: str) -> str:
    return nodeid.split("[")[0]


def _fixture(base: str, name: str) -> str:
    return f"{base}\n{name}"


def forget_results(packages: tuple[str, ...]) -> None:
    """Empty what functions of some packages remember, so that each test executes the lines it rests on."""
    own = tuple(f"optimizer.{package}" for package in packages)
    for name, module in list(sys.modules.items()):
        if name.startswith(own):
            for each in list(vars(module).values()):
                if isinstance(each, functools._lru_cache_wrapper):
                    each.cache_clear()


def measure(copy: Path, packages: tuple[str, ...], asked: Sequence[str], found: Path) -> int:
    """Run the tests of a copy of the project and write what they reached to a file."""
    measured = coverage.Coverage(data_file=None, include=[f"{copy}/optimizer/*"], config_file=False)
    measured.set_option("run:core", "ctrace")  # the newer core tells only the first test of a line
    recorder = _Recorder(measured, packages)
    measured.start()
    code = pytest.main(["-q", "-p", "no:cacheprovider", "-p", "no:xdist", *asked], plugins=[recorder])
    measured.stop()
    shared, data = recorder.shared_by(), measured.get_data()
    seconds = dict.fromkeys(recorder.tests, 0.0)
    for context, tests in shared.items():
        for test in tests:
            seconds[test] += recorder.seconds[context]
    lines = {
        str(Path(file).relative_to(copy)): {
            line: sorted({test for context in contexts for test in shared.get(context, ())})
            for line, contexts in data.contexts_by_lineno(file).items()
        }
        for file in data.measured_files()
    }
    modules = [
        name
        for name, module in sys.modules.items()
        if (file := getattr(module, "__file__", None)) and not file.startswith(f"{copy}/")
    ]
    text = {"seconds": seconds, "lines": lines, "failed": sorted(recorder.failed), "modules": sorted(modules)}
    found.write_text(json.dumps(text), encoding="utf-8")
    return int(code)


def read(found: Path) -> Reached:
    """Return what `measure` wrote."""
    text = json.loads(found.read_text(encoding="utf-8"))
    text["lines"] = {
        file: {int(line): tests for line, tests in lines.items()} for file, lines in text["lines"].items()
    }
    return Reached(**text)


def in_fork(copy: Path, work: Callable[[], int], seconds: float, log: Path) -> int | None:
    """Return the exit code of work on a copy of the project in a process of its own, None if it has no end.

    The process starts with all libraries that this one has imported, and with nothing of the project.
    """
    process = get_context("fork").Process(target=_inside, args=(copy, work, log))
    process.start()
    try:
        process.join(seconds)
        return process.exitcode
    finally:
        if process.is_alive():
            os.killpg(process.pid or 0, signal.SIGKILL)
            process.join()


def _inside(copy: Path, work: Callable[[], int], log: Path) -> None:
    os.setsid()
    file = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(file, 1)
    os.dup2(file, 2)
    sys.stdout, sys.stderr = os.fdopen(1, "w"), os.fdopen(2, "w")
    os.chdir(copy)
    os.environ["PYTHONPATH"] = str(copy)
    sys.path.insert(0, str(copy))
    for name in [name for name in sys.modules if name.split(".")[0] in OWN]:
        del sys.modules[name]
    code = work()
    sys.stdout.flush()
    sys.exit(code)


@functools.cache
def uses(folder: Path) -> dict[str, set[tuple[str, int]]]:
    """Return the lines of `optimizer` below a folder in which each name or attribute is read."""
    out = defaultdict(set)
    for path in sorted((folder / "optimizer").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Load):
                name = node.id if isinstance(node, ast.Name) else node.attr
                out[name].add((str(path.relative_to(folder)), node.lineno))
    return dict(out)
