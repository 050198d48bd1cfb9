"""One text that stands for everything an answer depends on: same input, same text, on every machine."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Final

from optimizer.job import Job
from optimizer.materials import Catalogue

__all__ = ["canonical_text", "fingerprint"]

_BESIDE_THE_POINT: Final = frozenset({"stated", "path"})


_SHARE_DIGITS: Final = 9
"""Decimals of a share that count: what differs less is the noise of adding up in another order."""


def fingerprint(
    job: Job,
    catalogue: Catalogue,
    calibration_text: str = "",
    mix: tuple[Mapping[str, float], float] | None = None,
) -> str:
    """Return the SHA-256 of job, figures, calibration, blend asked about and version of the package.

    Who stated a value and where a spec file lies do not enter; everything else does.

    Parameters
    ----------
    job : Job
        The job.
    catalogue : Catalogue
        All materials, model figures and sources.
    calibration_text : str
        Text of the calibration in use; empty for none.
    mix : tuple[Mapping[str, float], float] | None
        Share of each dry material [fraction] and water per dry mass [g/g] of a blend that was checked;
        None where the job alone leads to the answer.

    Returns
    -------
    str
        64 hexadecimal digits.

    Examples
    --------
    >>> from optimizer.shop import Vessel
    >>> len(fingerprint(Job("Cup", "EUR", (), Vessel(215.0)), Catalogue({}, {}, {})))
    64
    """
    whole: dict[str, object] = {
        "job": job,
        "catalogue": catalogue,
        "calibration": calibration_text,
        "version": _version(),
    }
    if mix is not None:
        shares, water = mix
        whole["blend"] = {name: round(share, _SHARE_DIGITS) for name, share in shares.items()}
        whole["water_ratio"] = round(water, _SHARE_DIGITS)
    return hashlib.sha256(canonical_text(whole).encode()).hexdigest()


def canonical_text(value: object) -> str:
    """Return records, mappings and tuples of figures as JSON with one spelling for equal values.

    Mappings are sorted by key; numbers are written as the shortest text that reads back to the same
    float, so that 6 and 6.0 are one.

    Examples
    --------
    >>> canonical_text({"b": 6, "a": (0.1, -0.0)})
    '{"a":[0.1,0.0],"b":6.0}'
    """
    return json.dumps(_plain(value), sort_keys=True, separators=(",", ":"), allow_nan=False)


def _version() -> str:
    try:
        return version("vesselblend")
    except PackageNotFoundError:
        return "not installed"


def _plain(value: object) -> object:
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, int | float):
        return _number(float(value))
    if is_dataclass(value):
        names = (each.name for each in fields(value) if each.name not in _BESIDE_THE_POINT)
        return {name: _plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    raise TypeError(
        f"{type(value).__name__} has no canonical text; use records, mappings, tuples and numbers"
    )


def _number(value: float) -> float | str:
    """Return the number, or its word where JSON has none."""
    return value + 0.0 if abs(value) < float("inf") else str(value)
