"""Options that several commands share, and the exit codes they return."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click

if TYPE_CHECKING:
    from ui.jobs import Asked

__all__ = [
    "NO_BLEND",
    "NO_VERDICT",
    "VERDICT_CODES",
    "Figures",
    "Seconds",
    "book_option",
    "figure_options",
    "job_options",
    "yes_option",
]

NO_BLEND: Final = 3
"""No blend meets the limits, or a checked blend or an order fails."""

NO_VERDICT: Final = 5
"""Too little is known for a verdict."""

VERDICT_CODES: Final = {"holds": 0, "fails": NO_BLEND, "uncertain": NO_VERDICT}


class Seconds(click.FloatRange):
    """A time a command may take [s]; no number is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401  as click hands it over
        """Return the time; click's own refusal where it is none."""
        seconds = float(super().convert(value, param, ctx))
        if math.isnan(seconds):
            self.fail(f"{value!r} is not a number of seconds.", param, ctx)
        return seconds


def job_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the option ``--specs``."""
    helped = "Folder of spec files that add materials or replace shipped ones."
    return click.option("--specs", metavar="DIR", help=helped)(command)


def book_option(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the option ``--book``."""
    helped = "File of the trial book."
    return click.option("--book", metavar="FILE", default="trials.db", show_default=True, help=helped)(
        command
    )


def yes_option(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the option ``--yes``."""
    helped = "Take readings that seldom are, such as a strength below 0.5 MPa, without asking."
    return click.option("--yes", is_flag=True, help=helped)(command)


@dataclass(frozen=True)
class Figures:
    """Where the figures of an answer come from.

    Attributes
    ----------
    specs : str | None
        Folder of own spec files.
    calibration : str | None
        Calibration file, a folder whose newest one counts, ``demo`` or ``none``; None: as the job says.
    """

    specs: str | None
    calibration: str | None

    def ask(self, job: str | None) -> Asked:
        """Read a job with these figures; `FileFaults` of all that is read."""
        from ui.jobs import ask

        return ask(job, self.specs, self.calibration)


def figure_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options ``--specs`` and ``--calibration``, as one `Figures`."""

    @job_options
    @click.option(
        "--calibration",
        metavar="FILE",
        help="What `trials fit` learned: file, folder of the newest, demo or none; else as the job says.",
    )
    @functools.wraps(command)
    def with_figures(*, specs: str | None, calibration: str | None, **options: Any) -> int:  # noqa: ANN401  a command's own
        return command(figures=Figures(specs, calibration), **options)

    return with_figures
