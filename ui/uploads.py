"""Files sent to the page, put where readers of files find them."""

from __future__ import annotations

from pathlib import Path, PureWindowsPath
from typing import Final

_LONGEST: Final = 60


def put_file(folder: Path, name: str, content: bytes) -> Path:
    r"""Write what was sent into a folder and return its path, whatever its sender calls it.

    The name keeps its last part, so that faults name the file as its sender knows it, without signs that
    cannot be printed or would lead out of the folder.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as there:
    ...     [put_file(Path(there), name, b"").name for name in ("a/my casts.csv", "..", "C:\\x.xlsx")]
    ['my casts.csv', 'file', 'x.xlsx']
    """
    last = "".join(sign for sign in PureWindowsPath(name).name if sign.isprintable())
    stem, dot, ending = last.rpartition(".")
    kept = f"{stem[:_LONGEST]}{dot}{ending[:_LONGEST]}".strip(". ")
    path = folder / (kept or "file")
    path.write_bytes(content)
    return path
