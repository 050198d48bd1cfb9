"""One text that stands for everything an answer depends on: same input, same text, on every machine."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from typing import Final

from optimizer.job import Job
from optimizer.materials import Catalogue, canonical_text

_SHARE_DIGITS: Final = 9
"""Decimals of a share that count: what differs less is the noise of adding up in another order."""


def fingerprint(
    job: Job,
    catalogue: Catalogue,
    calibration_text: str = "",
    mix: tuple[Mapping[str, float], float] | None = None,
) -> str:
    """Return the SHA-256 of job, figures, calibration, blend asked about and version of the package.

    Who stated a value, where a spec file lies and what was selected do not enter; all else does.

    64 hexadecimal digits.

    Parameters
    ----------
    catalogue : Catalogue
        All materials, model figures and sources.
    calibration_text : str
        Text of the calibration in use; empty for none.
    mix : tuple[Mapping[str, float], float] | None
        Share of each dry material [fraction] and water per dry mass [g/g] of a blend that was checked;
        None where the job alone leads to the answer.

    Examples
    --------
    >>> from optimizer.job import Vessel
    >>> len(fingerprint(Job("Cup", "EUR", (), Vessel(215.0)), Catalogue({}, {}, {})))
    64
    """
    whole: dict[str, object] = {
        "job": job,
        "catalogue": catalogue.fingerprint,
        "calibration": calibration_text,
        "version": _version(),
    }
    if mix is not None:
        shares, water = mix
        whole["blend"] = {name: round(share, _SHARE_DIGITS) for name, share in shares.items()}
        whole["water_ratio"] = round(water, _SHARE_DIGITS)
    return hashlib.sha256(canonical_text(whole).encode()).hexdigest()


@lru_cache
def _version() -> str:
    try:
        return version("vesselblend")
    except PackageNotFoundError:
        return "not installed"
