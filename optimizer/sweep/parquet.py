"""Rows of a sweep as a folder of Parquet files: a journal takes each row, a full journal becomes a part.

A part is written beside its place and moved there; readers of Parquet folders pass over the journal, whose
name begins with an underscore. Killed between the two steps, the rows of the last part are in the journal
too; they are taken out of it when the folder is opened again.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.outputs import to_disk
from optimizer.sweep.ledger import Columns, CsvLedger, unwritten
from optimizer.sweep.worker import Row

__all__ = ["ParquetLedger"]

_JOURNAL: Final = "_rows.csv"
_PART_ROWS: Final = 2000


class ParquetLedger:
    """A folder of Parquet parts with a journal.

    Attributes
    ----------
    done : set[int]
        Scenarios with a row, by the number their key stands for.
    """

    def __init__(self, folder: Path, columns: Columns, job: str, part_rows: int = _PART_ROWS) -> None:
        if folder.exists() and not folder.is_dir():
            raise OSError(0, "a file where a folder of parts is to be")
        self.folder, self.columns, self._part_rows = folder, columns, part_rows
        self._in_parts: set[int] = set()
        self._waiting = 0
        folder.mkdir(exist_ok=True)
        self._journal = CsvLedger(folder / _JOURNAL, columns, job, exact=True)
        try:
            self._take_up(job)
        except BaseException:
            self._journal.close()
            raise

    @property
    def done(self) -> set[int]:
        """Scenarios with a row."""
        return self._journal.done

    def append(self, row: Row) -> None:
        """Put a row on the disk; `FileFaults` where there is no room."""
        self._journal.append(row)
        self._waiting += 1
        if self._waiting >= self._part_rows:
            self._turn_to_part()

    def close(self) -> None:
        """Turn what is left in the journal to a part, and take the journal away."""
        try:
            if self._waiting:
                self._turn_to_part()
        finally:
            self._journal.close()
        (self.folder / _JOURNAL).unlink(missing_ok=True)

    def _take_up(self, job: str) -> None:
        for part in sorted(self.folder.glob("part-*.parquet")):
            self._check(part, job)
        for draft in self.folder.glob(f"_part-{'[0-9]' * 6}.parquet"):
            draft.unlink()
        if self._journal.done & self._in_parts:
            self._journal.clear()
        else:
            self._waiting = len(self._journal.done)
        self._journal.done.update(self._in_parts)

    def _check(self, part: Path, job: str) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        names = [name for name, _ in self.columns]
        try:
            table = pq.read_table(part, columns=names[:2], partitioning=None)
            known = pq.read_schema(part).names
        except (pa.ArrowException, KeyError, OSError) as error:
            raise _fault(part, f"no part of a sweep ({str(error).splitlines()[0]})") from None
        if known != names or set(table[names[1]].to_pylist()) - {job}:
            raise _fault(part, "rows of another sweep, job or version")
        self._in_parts.update(int(key, 16) for key in table[names[0]].to_pylist())

    def _turn_to_part(self) -> None:
        import pyarrow as pa

        rows = list(self._journal.lines())
        kinds = [(name, pa.float64() if number else pa.string()) for name, number in self.columns]
        columns = [[_typed(row[k], number) for row in rows] for k, (_, number) in enumerate(self.columns)]
        arrays = [pa.array(cells, kind) for cells, (_, kind) in zip(columns, kinds, strict=True)]
        table = pa.Table.from_arrays(arrays, schema=pa.schema(kinds))
        try:
            self._put_part(table)
        except OSError as error:
            raise unwritten(self.folder, error, "Free some room") from None
        self._journal.clear()
        self._waiting = 0

    def _put_part(self, table: Any) -> None:  # noqa: ANN401  an untyped library
        import pyarrow.parquet as pq

        number = 1 + max((int(p.stem[5:]) for p in self.folder.glob("part-*.parquet")), default=0)
        draft = self.folder / f"_part-{number:06d}.parquet"
        pq.write_table(table, draft)
        to_disk(draft)
        draft.replace(self.folder / f"part-{number:06d}.parquet")


def _typed(cell: str, number: bool) -> Any:  # noqa: ANN401  a number or a text
    if number:
        return float(cell) if cell else None
    from optimizer.trials.cells import restored

    return restored(cell) or None


def _fault(path: Path, value: str) -> FileFaults:
    repair = "Name another folder for this sweep, or remove the old one."
    return FileFaults([Fault(str(path), value, "parts of this very sweep", repair)])
