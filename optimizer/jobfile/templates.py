"""The job files that ship: one to start from and the demo."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

__all__ = ["TEMPLATES", "template"]

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
