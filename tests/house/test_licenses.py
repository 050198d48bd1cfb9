"""Licenses of everything an installation brings along: permissive, and listed in DEVELOPERS.md.

What each package says of itself in its metadata (core metadata, PEP 639).
"""

from __future__ import annotations

import importlib.metadata as metadata
import re
import tomllib
from collections.abc import Iterable
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"]
SHIPPED = {
    "installed": PROJECT["dependencies"],
    "cluster": EXTRAS["cluster"],
}
FAMILIES = {
    "BSD": r"BSD",
    "MIT": r"\bMIT\b",
    "Apache 2.0": r"Apache",
    "MPL 2.0": r"MPL|Mozilla",
    "PSF": r"PSF|Python Software",
}
"""Families that oblige a user of the tool to nothing, by the words metadata use."""


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def license_of(name: str) -> str:
    """Return the license a package names, expression before classifiers before free text."""
    about = metadata.metadata(name)
    classifiers = [c for c in about.get_all("Classifier") or [] if c.startswith("License ::")]
    said = about.get("License-Expression") or "; ".join(classifiers) or about.get("License") or ""
    return said.splitlines()[0] if said else ""


def family(said: str) -> str:
    return next((name for name, words in FAMILIES.items() if re.search(words, said)), "unknown")


def brought_along(requirements: Iterable[str]) -> dict[str, str]:
    """Return the license of each package the requirements bring, whatever else they bring included."""
    out: dict[str, str] = {}
    waiting = [Requirement(text) for text in requirements]
    while waiting:
        wanted = waiting.pop()
        name = plain(wanted.name)
        if name in out or not _needed(wanted):
            continue
        try:
            inner = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue  # of an extra that is not installed
        out[name] = license_of(name)
        asked = [Requirement(text) for text in inner]
        waiting += [each for each in asked if _needed(each) or any(_needed(each, e) for e in wanted.extras)]
    return out


def _needed(wanted: Requirement, extra: str = "") -> bool:
    return wanted.marker is None or wanted.marker.evaluate({"extra": extra})


def test_everything_brought_along_is_permissive():
    known = brought_along(text for texts in SHIPPED.values() for text in texts)
    assert len(known) > 30
    assert {name: said for name, said in known.items() if family(said) == "unknown"} == {}


@pytest.mark.parametrize("text", [text for texts in SHIPPED.values() for text in texts])
def test_the_guide_lists_what_is_asked_for(text):
    name = plain(Requirement(text).name)
    try:
        said = license_of(name)
    except metadata.PackageNotFoundError:
        pytest.skip(f"{name} is not installed")
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    row = re.search(rf"^\| {re.escape(name)} \| (.*?) \|", guide, re.M)
    assert row, f"no row for {name} under Libraries in DEVELOPERS.md"
    assert row[1] == family(said)
