"""From blocks of text and tables to what a terminal, a pipe or a file shows.

Color only on a terminal that has it: NO_COLOR, TERM=dumb, pipes and files get plain text.
"""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Iterable, Sequence
from typing import IO, Final, TypeAlias

from rich import box
from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimizer.errors import printable

Block: TypeAlias = RenderableType

_WIDEST: Final = 100
_NARROWEST: Final = 50


def rendered(blocks: Iterable[Block], stream: IO[str] | None) -> str:
    """Return blocks as text for `stream`; None: for a file."""
    lively = stream is not None and stream.isatty() and os.environ.get("TERM") != "dumb"
    colored = lively and not os.environ.get("NO_COLOR")
    page = io.StringIO()
    console = Console(
        file=page,
        width=min(max(shutil.get_terminal_size((_WIDEST, 24)).columns, _NARROWEST), _WIDEST),
        force_terminal=colored,
        no_color=not colored,
        color_system="standard" if colored else None,
        legacy_windows=False,
        markup=False,
        emoji=False,
        highlight=False,
    )
    for block in blocks:
        console.print(block)
    return "".join(f"{line.rstrip()}\n" for line in page.getvalue().splitlines())


def heading(words: str) -> Text:
    """Return a heading with a free line before it."""
    return Text(f"\n{printable(words)}", style="bold")


def sentence(words: str, style: str = "", *, gap: bool = False, indent: int = 0) -> Padding:
    """Return a paragraph, wrapped at words; `gap` leaves a free line before it."""
    return Padding(Text(printable(words), style=style), (int(gap), 0, 0, indent), expand=False)


def indented(words: str, mark: str = "-") -> Padding:
    """Return a paragraph of a list: a mark, and later lines under its first word."""
    row = Table.grid(padding=(0, 1))
    row.add_row(Text(mark), Text(printable(words)))
    return Padding(row, (0, 0, 0, 2))


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()) -> Padding:
    """Return rows under their heads; the columns `right` hold numbers and stand at the right."""
    out = Table(
        box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, header_style="bold", show_header=any(heads)
    )
    for place, head in enumerate(heads):
        out.add_column(Text(head), justify="right" if place in right else "left", overflow="fold")
    for row in rows:
        out.add_row(*(Text(printable(cell)) for cell in row))
    return Padding(out, (0, 0, 0, 2))
