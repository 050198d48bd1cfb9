"""Asking about readings that can be and seldom are, before they are taken."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace

import click

from optimizer.errors import Fault
from optimizer.trials.checks import DoubtfulReadings
from ui.delivery import say


def believed(faults: Sequence[Fault], *, yes: bool = False) -> None:
    """Return where nothing is odd or somebody says that it is right.

    Parameters
    ----------
    yes
        True: it was said already that it is right.

    Raises
    ------
    DoubtfulReadings
        If nobody is there to be asked, or the answer is no.
    """
    if not faults or yes:
        return
    if sys.stdin is not None and sys.stdin.isatty():
        for fault in faults:
            say(str(fault))
        if click.confirm("Is this right", err=True):
            return
    repair = "Correct it, or add --yes if it is right."
    raise DoubtfulReadings(replace(fault, repair=repair) for fault in faults)
