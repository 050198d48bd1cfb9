"""Options that several commands share, and the exit codes they return."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import click

__all__ = ["NO_BLEND", "NO_VERDICT", "VERDICT_CODES", "job_options"]

NO_BLEND: Final = 3
"""No blend meets the limits, or a checked blend or an order fails."""

NO_VERDICT: Final = 5
"""Too little is known for a verdict."""

VERDICT_CODES: Final = {"meets": 0, "fails": NO_BLEND, "too close to call": NO_VERDICT}


def job_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the option ``--specs``."""
    helped = "Folder of spec files that add materials or replace shipped ones."
    return click.option("--specs", metavar="DIR", help=helped)(command)
