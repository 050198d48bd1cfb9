"""Small files that swell are refused, or read, within bounds; times are told by the script of `bombs`."""

from __future__ import annotations

import sys

import pytest

from tests.trust.bombs import BOMBS, burst

QUICK = ("a million rows claimed", "a cell in the last row", "empty cells in the last column", "a large PNG")
"""Bombs set off in every run; the others are those of `-m slow`."""

MOST_MEMORY = 500.0
"""Most memory that a command may hold while it reads a file from elsewhere [MB]."""


@pytest.mark.skipif(sys.platform != "linux", reason="reads the most memory held from /proc")
@pytest.mark.parametrize(
    "name", [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in BOMBS]
)
def test_a_bomb_is_handled_in_bounds(name, tmp_path):
    done = burst(BOMBS[name], tmp_path)
    assert BOMBS[name].told in done.said, done.said
    assert done.megabytes < MOST_MEMORY
    assert done.code == (0 if BOMBS[name].told == "whiteness" else 4)
    assert not list(tmp_path.glob("trials.db*"))
