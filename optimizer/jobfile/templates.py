"""The files that ship: a job to start from, the demo job, and a table of five invented casts."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

__all__ = ["TEMPLATES", "example_casts", "template"]

TEMPLATES: Final = ("job", "demo")
"""``job`` is the commented file to start from, ``demo`` the shipped demo job."""


def template(name: str) -> str:
    """Return the text of the shipped job file `name`, one of `TEMPLATES`.

    Raises
    ------
    KeyError
        If no file of this name ships.

    Examples
    --------
    >>> template("demo").startswith("#")
    True
    """
    if name not in TEMPLATES:
        raise KeyError(f"{name!r} is none of {', '.join(TEMPLATES)}")
    return (files("optimizer") / "templates" / f"{name}.toml").read_text(encoding="utf-8")


def example_casts() -> str:
    """Return the text of the shipped trial table: five invented casts of the demo's studio.

    Examples
    --------
    >>> len(example_casts().splitlines())
    6
    """
    return (files("optimizer") / "templates" / "casts.csv").read_text(encoding="utf-8")
