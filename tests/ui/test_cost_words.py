"""The likely range of a cost in words."""

from __future__ import annotations

import pytest

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
