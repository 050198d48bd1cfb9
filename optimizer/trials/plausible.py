"""What a trial may be but seldom is: asked about before it is taken.

`checks` refuses what cannot be; here stands what is more often a slip of the unit or of the decimal mark.
All bounds are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from optimizer.constants import MPA_PER_PSI
from optimizer.errors import Fault, FileFaults
from optimizer.trials.records import Trial

_WEAKEST: Final = 0.5
"""A strength below this [MPa] is more often one of another unit, or 5,600 read as 5.6."""

_WETTEST: Final = 1.2
_DRIEST: Final = 0.1
"""Water per powder outside of these [g/g] is more often a slip."""

_RIGHT: Final = "Correct it, or say that it is right."


class DoubtfulReadings(FileFaults):
    """Readings that can be, and seldom are: to be taken only when somebody says that they are right."""


def doubtful(trial: Trial) -> tuple[Fault, ...]:
    """Return what to ask about before `trial` is taken.

    Parameters
    ----------
    trial : Trial
        A record that `checks.trial_faults` lets pass [-].

    Returns
    -------
    tuple[Fault, ...]
        Empty when nothing is odd; `where` is the field (``strengths.2.value``).

    Examples
    --------
    >>> import datetime as dt
    >>> from optimizer.trials.records import Strength
    >>> [fault.where for fault in doubtful(Trial(dt.date(2026, 3, 2), strengths=(Strength(0.039),)))]
    ['strengths.1.value']
    """
    return (*_strengths(trial), *_water(trial))


def _strengths(trial: Trial) -> Iterator[Fault]:
    for number, one in enumerate(trial.strengths, start=1):
        if 0.0 < one.value < _WEAKEST:
            allowed = f"{_WEAKEST:g} MPa ({_WEAKEST / MPA_PER_PSI:.0f} psi) or more, as a rule"
            yield Fault(f"strengths.{number}.value", f"{one.value:.3g} MPa", allowed, _RIGHT)


def _water(trial: Trial) -> Iterator[Fault]:
    if not trial.portions or not trial.powder_mass:
        return
    if not trial.water:
        if trial.cast:
            allowed = "the water weighed: without it the casting teaches nothing"
            yield Fault("water", "castings without water", allowed, _RIGHT)
        return
    ratio = trial.water / trial.powder_mass
    if not _DRIEST <= ratio <= _WETTEST:
        shown = f"{trial.water:g} g to {trial.powder_mass:g} g of powder, a water ratio of {ratio:.3g}"
        yield Fault("water", shown, f"a water ratio of {_DRIEST:g} to {_WETTEST:g}, as a rule", _RIGHT)
