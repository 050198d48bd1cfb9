"""Read a TOML file a stranger may have written: size, kind, encoding and syntax are checked first."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final

from optimizer.errors import Fault, FileFaults

__all__ = ["LARGEST_FILE", "nearest_repair", "read_toml", "shown_key", "shown_value"]

LARGEST_FILE: Final = 1_000_000
"""Most bytes read of one file."""

_SHOWN: Final = 60
_MOST_POINTS: Final = 200


def read_toml(path: Path) -> dict[str, Any]:
    """Return the tables of the TOML file at `path`.

    Parameters
    ----------
    path : Path
        The file [-].

    Returns
    -------
    dict
        Its top table.

    Raises
    ------
    FileFaults
        If there is no such file, it is a folder, empty, over `LARGEST_FILE` bytes, binary, not UTF-8, or
        not TOML.

    Examples
    --------
    >>> read_toml(Path("nowhere.toml"))
    Traceback (most recent call last):
    optimizer.errors.FileFaults: nowhere.toml: read no such file; ... Check the name and the folder.
    """
    return _parsed(_text(path), path)


def shown_value(value: object) -> str:
    """Return `value` as it may stand in a fault: one line of at most 60 characters."""
    text = repr(value)
    return text if len(text) <= _SHOWN else f"{text[: _SHOWN - 3]}..."


def shown_key(key: object) -> str:
    """Return one part of a key as it may stand in a fault: plain, or quoted and cut short.

    Examples
    --------
    >>> shown_key("density"), shown_key(2)
    ('density', '2')
    """
    text = str(key)
    return text if re.fullmatch(r"[\w-]{1,60}", text, re.ASCII) else shown_value(text)


def nearest_repair(name: str, known: Sequence[str]) -> str:
    """Return the repair of an unknown key or name: drop it, or take the nearest one.

    Examples
    --------
    >>> nearest_repair("densty", ["density", "water_demand"])
    "Did you mean 'density'? If not, remove it."
    """
    close = get_close_matches(name, known, n=1)
    return f"Did you mean {close[0]!r}? If not, remove it." if close else "Remove it or correct its name."


def _fault(path: Path, value: str, repair: str, allowed: str = "a TOML file") -> FileFaults:
    return FileFaults([Fault(str(path), value, allowed, repair)])


def _text(path: Path) -> str:
    try:
        if path.is_dir():
            raise _fault(path, "a folder", "Name the file itself.")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (FileNotFoundError, NotADirectoryError):
        raise _fault(path, "no such file", "Check the name and the folder.") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise _fault(path, reason, "Make the file readable.") from None
    if len(raw) > LARGEST_FILE:
        raise _fault(path, "a very large file", f"Keep it under {LARGEST_FILE // 1_000_000} MB.")
    if not raw.strip():
        raise _fault(path, "an empty file", "Start from a shipped file.")
    if b"\0" in raw:
        raise _fault(path, "a binary file", "Save it as plain text in UTF-8.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise _fault(path, f"a byte that is not UTF-8 in line {line}", "Save it in UTF-8.") from None


def _parsed(text: str, path: Path) -> dict[str, Any]:
    crowded = next((n for n, line in enumerate(text.split("\n"), 1) if line.count(".") > _MOST_POINTS), None)
    if crowded:  # the reader's time grows with the square of the points in a key
        raise _fault(path, f"over {_MOST_POINTS} points in line {crowded}", "Split the line.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _fault(path, str(error), "Correct that line.", "TOML, key = value") from None
    except (RecursionError, ValueError):  # nested without end, or an integer of thousands of digits
        raise _fault(path, "nesting or numbers beyond measure", "Write plain key = value lines.") from None
