"""Writing a file: which files an output may replace, and how it is put in place whole.

Every file this program writes from one text or one table goes through here. What a command reads is never
written over, under whatever name; neither is a trial book, named as an input or not. The new file is written
beside its place under a name that nothing else reads, brought to the disk, and moved there, so that a full
disk or a power cut leaves the old file or the new one.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from secrets import token_hex
from typing import Final

from optimizer.errors import Fault, FileFaults

BOOK_MARK: Final = b"vbtb"
"""Application id in the header of a trial book: bytes 68 to 71 of the file."""

_DATABASE: Final = b"SQLite format 3\0"
_COMPANIONS: Final = ("-wal", "-shm", "-journal")
_MARK_AT: Final = slice(68, 72)
_REPAIR: Final = "Name a folder that exists, may be written and has room; what was there before is untouched."


def check_output(path: Path, inputs: Iterable[tuple[str, Path]] = ()) -> None:
    """Raise `FileFaults` when an output may not take the place of what is at `path`.

    Parameters
    ----------
    path : Path
        Where the output is to go [-].
    inputs : Iterable of (str, Path)
        What the command reads: a word for it, and its file. Of a folder its TOML files count [-].

    Raises
    ------
    FileFaults
        If `path` is one of the inputs (by another spelling or a link, too), a trial book, another database,
        or a file that belongs to one.
    """
    for word, file in inputs:
        if any(_same(path, each) for each in (file, *_files_in(file))):
            repair = f"Name another file: the {word} is never written over."
            raise FileFaults([Fault(str(path), f"the {word} itself", "a file that is not read", repair)])
    kind = _database_at(path)
    if kind:
        repair = "Name another file: a trial book or other database is never written over."
        raise FileFaults([Fault(str(path), kind, "a new file, or an older answer", repair)])


def write_whole(path: Path, content: bytes) -> None:
    """Make the file at `path`, or replace it, so that it is there whole or not at all.

    Links are followed and the permissions of an older file kept. A pipe or a device is written to directly.

    Parameters
    ----------
    path : Path
        File to make or replace [-].

    Raises
    ------
    FileFaults
        If it cannot be written, or `check_output` refuses it.
    """
    try:
        there = _status(path)
        if there is not None and stat.S_ISDIR(there.st_mode):
            raise IsADirectoryError(0, "a folder")
        if there is not None and not stat.S_ISREG(there.st_mode):
            path.write_bytes(content)
            return
        check_output(path)
        target = path.resolve()
        if there is not None and not os.access(target, os.W_OK):
            raise PermissionError(0, "a file that may not be written")
        draft = _draft(target, content, there)
        try:
            draft.replace(target)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise
        _folder_to_disk(target.parent)
    except (OSError, ValueError, RuntimeError) as error:  # ValueError: a NUL in the name; RuntimeError: links
        raise _unwritten(path, error) from error


def create_whole(path: Path, content: bytes) -> bool:
    """Make a new file, whole or not at all; return False when there is one already, which is left alone.

    Raises
    ------
    FileFaults
        If it cannot be written.
    """
    try:
        if os.path.lexists(path):
            return False
        draft = _draft(path, content, None)
        try:
            return _placed(draft, path)
        finally:
            draft.unlink(missing_ok=True)
            _folder_to_disk(path.parent)
    except (OSError, ValueError) as error:
        raise _unwritten(path, error) from error


def to_disk(path: Path) -> None:
    """Return when the content of the file at `path` is on the disk."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _placed(draft: Path, path: Path) -> bool:
    """Give a draft its name, unless something else took it meanwhile."""
    try:
        os.link(draft, path)
    except FileExistsError:
        return False
    except OSError:  # a file system without links: the name is taken first, then filled
        with suppress(FileExistsError):
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            draft.replace(path)
            return True
        return False
    return True


def _draft(target: Path, content: bytes, there: os.stat_result | None) -> Path:
    """Write a file beside `target` and bring it to the disk, with the permissions of an older one."""
    draft = target.with_name(f".{target.name[:100]}.{token_hex(6)}.tmp")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    descriptor = os.open(draft, flags, 0o666 if there is None else 0o600)
    try:
        with open(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if there is not None:
            draft.chmod(stat.S_IMODE(there.st_mode))
    except BaseException:
        draft.unlink(missing_ok=True)
        raise
    return draft


def _folder_to_disk(folder: Path) -> None:
    """Bring the names in a folder to the disk; systems that cannot open a folder do it by themselves."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _status(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None


def _same(one: Path, other: Path) -> bool:
    """Tell whether two names stand for one file, which need not exist yet."""
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return os.path.realpath(one) == os.path.realpath(other)


def _files_in(folder: Path) -> list[Path]:
    with suppress(OSError, ValueError):
        return sorted(folder.glob("*.toml")) if folder.is_dir() else []
    return []


def _database_at(path: Path) -> str:
    """Return what database the file at `path` is or belongs to; empty where it is none."""
    for end in _COMPANIONS:
        if path.name.endswith(end) and path.exists():
            owner = _database_at(path.with_name(path.name.removesuffix(end)))
            if owner:
                return f"a part of {owner}"
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return ""
        with path.open("rb") as file:
            head = file.read(_MARK_AT.stop)
    except (OSError, ValueError):
        return ""
    if head[_MARK_AT] == BOOK_MARK:
        return "a trial book"
    return "a database" if head.startswith(_DATABASE) else ""


def _unwritten(path: Path, error: Exception) -> FileFaults:
    reason = getattr(error, "strerror", None) or str(error)
    return FileFaults([Fault(str(path), reason, "a file to write", _REPAIR)])
