"""The examples in the docstrings of the words shared by command line, card and page hold."""

from __future__ import annotations

import doctest
import importlib
import math

import pytest

from optimizer.solution import Proof
from ui.reasons import proof_words

WITH_EXAMPLES = ("words", "reasons", "order_text")


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_docstring_examples_hold(name: str) -> None:
    done = doctest.testmod(importlib.import_module(f"ui.{name}"))
    assert done.attempted > 0
    assert done.failed == 0


@pytest.mark.parametrize(
    ("proved", "gap", "words"),
    [
        pytest.param(True, 0.0009, "proved within 0.1 %", id="below-the-usual-gap"),
        pytest.param(True, 0.1, "proved within 10 %", id="a-wide-gap-asked-for"),
        pytest.param(False, 0.1, "is within 10 %", id="a-wide-gap-left"),
        pytest.param(False, 0.003, "is within 0.3 %", id="a-small-gap-left"),
        pytest.param(False, math.inf, "is not proved", id="nothing-known"),
    ],
)
def test_a_proof_says_its_own_gap(proved, gap, words):
    assert words in proof_words(Proof(proved, 3.4, gap, 1.0, finished=True))
