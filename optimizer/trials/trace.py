"""From a bag to every vessel it went into, and from a vessel back to its bags."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Final

from optimizer.trials.book import TrialBook
from optimizer.trials.files import reading
from optimizer.trials.marks import alike_words, same_labels, spellings
from optimizer.trials.records import Trial
from optimizer.trials.rows import entries_of
from optimizer.trials.trial_errors import NoSuchTrial

_LAST: Final = 200
"""Batches with a lot that are looked at for the last one of each material [count]."""


@dataclass(frozen=True)
class Trace:
    """The batches that belong to a bag or a vessel, and what hangs on them.

    Attributes
    ----------
    batches : tuple[Trial, ...]
        Current trials, by date.
    alike : tuple[str, ...]
        Other lots that look like the one asked for, perhaps the same bag.
    """

    batches: tuple[Trial, ...]
    alike: tuple[str, ...] = ()

    @property
    def bags(self) -> tuple[tuple[str, str], ...]:
        """(material, lot) of every bag the batches were weighed from, each once; no lot: empty text."""
        pairs = {(part.material, part.lot): None for batch in self.batches for part in batch.portions}
        return tuple(pairs)

    @property
    def vessels(self) -> tuple[str, ...]:
        """Labels of every vessel cast from the batches, each once."""
        return tuple({label: None for batch in self.batches for label in batch.labels})

    @property
    def orders(self) -> tuple[str, ...]:
        """Orders the vessels went to, each once."""
        return tuple({batch.sold_order: None for batch in self.batches if batch.sold_order})

    @property
    def unlabeled(self) -> tuple[str, ...]:
        """Ids of batches that have more castings than labels, so whose vessels cannot all be named."""
        return tuple(
            batch.id
            for batch in self.batches
            if not batch.labels or (batch.cast is not None and batch.cast > len(batch.labels))
        )


def trace_lot(book: TrialBook, lot: str, material: str | None = None) -> Trace:
    """Return every batch made with a lot, and through it every vessel.

    Parameters
    ----------
    material : str | None
        Only bags of this material; None: any [-].

    Raises
    ------
    NoSuchTrial
        When no current batch was made with the lot.
    """
    order = """SELECT DISTINCT current.* FROM current JOIN portion ON portion.entry = current.number
        WHERE portion.lot = ?1 AND portion.lot <> '' AND (?2 IS NULL OR portion.material = ?2)
        ORDER BY current.date, current.id"""
    with reading(book.path, book.timeout) as connection:
        alike = tuple(each for each in spellings(connection, lot, material) if each != lot)
    return _trace(book, order, (lot, material), f"lot {lot!r}", alike)


def trace_vessel(book: TrialBook, label: str) -> Trace:
    """Return the batch or batches a vessel was cast from, and through them its bags.

    With batches and bags, whatever the case of the label; more than one batch when a mold was
    topped up or a label used twice.

    Raises
    ------
    NoSuchTrial
        When no current batch has the label.
    """
    with reading(book.path, book.timeout) as connection:
        labels = same_labels(connection, (label,))
    order = f"""SELECT DISTINCT current.* FROM current JOIN label ON label.entry = current.number
        WHERE label.label IN ({", ".join("?" * len(labels))}) ORDER BY current.date, current.id"""
    return _trace(book, order, labels, f"vessel {label!r}")


def last_lots(book: TrialBook) -> dict[str, str]:
    """Return the lot that was noted last of each material, by material; the newest batch first."""
    order = f"""SELECT DISTINCT current.* FROM current JOIN portion ON portion.entry = current.number
        WHERE portion.lot <> '' ORDER BY current.date DESC, current.number DESC LIMIT {_LAST}"""
    with reading(book.path, book.timeout) as connection:
        rows: list[sqlite3.Row] = connection.execute(order).fetchall()
        batches = [entry.trial for entry in entries_of(connection, rows) if entry.whole]
    lots: dict[str, str] = {}
    for portion in (portion for batch in batches for portion in reversed(batch.portions) if portion.lot):
        lots.setdefault(portion.material, portion.lot)
    return lots


def _trace(
    book: TrialBook, order: str, values: tuple[str | None, ...], what: str, alike: tuple[str, ...] = ()
) -> Trace:
    with reading(book.path, book.timeout) as connection:
        rows: list[sqlite3.Row] = connection.execute(order, values).fetchall()
        if not rows:
            repair = "Check the spelling; only what was noted on weighing or labeling can be traced."
            repair = f"{alike_words(alike)} {repair}".lstrip()
            raise NoSuchTrial(book.path, what, "one that is in the book", repair)
        batches = tuple(
            entry.trial
            for start in range(0, len(rows), 500)
            for entry in entries_of(connection, rows[start : start + 500])
            if entry.whole
        )
    return Trace(batches, alike)
