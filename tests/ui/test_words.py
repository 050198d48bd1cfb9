"""The examples in the docstrings of the words shared by command line, card and page hold."""

from __future__ import annotations

import doctest
import importlib

import pytest

WITH_EXAMPLES = ("words", "reasons", "delivery", "material_text", "order_text")


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_docstring_examples_hold(name: str) -> None:
    done = doctest.testmod(importlib.import_module(f"ui.{name}"))
    assert done.attempted > 0
    assert done.failed == 0
