"""The examples in the docstrings of the words shared by command line, card and page hold."""

from __future__ import annotations

import doctest
import importlib

import pytest


@pytest.mark.parametrize(
    "name",
    [
        "ui.words",
        "ui.reasons",
        "ui.jobs",
        "ui.delivery",
        "ui.terminal",
        "ui.card",
        "ui.material_text",
        "ui.order_text",
    ],
)
def test_docstring_examples_hold(name: str) -> None:
    done = doctest.testmod(importlib.import_module(name))
    assert done.failed == 0


def test_there_are_examples() -> None:
    assert doctest.testmod(importlib.import_module("ui.words")).attempted > 15
