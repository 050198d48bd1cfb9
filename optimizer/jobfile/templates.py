"""The files that ship: a job to start from, and the demo job with its six invented casts and their fit."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Final

TEMPLATES: Final = ("job", "demo")
"""``job`` is the commented file to start from, ``demo`` the shipped demo job."""

_FOLDER: Final = files("optimizer") / "templates"


def template(name: str) -> str:
    """Return the text of the shipped job file `name`, one of `TEMPLATES`; `KeyError` for another.

    Examples
    --------
    >>> template("demo").startswith("#")
    True
    """
    if name not in TEMPLATES:
        raise KeyError(f"{name!r} is none of {', '.join(TEMPLATES)}")
    return (_FOLDER / f"{name}.toml").read_text(encoding="utf-8")


def example_casts() -> str:
    """Return the text of the shipped trial table: six invented casts of the demo's studio."""
    return (_FOLDER / "casts.csv").read_text(encoding="utf-8")


def demo_fit() -> Path:
    """Return the shipped file of what the six invented casts teach."""
    return Path(str(_FOLDER / "demo_calibration.toml"))
