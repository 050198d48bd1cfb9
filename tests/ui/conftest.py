"""Fixtures of the command line: run it in this process, on a job that solves in a moment."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from ui.cli import run

SMALL = """
title = "Small tumbler"
currency = "EUR"
materials = ["gypsum_cement", "marble_flour"]
example_prices = true
[vessel]
cavity_volume = "215 mL"
[limits]
dry_strength = ">= 25 MPa"
whiteness = ">= 88"
[prices.gypsum_cement]
pack = "25 kg"
price = 41.50
[prices.marble_flour]
pack = "25 kg"
price = 14.00
"""
"""A job of two powders; prices are invented."""


@dataclass(frozen=True)
class Ran:
    """What one command left behind."""

    code: int
    out: str
    err: str


Command = Callable[..., Ran]


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run the command line on its words, with bytes on standard input if any."""

    def ran(*words: object, stdin: bytes = b"") -> Ran:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8"))
        code = run([str(word) for word in words])
        out, err = capsys.readouterr()
        return Ran(code, out, err)

    return ran


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """Write the small job to a file."""
    path = tmp_path / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


@pytest.fixture
def impossible(tmp_path: Path) -> Path:
    """Write a job that no blend can do: as strong as steel."""
    path = tmp_path / "impossible.toml"
    path.write_text(SMALL.replace(">= 25 MPa", ">= 240 MPa"), encoding="utf-8")
    return path
