"""Where answers go: data to standard output or a file, talk to standard error."""

from __future__ import annotations

import functools
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Final, TextIO

import click

from optimizer.errors import Fault, FileFaults
from optimizer.outputs import check_output, write_whole

if TYPE_CHECKING:
    from optimizer.units import System
    from ui.terminal import Block

__all__ = [
    "INPUTS",
    "STANDARD",
    "Delivery",
    "Terminated",
    "delivered",
    "forget_output",
    "plain",
    "read_stdin",
    "say",
]

_STAND_INS: Final = str.maketrans({"─": "-", "°": "deg "})

STANDARD: Final = "-"
"""The name that means standard input or output."""

INPUTS: Final = {
    "job": "job",
    "book": "trial book",
    "table": "table",
    "specs": "spec file",
    "calibration": "calibration",
}
"""Options and arguments that name what a command reads, and a word for each."""

_STDIN: Final = Path("/dev/stdin")
_NO_FIGURES: Final = SimpleNamespace()


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

    def send(self, data: Mapping[str, Any], blocks: Callable[[], Sequence[Block]]) -> None:
        """Give `data` as JSON, or the text that `blocks` makes of it.

        Raises
        ------
        FileFaults
            If it cannot be written.
        """
        if self.as_json:
            self.send_as(data, "")
        else:
            from ui.terminal import rendered

            self.send_text(rendered(blocks(), None if self.path else sys.stdout))

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


def delivered(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options every command has, as one `Delivery`."""

    @click.option("--json", "as_json", is_flag=True, help="Give the answer as JSON.")
    @click.option(
        "--units",
        type=click.Choice(["metric", "us"]),
        default="metric",
        show_default=True,
        help="Units of text.",
    )
    @click.option("-o", "--output", metavar="FILE", help="Write the answer to FILE instead of the terminal.")
    @functools.wraps(command)
    def with_delivery(*, as_json: bool, units: System, output: str | None, **options: Any) -> int:  # noqa: ANN401  a command's own
        from optimizer.units import hints_in

        path = None if output in (None, STANDARD) else Path(str(output))
        inputs = () if output is None and "file" not in options else tuple(_inputs(options))
        with hints_in(units):
            return command(delivery=Delivery(as_json, units, path, inputs), **options)

    return with_delivery


def _inputs(options: Mapping[str, Any]) -> Iterator[tuple[str, Path]]:
    """Give what a command reads, from its options: what is named, and what is read unnamed."""
    from optimizer.calibration.files import newest_calibration
    from optimizer.specs import specs_folder

    yield "shipped spec file", specs_folder()
    named = dict(options) | vars(options.get("figures", _NO_FIGURES))
    for name, word in INPUTS.items():
        if named.get(name) is not None:
            yield word, _STDIN if named[name] == STANDARD else Path(named[name])
    if "book" in named:
        newest = newest_calibration(Path(named["book"]).resolve().parent)
        if newest is not None:
            yield "calibration", newest
    for reading in named.get("readings", ()):
        yield "file of a reading", Path(reading.partition("=")[2])


def say(text: str) -> None:
    """Say something to the caster on standard error, if there is one."""
    if sys.stderr is not None:
        click.echo("\n".join(map(plain, text.splitlines())), err=True)


def plain(text: str) -> str:
    r"""Return text of a stranger's file without anything that would steer a terminal.

    Examples
    --------
    >>> plain("Tumbler\x1b[31m, white\n")
    'Tumbler [31m, white '
    """
    return "".join(letter if letter.isprintable() else " " for letter in text)


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
