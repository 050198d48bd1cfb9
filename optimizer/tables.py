"""Small tables of plain rows: as HTML for a notebook, without styles or scripts, and as a data frame."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


def html_table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a plain HTML table.

    Parameters
    ----------
    heads : Sequence[str]
        One word per column.
    rows : Iterable[Sequence[object]]
        Cells; shown as text, with what HTML would take for tags written out.

    Examples
    --------
    >>> html_table(["limit"], [["cost < 5"]])
    '<table><tr><th>limit</th></tr><tr><td>cost &lt; 5</td></tr></table>'
    """
    head = "".join(f"<th>{escape(word)}</th>" for word in heads)
    body = "".join(_row(cells) for cells in rows)
    return f"<table><tr>{head}</tr>{body}</table>"


def _row(cells: Sequence[object]) -> str:
    return f"<tr>{''.join(f'<td>{escape(str(cell))}</td>' for cell in cells)}</tr>"


def html_lines(lines: Iterable[str]) -> str:
    """Return one paragraph per line.

    Examples
    --------
    >>> html_lines(["4 > 3"])
    '<p>4 &gt; 3</p>'
    """
    return "".join(f"<p>{escape(line)}</p>" for line in lines)


def csv_number(value: float) -> str:
    """Return a number as it stands in a CSV file: six digits, more than any figure here is known to.

    Examples
    --------
    >>> csv_number(7.474198312), csv_number(1912.0), csv_number(0.80126953125)
    ('7.4742', '1912', '0.80127')
    """
    return f"{value:.6g}"


def data_frame(rows: Iterable[Mapping[str, object]], index: str = "") -> pd.DataFrame:
    """Return rows as a data frame; the data library is loaded at the first call, not on import.

    Parameters
    ----------
    rows : Iterable[Mapping[str, object]]
        One mapping per row, all with the same keys.
    index : str
        Column that names the rows; empty: rows are numbered.

    Examples
    --------
    >>> float(data_frame([{"figure": "air", "value": 0.02}], "figure").loc["air", "value"])
    0.02
    """
    import pandas as pd

    frame = pd.DataFrame(list(rows))
    return frame.set_index(index) if index and len(frame) else frame
