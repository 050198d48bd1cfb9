"""Lots of bags and labels of vessels as noted: those nearly or wholly taken are asked about, never merged."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Collection, Iterator
from typing import Final

from optimizer.errors import Fault
from optimizer.trials.book import TrialBook
from optimizer.trials.checks import RIGHT, doubtful
from optimizer.trials.files import reading
from optimizer.trials.records import Trial

_PASSED_OVER: Final = re.compile(r"[\s\u2010-\u2015-]+")
"""Spaces, hyphens and dashes."""

_SEEN_AS: Final = str.maketrans("oil", "011")


def look_alike(lot: str) -> str:
    """Return what is left of a lot without case, spaces and hyphens, with O read as 0, and I and l as 1.

    Examples
    --------
    >>> look_alike("b-1O17") == look_alike("B 1017"), look_alike("B-1017") == look_alike("B-1018")
    (True, False)
    """
    return _PASSED_OVER.sub("", lot).casefold().translate(_SEEN_AS)


def spellings(
    connection: sqlite3.Connection, lot: str, material: str | None = None, apart_from: str = ""
) -> tuple[str, ...]:
    """Return the lots of current batches that look like `lot`, itself among them where it is noted.

    Parameters
    ----------
    material : str | None
        Only bags of this material; None: any [-].
    apart_from : str
        Id of a batch that does not count [-].
    """
    key = look_alike(lot)
    held = connection.execute("SELECT DISTINCT lot FROM portion WHERE lot <> ''")
    near = [each for (each,) in held if key and look_alike(each) == key]
    order = f"""SELECT DISTINCT portion.lot FROM current JOIN portion ON portion.entry = current.number
        WHERE portion.lot IN ({", ".join("?" * len(near))}) AND (? IS NULL OR portion.material = ?)
        AND current.id <> ? ORDER BY portion.lot"""
    return tuple(each for (each,) in connection.execute(order, (*near, material, material, apart_from)))


def same_labels(connection: sqlite3.Connection, labels: Collection[str]) -> tuple[str, ...]:
    """Return the labels ever noted that are those of `labels` but for case."""
    keys = {label.casefold() for label in labels}
    held = connection.execute("SELECT DISTINCT label FROM label")
    return tuple(each for (each,) in held if each.casefold() in keys)


def alike_words(lots: tuple[str, ...]) -> str:
    """Return that lots were noted that look like the one asked for; empty without any.

    Examples
    --------
    >>> alike_words(("b-1O17",))
    'Also noted: b-1O17, perhaps the same bag.'
    """
    return f"Also noted: {', '.join(lots)}, perhaps the same bag." if lots else ""


def doubtful_in(book: TrialBook | None, trial: Trial) -> tuple[Fault, ...]:
    """Return what to ask about before `trial` goes into a book; None: a book still to be made.

    As `checks.doubtful`; each lot that looks like one noted of the same powder without being it; and labels
    that another batch has. Earlier versions of the trial itself do not count.
    """
    if book is None:
        return doubtful(trial)
    with reading(book.path, book.timeout) as connection:
        return (*doubtful(trial), *_lots(connection, trial), *_labels(connection, trial))


def _lots(connection: sqlite3.Connection, trial: Trial) -> Iterator[Fault]:
    for number, portion in enumerate(trial.portions, start=1):
        noted = spellings(connection, portion.lot, portion.material, trial.id)
        if noted and portion.lot not in noted:
            allowed = f"a lot as it is noted of {portion.material}: {', '.join(noted)}; or one unlike it"
            yield Fault(f"portions.{number}.lot", repr(portion.lot), allowed, RIGHT)


def _labels(connection: sqlite3.Connection, trial: Trial) -> Iterator[Fault]:
    near = same_labels(connection, trial.labels)
    order = f"""SELECT label.label, current.id FROM current JOIN label ON label.entry = current.number
        WHERE label.label IN ({", ".join("?" * len(near))}) AND current.id <> ?
        ORDER BY current.date, current.id, label.place"""
    taken: dict[str, list[str]] = {}
    for label, id in connection.execute(order, (*near, trial.id)):
        taken.setdefault(id, []).append(label)
    if taken:
        told = "; ".join(f"{', '.join(labels)} of batch {id}" for id, labels in taken.items())
        yield Fault("labels", told, "numbers that no other batch has, as a rule", RIGHT)
