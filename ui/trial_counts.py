"""Which readings of a trial count for the fit, and what the others lack: said as it is entered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.readings import Reading, Studio, readings_of
from optimizer.job import Vessel
from optimizer.materials import Catalogue
from optimizer.trials.records import Trial

_READINGS: Final = ("mass", "strength", "hottest while setting", "test burn")
"""What a reason begins with that is about one reading; others are about the whole trial."""


@dataclass(frozen=True)
class Counts:
    """What a fit takes of one trial.

    Attributes
    ----------
    taken : tuple[str, ...]
        Readings that count, in words.
    lacking : tuple[str, ...]
        What to note, or to do, for the readings that do not.
    """

    taken: tuple[str, ...]
    lacking: tuple[str, ...]

    @property
    def taken_words(self) -> str:
        """What counts, as one sentence."""
        return (
            f"The fit takes: {', '.join(self.taken)}." if self.taken else "The fit takes nothing of it yet."
        )

    @property
    def lacking_words(self) -> str:
        """What does not count and why, as one sentence; empty where everything does."""
        return f"Noted, but the fit leaves it out: {'; '.join(self.lacking)}." if self.lacking else ""

    @property
    def left_out(self) -> str:
        """Which readings do not count, in a few words; the whole trial where it lacks a mix."""
        names = (reason.partition(":")[0] for reason in self.lacking)
        return ", ".join(dict.fromkeys(name if name in _READINGS else "all of it" for name in names))


def counts_of(trial: Trial, catalogue: Catalogue, studio: Studio | None = None) -> Counts:
    """Return what a fit takes of a trial.

    Parameters
    ----------
    trial : Trial
        As noted, in the book or not yet.
    studio : Studio | None
        Where it was cast; None: as in a fit that names a job.

    Examples
    --------
    >>> import datetime as dt
    >>> from optimizer.specs import load_catalogue
    >>> from optimizer.trials.records import Portion, Strength
    >>> strength = Strength(36.0, 1440.0)
    >>> plain = Trial(dt.date(2026, 3, 2), portions=(Portion("gypsum_cement", 300.0),), water=105.0)
    >>> found = counts_of(replace(plain, demold=58.0, strengths=(strength,)), load_catalogue())
    >>> found.taken
    ('time out of the mold (an upper bound)',)
    >>> found.lacking
    ('strength: note whether the piece tested was wet or dry',)
    >>> found.left_out
    'strength'
    """
    studio = Studio(vessel=Vessel(trial.cavity_volume or 200.0)) if studio is None else studio
    _, readings, unused = readings_of([replace(trial, id=trial.id or "new")], catalogue, studio)
    return Counts(
        tuple(dict.fromkeys(map(_words, readings))), tuple(dict.fromkeys(one.reason for one in unused))
    )


def _words(reading: Reading) -> str:
    if reading.kind == "demold":
        return "time out of the mold (an upper bound)" if reading.side else "first time out of the mold"
    return KINDS[reading.kind].words
