"""The likely range of a cost in words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.ui.conftest import SMALL, Command
from tests.ui.test_page_logic import folder, opened, text_of
from ui.cost_words import cost_range_words

__all__ = ["folder"]

MOVES = {"sealer_coats": (-0.95, 0.95), "drying_time": (-0.002, 0.003), "dry_mass": (0.0, 0.1)}


@pytest.mark.parametrize(
    ("cost", "span", "words"),
    [
        (7.412, (7.411, 7.413), "Hardly moves with what is unsure of the blend"),
        (7.34, (6.38, 7.35), "7.35 EUR: less if it takes fewer coats of sealer; hardly more"),
        (6.71, (6.71, 7.67), "hardly less; more if it takes more coats of sealer"),
        (6.71, (6.71, float("inf")), "or more, without end where no number of coats seals it"),
    ],
)
def test_a_range_says_what_moves_it(cost: float, span: tuple[float, float], words: str) -> None:
    assert words in cost_range_words(cost, span, MOVES, "EUR")


def test_the_first_screen_names_no_range_of_one_figure() -> None:
    words = text_of(opened())
    assert "Hardly moves with what is unsure" in words or " if it " in words
    assert "nan" not in words


@pytest.mark.parametrize(
    ("bound", "words"),
    [
        (8.9, ("design", "JOB", "--proof", "0")),
        (6.0, ("design", "JOB", "--proof", "0")),
        (8.9, ("check", "JOB", "--blend", "gypsum_cement=7; marble_flour=3", "--against", "gypsum_cement=1")),
        (8.9, ("order", "JOB", "--vessels", "40", "--due", "2031-03-01", "--start", "2031-01-06")),
        (8.9, ("frontier", "JOB", "--points", "3", "--over", "cost,dry_strength")),
    ],
    ids=lambda part: str(part) if isinstance(part, float) else part[0],
)
def test_every_cost_people_read_is_in_whole_cents(
    command: Command, tmp_path: Path, bound: float, words: tuple[str, ...]
) -> None:
    path = tmp_path / "job.toml"
    path.write_text(SMALL.replace("[limits]", f'[limits]\ncost = "<= {bound}"'), encoding="utf-8")
    text = command(*(path if word == "JOB" else word for word in words)).out
    lines = [line for line in text.splitlines() if "EUR" in line or "cost" in line]
    figures = [
        number
        for line in lines
        for number in re.findall(r"[0-9]+\.[0-9]+(?= EUR)|<= [0-9.]+$|<= [0-9.]+ ", line)
    ]
    assert figures
    assert [each for each in figures if not re.search(r"\.[0-9]{2}\s*$", each)] == []
