"""Change the code in one place at a time and see whether a test falls: ``python -m tests.trust.mutants``.

Works on a copy in a temporary folder. The tests are run once to know which of them execute which line; a
change is then tried by those that reach it, the fastest first. Which places are changed depends on the seed
and the code alone, so a run can be repeated; a survivor is a line that no test holds to its meaning, or a
change without one.
"""

from __future__ import annotations

import argparse
import importlib
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Final

import pytest

from tests.trust.changes import Mutant, mutant_at, places_of
from tests.trust.reached import OWN, Reached, in_fork, measure, read, uses

ROOT = Path(__file__).resolve().parents[2]
PACKAGES: Final = ("verdict", "money", "certificate", "calibration", "trials", "property_model")
"""Packages of `optimizer`; the tests of each lie in the folder of its name."""
_RAN: Final = 10
"""Added to what pytest returns: a process that itself fails returns 1, too."""
_CODES: Final = {_RAN: "survived", _RAN + 1: "killed", _RAN + 2: "killed", None: "no end"}
_OPTIONS: Final = ("-q", "-x", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")
"""The warning says that a plugin was imported before pytest began, which is meant."""


def chosen(packages: tuple[str, ...], count: int, seed: int) -> list[tuple[str, Mutant]]:
    """Return `count` changes spread evenly over packages, and within each at random."""
    out = []
    for turn, package in enumerate(packages):
        files = sorted((ROOT / "optimizer" / package).rglob("*.py"))
        found = [(path, number) for path in files for number in places_of(path)]
        share = count // len(packages) + (turn < count % len(packages))
        dice = random.Random(f"{seed} {package}")
        out += [(package, mutant_at(*place)) for place in dice.sample(found, min(share, len(found)))]
    return out


def survivors(printed: str, packages: tuple[str, ...]) -> list[tuple[str, Mutant]]:
    """Return the changes that an earlier run named as survivors, where the code still has their lines."""
    named = {line.removeprefix("survived ") for line in printed.splitlines() if line.startswith("survived ")}
    out = []
    for package in packages:
        for path in sorted((ROOT / "optimizer" / package).rglob("*.py")):
            if any(line.startswith(f"{path.relative_to(ROOT)}:") for line in named):
                found = [mutant_at(path, number) for number in places_of(path)]
                out += [(package, mutant) for mutant in found if _where(mutant) in named]
    return out


def trying(
    package: str, mutant: Mutant, reached: Reached, used: dict[str, set[tuple[str, int]]], most: float
) -> list[str]:
    """Return the tests for a change: those that reach its lines, else lines that read the names it sets."""
    file = str(mutant.path.relative_to(ROOT))
    found = reached.at((file, line) for line in mutant.lines)
    found = found or reached.at(place for name in mutant.names for place in used.get(name, ()))
    return reached.order(found or reached.of_package(package), package, most)


def outcome(copy: Path, tests: list[str], mutant: Mutant | None, seconds: float) -> tuple[str, str]:
    """Return ``killed``, ``survived``, ``no end`` in so many seconds, or ``broken``, and the test that fell.

    A run that pytest itself cannot finish (``broken``) says nothing of the change. Without a change the tests
    are run as they are: all must pass, or no later outcome means anything.
    """
    place = None if mutant is None else mutant.path.relative_to(ROOT)
    log = copy / "mutant.log"
    kept = copy / "original.txt"
    if place is not None and mutant is not None:
        shutil.copy2(copy / place, kept)
        (copy / place).write_text(mutant.text, encoding="utf-8")
    try:
        code = in_fork(copy, partial(_run, tests, place), seconds, log)
    finally:
        if place is not None:
            shutil.move(kept, copy / place)
    fell = re.search(
        r"^(?:FAILED|ERROR) (\S+)", log.read_text(encoding="utf-8", errors="replace"), re.MULTILINE
    )
    return _CODES.get(code, "broken"), fell[1] if fell else ""


def _run(tests: list[str], changed: Path | None) -> int:
    """Return `_RAN` and pytest's exit code for some tests, 1 where the changed module cannot be imported."""
    # What is compiled from a changed file must not be taken for the original's, or for the next change's.
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    if changed is not None:
        try:
            importlib.import_module(".".join(changed.with_suffix("").parts).removesuffix(".__init__"))
        except Exception as fault:  # whatever it is, every test of the module would fall by it
            sys.stdout.write(f"ERROR import:{type(fault).__name__}\n")
            return _RAN + 1
    return _RAN + int(pytest.main([*_OPTIONS, *tests]))


def _warm(modules: list[str]) -> None:
    """Import the libraries that tests use, so that each process starts with them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name in modules:
            if name.split(".")[0] not in OWN:
                try:
                    importlib.import_module(name)
                except (
                    Exception
                ):  # a module of a library that is not imported by its name: it costs time only
                    continue


def _measured(copy: Path, kept: Path | None, tests: Sequence[str]) -> Reached:
    """Return what the tests reach, from an earlier run's file if there is one."""
    found = kept or copy / "reached.json"
    if (
        not found.exists()
        and in_fork(copy, partial(measure, copy, PACKAGES, tests, found), 7200.0, copy / "log") is None
    ):
        raise SystemExit("the tests did not end in two hours")
    if not found.exists():
        raise SystemExit((copy / "log").read_text(encoding="utf-8", errors="replace"))
    reached = read(found)
    for test in reached.failed:
        sys.stdout.write(f"left out, for it fails as the code stands: {test}\n")
    return reached


def _asked() -> argparse.Namespace:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--count", type=int, default=300)
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--seconds", type=float, default=300.0, help="after which a change has no end")
    reader.add_argument(
        "--reached", type=Path, help="file with what the tests reach; written where there is none"
    )
    reader.add_argument(
        "--most", type=float, default=60.0, help="for the tests of one change, as measured [s]"
    )
    reader.add_argument("--again", type=Path, help="what an earlier run printed: try its survivors only")
    reader.add_argument(
        "--tests", nargs="+", help="what pytest runs; else the tests and examples of the packages"
    )
    reader.add_argument("packages", nargs="*", default=list(PACKAGES))
    asked = reader.parse_args()
    asked.tests = asked.tests or [
        f"{top}/{each}" for top in ("tests", "optimizer") for each in asked.packages
    ]
    return asked


def main() -> None:
    """Print each change as it is tried and the test that fell, then the share that fell."""
    asked = _asked()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that what runs the tests is ended, too
    tried = chosen(tuple(asked.packages), asked.count, asked.seed)
    if asked.again:
        tried = survivors(asked.again.read_text(encoding="utf-8"), tuple(asked.packages))
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder).resolve() / "copy"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache"))
        reached = _measured(copy, asked.reached, asked.tests)
        _warm(reached.modules)
        used, ends, killers = uses(ROOT), Counter[str](), set()
        for package, mutant in tried:
            end, by = outcome(copy, trying(package, mutant, reached, used, asked.most), mutant, asked.seconds)
            ends[end] += 1
            killers.add(by.split("[")[0])
            sys.stdout.write(f"{end} {_where(mutant)}\n" + (f"    {by}\n" if by else ""))
            sys.stdout.flush()
        # A test that falls without a change, by the order in which it was run, has killed nothing.
        alone, by = outcome(copy, sorted(killers & set(reached.seconds)), None, 3600.0)
    sys.stdout.write(", ".join(f"{count} {end}" for end, count in ends.most_common()) + f" of {len(tried)}\n")
    if alone != "survived":
        raise SystemExit(f"not all tests that fell pass as the code stands: {by}")


def _where(mutant: Mutant) -> str:
    return f"{mutant.path.relative_to(ROOT)}:{mutant.lines[0]} {mutant.words}"


if __name__ == "__main__":
    main()
