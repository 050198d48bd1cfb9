"""A calibration as a dated text file: to undo it is to remove the file.

The newest file of a folder is the one in use; a new calibration never overwrites an older one. Same
trials, same figures and same date give the same text.
"""

from __future__ import annotations

import datetime as dt
import re
import string
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.record import Bag, Calibration, Flagged, Learned, parameter_set
from optimizer.chain.parameters import ParameterSet
from optimizer.errors import Fault, FileFaults
from optimizer.materials import Catalogue
from optimizer.outputs import create_whole
from optimizer.toml_files import parse_toml, read_text

__all__ = [
    "calibrated",
    "calibration_text",
    "keep_calibration",
    "newest_calibration",
    "parse_calibration",
    "read_calibration",
]

Array = NDArray[np.float64]

_PREFIX: Final = "calibration-"
_NAME: Final = re.compile(rf"{_PREFIX}\d{{4}}-\d\d-\d\d-[a-z]{{1,2}}\.toml")
_PER_LINE: Final = 6
_ROUNDING: Final = 1e-6
_HEAD: Final = """\
# What this studio's own trials say about the figures of the chain. To undo this calibration, remove this
# file: the one before it, or the shipped figures, count again. Each figure with its standard error:
"""
_ROWS: Final = """
# Correlation of the figures in the order above, each row up to its own figure.
[correlation]
rows = [
"""


def calibration_text(calibration: Calibration) -> str:
    """Return a calibration as TOML; same calibration, same text."""
    import tomli_w

    tables = {
        "date": calibration.date,
        "version": calibration.version,
        "priors": calibration.priors,
        "materials": list(calibration.materials),
        "trials": list(calibration.trials),
        "flagged": [asdict(one) for one in calibration.flagged],
        "bags": [asdict(one) for one in calibration.bags],
        "learned": [asdict(one) for one in calibration.learned],
    }
    shown = "".join(f"# {line}\n" for line in _figures(calibration))
    return f"{_HEAD}{shown}\n{tomli_w.dumps(tables)}{_ROWS}{_triangle(calibration.correlation)}]\n"


def _figures(calibration: Calibration) -> Iterator[str]:
    for one in calibration.learned:
        (before, doubt), (after, left) = one.before, one.after
        past = f"{one.name}: {before:.4g} +/- {doubt:.2g}"
        yield f"{past}, now {after:.4g} +/- {left:.2g} ({one.trials} trials)"


def _triangle(matrix: Array) -> str:
    lines = []
    for k, row in enumerate(matrix):
        numbers = [repr(float(value)) for value in row[: k + 1]]
        parts = [", ".join(numbers[i : i + _PER_LINE]) for i in range(0, len(numbers), _PER_LINE)]
        lines.append("    [" + ",\n     ".join(parts) + "],\n")
    return "".join(lines)


def keep_calibration(calibration: Calibration, folder: Path) -> Path:
    """Write a calibration into `folder` and return its file.

    It is named by date and a letter, such as ``calibration-2026-11-25-a.toml``. Nothing is written where
    the newest file says the same already.

    Raises
    ------
    FileFaults
        If it cannot be written.
    """
    text = calibration_text(calibration)
    newest = newest_calibration(folder)
    if newest is not None and read_text(newest) == text:
        return newest
    for path in _paths(folder, calibration.date):
        if create_whole(path, text.encode()):
            return path
    raise FileFaults(
        [Fault(str(folder), "700 calibrations of one day", "fewer", "Remove those no longer needed.")]
    )


def _paths(folder: Path, date: dt.date) -> Iterator[Path]:
    for first in ("", *string.ascii_lowercase):
        for letter in string.ascii_lowercase:
            yield folder / f"{_PREFIX}{date.isoformat()}-{first}{letter}.toml"


def newest_calibration(folder: Path) -> Path | None:
    """Return the newest calibration file of `folder`, or None; other names, such as copies, do not count."""
    found = (
        path for path in folder.glob(f"{_PREFIX}*.toml") if _NAME.fullmatch(path.name) and path.is_file()
    )
    return max(
        found, key=lambda path: (path.name[: len(_PREFIX) + 10], len(path.name), path.name), default=None
    )


def calibrated(folder: Path, catalogue: Catalogue, names: Sequence[str]) -> ParameterSet | None:
    """Return the parameters of the newest calibration of `folder`; None where there is none.

    Parameters
    ----------
    folder
        Where the trial book and its calibrations lie, such as the folder of the job.
    catalogue, names
        As in `optimizer.calibration.record.parameter_set`.

    Raises
    ------
    FileFaults
        If the file has faults, or the figures have changed since.
    """
    path = newest_calibration(folder)
    return None if path is None else parameter_set(read_calibration(path), catalogue, names)


def read_calibration(path: Path) -> Calibration:
    """Return the calibration in the file at `path`.

    Raises
    ------
    FileFaults
        All faults of the file.
    """
    return parse_calibration(read_text(path), str(path))


def parse_calibration(text: str, where: str) -> Calibration:
    """Return the calibration in a text; see `read_calibration`.

    Parameters
    ----------
    text
        TOML.
    where
        What faults call it.
    """
    from pydantic import ValidationError

    from optimizer.calibration.file_form import CalibrationForm
    from optimizer.specs.forms import faults_of

    try:
        form = CalibrationForm.model_validate(parse_toml(text, where))
    except ValidationError as error:
        raise FileFaults(faults_of(error, where, tuple(CalibrationForm.model_fields))) from None
    return Calibration(
        date=form.date,
        version=form.version,
        priors=form.priors,
        trials=tuple(form.trials),
        materials=tuple(form.materials),
        learned=tuple(Learned(**dict(one)) for one in form.learned),
        correlation=_matrix(form.correlation.rows, len(form.learned), where),
        flagged=tuple(Flagged(**dict(one)) for one in form.flagged),
        bags=tuple(Bag(**dict(one)) for one in form.bags),
    )


def _matrix(rows: list[list[float]], size: int, where: str) -> Array:
    """Return the whole matrix of a lower triangle, if it is one of correlations."""
    out = np.eye(size)
    if [len(row) for row in rows] != list(range(1, size + 1)):
        raise _no_matrix(where, f"rows of {', '.join(str(len(row)) for row in rows[:9])} numbers")
    for k, row in enumerate(rows):
        out[k, : k + 1] = out[: k + 1, k] = row
    if np.any(np.diag(out) != 1.0) or (size and float(np.linalg.eigvalsh(out)[0]) < -_ROUNDING):
        raise _no_matrix(where, "numbers that cannot be correlations")
    return out


def _no_matrix(where: str, value: str) -> FileFaults:
    allowed = "the lower triangle of a correlation matrix, one row per figure"
    repair = "Do not edit this file; fit the trials again: vesselblend trials fit"
    return FileFaults([Fault(f"{where}:correlation.rows", value, allowed, repair)])
