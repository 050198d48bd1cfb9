"""From the text of a job file to plain TOML data no reader need be afraid of."""

from __future__ import annotations

from typing import Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.toml_files import parse_toml, shown_key

__all__ = ["load_tables"]

_MOST_ENTRIES: Final = 200
_MOST_INTEGER: Final = 10**15


def load_tables(text: str, where: str) -> dict[str, Any]:
    """Return the tables of a job file's text; `where` names the file in faults.

    Raises
    ------
    FileFaults
        If the text is empty, too large, not TOML, or crowded beyond any job.
    """
    data = parse_toml(text, where)
    faults = _excesses(data, where)
    if faults:
        raise FileFaults(faults)
    return data


def _excesses(value: object, where: str, keys: tuple[object, ...] = ()) -> list[Fault]:
    """Return faults of values no reader should be troubled with."""
    at = f"{where}:{'.'.join(map(shown_key, keys))}" if keys else where
    if isinstance(value, int) and abs(value) > _MOST_INTEGER:
        return [Fault(at, "a number beyond any size", "ordinary numbers", "Check the number.")]
    if not isinstance(value, dict | list):
        return []
    if len(value) > _MOST_ENTRIES:
        allowed = f"at most {_MOST_ENTRIES} entries in one place"
        return [Fault(at, f"{len(value)} entries", allowed, "Check that this is a job file.")]
    items = value.items() if isinstance(value, dict) else enumerate(value, start=1)
    return [fault for name, item in items for fault in _excesses(item, where, (*keys, name))]
