"""What a person says about a table that the table does not say itself."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from optimizer.errors import Fault, FileFaults

DATE_ORDERS: Final = ("us", "day-first")
"""How a day such as 3/2/2026 is written: month first, or day first."""


@dataclass(frozen=True)
class ImportChoices:
    """Answers to what a table leaves open.

    Attributes
    ----------
    dates : str
        One of `DATE_ORDERS`; empty: see whether the days themselves show it.
    units : tuple[str, ...]
        Units of plain numbers in columns without one, each for the columns it fits.
    columns : Mapping[str, str]
        Header, as `header_key` gives it, to the column or material it means; empty: not read.
    """

    dates: str = ""
    units: tuple[str, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)


def header_key(text: str) -> str:
    """Return a header in one writing: lower case, words joined by underscores.

    Examples
    --------
    >>> header_key(" Gypsum-Cement,  g ")
    'gypsum_cement_g'
    """
    return re.sub(r"[\s_\-.,:;]+", "_", text.strip().lower()).strip("_")


def read_choices(dates: str = "", units: Iterable[str] = (), columns: Iterable[str] = ()) -> ImportChoices:
    """Return the choices as typed.

    Parameters
    ----------
    dates : str
        One of `DATE_ORDERS`, or empty [-].
    columns : Iterable[str]
        ``header=meaning`` each [-].

    Raises
    ------
    FileFaults
        For a column without an equals sign.

    Examples
    --------
    >>> read_choices(units=["g, min"], columns=["Cement=csa_cement"])
    ImportChoices(dates='', units=('g', 'min'), columns={'cement': 'csa_cement'})
    """
    parts = [text.partition("=") for text in columns]
    repair = (
        'Write the header, = and what it means, such as "Cement=csa_cement"; nothing after = leaves it out.'
    )
    faults = [
        Fault("--column", repr(name), "header=meaning", repair) for name, equals, _ in parts if not equals
    ]
    if faults:
        raise FileFaults(faults)
    listed = [unit.strip() for text in units for unit in text.split(",")]
    named = {header_key(name): meaning.strip() for name, _, meaning in parts}
    return ImportChoices(dates, tuple(filter(None, listed)), named)
