"""What the page asks the optimizer: a job as text, and what the studio's trials taught, as text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from optimizer.calibration.files import parse_calibration
from optimizer.calibration.record import Calibration, parameter_set
from optimizer.errors import Fault, FileFaults
from optimizer.fingerprint import fingerprint
from optimizer.job import Job
from optimizer.jobfile import parse_job
from optimizer.materials import Catalogue
from optimizer.property_model.parameters import ParameterSet
from optimizer.solution import Solution
from optimizer.specs import load_catalogue
from ui.new_powder import FOLDER


def catalogue() -> Catalogue:
    """Return the materials and their figures: shipped ones, and own ones from the folder beside the book.

    An own file that cannot be read leaves the shipped materials; `own_faults` tells why.
    """
    return _catalogue(_own_files())[0]


def own_faults() -> tuple[Fault, ...]:
    """Return the faults of own spec files."""
    return _catalogue(_own_files())[1]


def own_specs() -> str | None:
    """Return the folder of own spec files; None where there are none."""
    return FOLDER if _own_files() else None


def _own_files() -> tuple[tuple[str, int], ...]:
    """Return the own spec files and when each was changed."""
    return tuple(sorted((str(path), path.stat().st_mtime_ns) for path in Path(FOLDER).glob("*.toml")))


@lru_cache(maxsize=8)
def _catalogue(files: tuple[tuple[str, int], ...]) -> tuple[Catalogue, tuple[Fault, ...]]:
    try:
        return load_catalogue(FOLDER if files else None), ()
    except FileFaults as error:
        return load_catalogue(), error.faults


@dataclass(frozen=True)
class Question:
    """A job that reads without fault, and the calibration in use; equal texts have equal answers.

    Attributes
    ----------
    text : str
        Job file.
    calibration : str
        Calibration file's text; empty: the shipped figures.
    """

    text: str
    calibration: str = ""

    @property
    def job(self) -> Job:
        """The job."""
        return _job(self.text)

    @property
    def trials(self) -> int:
        """Trials the figures are fitted to [count]."""
        return len(self.trial_ids)

    @property
    def trial_ids(self) -> tuple[str, ...]:
        """Names of the trials the figures are fitted to."""
        return _calibration(self.calibration).trials if self.calibration else ()

    def parameters(self, extra: Iterable[str] = ()) -> ParameterSet | None:
        """Return the fitted parameters for the job's materials and `extra` ones; None for shipped figures.

        Raises
        ------
        FileFaults
            If the figures have changed since the trials were fitted.
        """
        if not self.calibration:
            return None
        names = tuple(dict.fromkeys((*self.job.materials, *extra)))
        return parameter_set(_calibration(self.calibration), catalogue(), names)

    def signed(self, solution: Solution) -> Solution:
        """Return an answer with the fingerprint of all it rests on, the calibration too."""
        if not self.calibration:
            return solution
        mark = fingerprint(self.job, catalogue(), self.calibration, solution.named_mix)
        return replace(solution, fingerprint=mark)


@lru_cache(maxsize=128)
def _job(text: str) -> Job:
    return parse_job(text, catalogue(), "job")


@lru_cache(maxsize=8)
def _calibration(text: str) -> Calibration:
    return parse_calibration(text, "calibration")
