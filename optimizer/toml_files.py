"""Read a TOML file a stranger may have written: size, kind, encoding and syntax are checked first."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final

from optimizer.errors import Fault, FileFaults

LARGEST_FILE: Final = 1_000_000
"""Most bytes read of one file."""

_SHOWN: Final = 60
_MOST_POINTS: Final = 200


def read_toml(path: Path) -> dict[str, Any]:
    """Return the tables of the TOML file at `path`.

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
    return parse_toml(read_text(path), str(path))


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


def read_text(path: Path, where: str = "") -> str:
    """Return the text of the file at `path`.

    Parameters
    ----------
    where : str
        What faults call it; its path where left out [-].

    Raises
    ------
    FileFaults
        If there is no such file, it is a folder, over `LARGEST_FILE` bytes, binary or not UTF-8.
    """
    where = where or str(path)
    try:
        if path.is_dir():
            raise _fault(where, "a folder", "Name the file itself.")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (FileNotFoundError, NotADirectoryError):
        raise _fault(where, "no such file", "Check the name and the folder.") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise _fault(where, reason, "Make the file readable.") from None
    return decoded(raw, where)


def decoded(raw: bytes, where: str) -> str:
    """Return the text of the bytes of a file.

    Parameters
    ----------
    raw : bytes
        Its content, or more of it than `LARGEST_FILE` [-].

    Raises
    ------
    FileFaults
        If they are over `LARGEST_FILE` bytes, binary or not UTF-8.
    """
    _check_size(len(raw), where)
    if b"\0" in raw:
        raise _fault(where, "a binary file", "Save it as plain text in UTF-8.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise _fault(where, f"a byte that is not UTF-8 in line {line}", "Save it in UTF-8.") from None


def parse_toml(text: str, where: str) -> dict[str, Any]:
    """Return the tables of the text of a TOML file.

    Parameters
    ----------
    where : str
        What faults call the file [-].

    Raises
    ------
    FileFaults
        If the text is empty, over `LARGEST_FILE` characters, holds a zero byte, or is not TOML.
    """
    _check_size(len(text), where)
    text = text.removeprefix("\ufeff")
    if not text.strip():
        raise _fault(where, "an empty file", "Start from a shipped file.")
    if "\0" in text:
        raise _fault(where, "a binary file", "Save it as plain text in UTF-8.")
    _check_lines(text, where)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = _line_of(error, text)
        value = f"{shown_value(line)}: {error}" if line else str(error)
        raise _fault(where, value, _line_repair(line), "TOML, key = value") from None
    except (RecursionError, ValueError):  # nested without end, or an integer of thousands of digits
        raise _fault(where, "nesting or numbers beyond measure", "Write plain key = value lines.") from None


def _line_of(error: tomllib.TOMLDecodeError, text: str) -> str:
    """Return the line an error of the reader points to, or nothing where it names none."""
    number = re.search(r"at line (\d+)", str(error))
    return text.split("\n")[int(number[1]) - 1].strip() if number else ""


def _line_repair(line: str) -> str:
    """Return what to do about a line that is no TOML; common slips of the pen have repairs of their own."""
    key, sign, value = (part.strip() for part in line.partition("#")[0].partition("="))
    number = re.fullmatch(r"([+-]?\d+),(\d+)", value)
    if number:
        return f"Write {key} = {number[1]}.{number[2]}: a number in TOML takes a decimal point."
    if sign and value and not re.search(r"[\"'\[\]{}]", value):
        return f'Put the value in quotes: {key} = "{value[:40]}".'
    return "Correct that line."


def _fault(where: str, value: str, repair: str, allowed: str = "a TOML file") -> FileFaults:
    return FileFaults([Fault(where, value, allowed, repair)])


def _check_size(size: int, where: str) -> None:
    if size > LARGEST_FILE:
        raise _fault(where, "a very large file", f"Keep it under {LARGEST_FILE // 1_000_000} MB.")


def _check_lines(text: str, where: str) -> None:
    """Refuse a line full of points: the reader's time grows with the square of the points in a key."""
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") > _MOST_POINTS and not line.lstrip().startswith("#"):
            raise _fault(where, f"over {_MOST_POINTS} points in line {number}", "Split the line.")
