"""Where answers go: data to standard output or a file, talk to standard error."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TextIO

import click

from optimizer.errors import Fault, FileFaults, printable
from optimizer.outputs import check_output, write_whole

if TYPE_CHECKING:
    from optimizer.units import System
    from ui.terminal import Block

_STAND_INS: Final = str.maketrans({"─": "-", "°": "deg "})

STANDARD: Final = "-"
"""The name that means standard input or output."""


class Terminated(KeyboardInterrupt):
    """The system asked this process to end (SIGTERM)."""


@dataclass(frozen=True)
class Delivery:
    """How one answer is to be given.

    Attributes
    ----------
    as_json : bool
        True for JSON, False for text.
    units : System
        Units of text; JSON keeps those of the vocabulary.
    path : Path | None
        File to write; None: standard output.
    inputs : tuple[tuple[str, Path], ...]
        What the command reads and no output may replace: a word for it, and its file or folder.
    """

    as_json: bool
    units: System
    path: Path | None
    inputs: tuple[tuple[str, Path], ...] = ()

    def __post_init__(self) -> None:
        """Refuse, before any work, a file that may not be replaced (`FileFaults`)."""
        if self.path is not None:
            check_output(self.path, self.inputs)

    def to(self, path: Path | None) -> Delivery:
        """Return the same delivery to another place; `FileFaults` if nothing may be written there."""
        return replace(self, path=path)

    def send(self, data: Mapping[str, Any], blocks: Iterable[Block]) -> None:
        """Give `data` as JSON, or `blocks` as text, which are not made before they are asked for.

        Raises
        ------
        FileFaults
            If it cannot be written.
        """
        if self.as_json:
            self.send_as(data, "")
        else:
            from ui.terminal import rendered

            self.send_text(rendered(list(blocks), None if self.path else sys.stdout))

    def send_as(self, data: Mapping[str, Any], text: str) -> None:
        """Give `data` as JSON, or `text` as it is; `FileFaults` if it cannot be written."""
        shown = json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        self.send_text(shown if self.as_json else text)

    def send_text(self, text: str) -> None:
        """Give text as it is, whole or not at all; `FileFaults` if it cannot be written."""
        if self.path is None:
            _to_stdout(text)
        else:
            write_whole(self.path, text.encode())
            say(f"Written: {self.path}")


def say(text: str) -> None:
    """Say something to the caster on standard error, if there is one."""
    if sys.stderr is not None:
        click.echo("\n".join(map(printable, text.splitlines())), err=True)


def read_stdin(most: int) -> bytes:
    """Return what stands on standard input, at most one byte more than `most`.

    Raises
    ------
    FileFaults
        If standard input is closed.
    """
    if sys.stdin is None:
        repair = "Pipe the file in, or name it."
        raise FileFaults([Fault("standard input", "nothing: it is closed", "the text of a file", repair)])
    return sys.stdin.buffer.read(most + 1)


def _to_stdout(text: str) -> None:
    if sys.stdout is None:
        raise _unwritten("standard output", OSError(0, "it is closed"))
    try:
        sys.stdout.write(_in_letters_of(sys.stdout, text))
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        forget_output()
        raise _unwritten("standard output", error) from None


def forget_output() -> None:
    """Point standard output nowhere: nobody reads it, and the interpreter still flushes it at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _in_letters_of(stream: TextIO, text: str) -> str:
    """Return text in the letters the stream has; rules and degrees have plain stand-ins."""
    encoding = stream.encoding or "utf-8"
    if encoding.lower().startswith("utf"):
        return text
    return text.translate(_STAND_INS).encode(encoding, errors="replace").decode(encoding)


def _unwritten(where: str, error: Exception) -> FileFaults:
    reason = getattr(error, "strerror", None) or str(error)
    return FileFaults(
        [Fault(where, reason, "a file to write", "Name a file in a folder that may be written.")]
    )
