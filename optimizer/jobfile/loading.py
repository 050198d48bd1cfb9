"""From a path or a text to plain TOML data; everything that is wrong with a file as a file."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Final

from optimizer.errors import Fault, FileFaults

__all__ = ["key_text", "load_text", "load_toml"]

_MOST_BYTES: Final = 1_000_000
_MOST_ENTRIES: Final = 200
_MOST_POINTS: Final = 100
_MOST_INTEGER: Final = 10**15
_START: Final = "Write a job to start from with: vesselblend init job.toml"


def load_text(path: Path, where: str) -> str:
    """Return the text of the file `path`; `where` names it in faults.

    Raises
    ------
    FileFaults
        If there is no such file, it is a directory, cannot be read, is too large or is not text.
    """
    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        raise _refuse(where, "no such file", "a job file", _START) from None
    except IsADirectoryError:
        raise _refuse(where, "a directory", "a job file", "Name the file inside it.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "a name no file can have"
        raise _refuse(where, reason, "a file that can be read", "Check the path and its rights.") from None
    _check_size(len(content), where)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _refuse(where, "bytes that are not UTF-8 text", "a text file", "Save it as UTF-8.") from None


def load_toml(text: str, where: str) -> dict[str, Any]:
    """Return the tables of a job file's text; `where` names it in faults.

    Raises
    ------
    FileFaults
        If the text is empty, too large, not TOML, or crowded beyond any job.
    """
    _check_size(len(text), where)
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if not text.strip():
        raise _refuse(where, "an empty file", "a job file", _START)
    _check_lines(text, where)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax(error, where) from None
    except (RecursionError, ValueError):  # nested without end, or a number of thousands of digits
        raise _refuse(where, "text no job needs", "TOML", "Check brackets and long numbers.") from None
    faults = list(_excesses(data, where))
    if faults:
        raise FileFaults(faults)
    return data


def key_text(name: str) -> str:
    r"""Return a key as it may be shown: as it is where plain, else quoted, escaped and cut short.

    Examples
    --------
    >>> key_text("wage"), key_text("two\nlines")
    ('wage', "'two\\nlines'")
    """
    return name if re.fullmatch(r"[\w-]{1,60}", name, re.ASCII) else repr(name[:60])


def _refuse(where: str, value: str, allowed: str, repair: str) -> FileFaults:
    return FileFaults([Fault(where, value, allowed, repair)])


def _check_size(size: int, where: str) -> None:
    if size > _MOST_BYTES:
        allowed = f"a job file of at most {_MOST_BYTES // 1000} kB"
        raise _refuse(where, f"more than {_MOST_BYTES // 1000} kB", allowed, "Check that this is the file.")


def _check_lines(text: str, where: str) -> None:
    """Refuse what makes the TOML reader slow: its time grows with the square of the points in a key."""
    for number, line in enumerate(text.split("\n"), start=1):
        if "\0" in line:
            raise _refuse(f"{where}:line {number}", "a zero byte", "a text file", "Check the file.")
        if line.count(".") > _MOST_POINTS and not line.lstrip().startswith("#"):
            allowed = f"lines with at most {_MOST_POINTS} points"
            raise _refuse(f"{where}:line {number}", "a crowded line", allowed, "Split the line.")


def _syntax(error: tomllib.TOMLDecodeError, where: str) -> FileFaults:
    message = str(error)
    place = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    reason = message[: place.start()] if place else message
    line = f":line {place[1]}" if place and place[1] else ":end" if place else ""
    column = f" at column {place[2]}" if place and place[2] else ""
    repair = "Write key = value, text in double quotes, lists in square brackets."
    return _refuse(f"{where}{line}", f"{reason}{column}", "TOML", repair)


def _excesses(value: Any, where: str, keys: tuple[str, ...] = ()) -> list[Fault]:  # noqa: ANN401  any TOML value
    """Return faults of values no reader should be troubled with."""
    at = f"{where}:{'.'.join(map(key_text, keys))}" if keys else where
    if isinstance(value, int) and abs(value) > _MOST_INTEGER:
        return [Fault(at, "a number beyond any size", "ordinary numbers", "Check the number.")]
    if not isinstance(value, dict | list):
        return []
    if len(value) > _MOST_ENTRIES:
        allowed = f"at most {_MOST_ENTRIES} entries in one place"
        return [Fault(at, f"{len(value)} entries", allowed, "Check that this is a job file.")]
    items = value.items() if isinstance(value, dict) else enumerate(value, start=1)
    return [fault for name, item in items for fault in _excesses(item, where, (*keys, str(name)))]
