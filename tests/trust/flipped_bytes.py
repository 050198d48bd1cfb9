"""How a trial book ends with one byte changed, again and again.

``python -m tests.trust.flipped_bytes 1000`` prints how each changed book ended. Wanted: no reading changed
without a word, no internal error, no void trial that counts again.
"""

from __future__ import annotations

import datetime as dt
import io
import random
import sqlite3
import sys
import tempfile
from collections import Counter
from contextlib import closing, redirect_stderr, redirect_stdout
from dataclasses import dataclass, replace
from pathlib import Path

from optimizer.errors import VesselblendError
from optimizer.trials.book import TrialBook
from optimizer.trials.records import Burn, Portion, Strength, Trial, Version, Weighing
from optimizer.trials.table_files import read_csv_text
from ui.cli import run

GOOD = ("whole, nothing changed", "damaged trials named", "damaged, the rest exported", "refused")
BAD = ("a silent change", "an internal error", "a void trial revived")


@dataclass(frozen=True)
class Sample:
    """A book on the disk, and what is in it.

    Attributes
    ----------
    content : bytes
        The file.
    versions : tuple[Version, ...]
        All versions of all trials.
    """

    content: bytes
    versions: tuple[Version, ...]

    @property
    def newest(self) -> dict[str, Version]:
        """Newest version of each trial."""
        return {version.trial.id: version for version in self.versions}


def sample(folder: Path, trials: int = 24) -> Sample:
    """Return a book of invented trials; every fourth is corrected, every fifth made void."""
    path = folder / "sample.db"
    book = TrialBook(path)
    for number in range(trials):
        book.add(invented(number))
        if number % 4 == 1:
            book.correct(replace(invented(number), water=130.0 + number), "read again")
        if number % 5 == 2:
            book.withdraw(f"t{number:02d}", "wet bag")
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return Sample(path.read_bytes(), tuple(book.versions()))


def invented(number: int) -> Trial:
    """Return an invented trial."""
    return Trial(
        date=dt.date(2026, 3, 2) + dt.timedelta(days=number),
        id=f"t{number:02d}",
        portions=(Portion("gypsum_cement", 300.0 + number, "G-17"), Portion("marble_flour", 100.0)),
        water=120.0 + number,
        room_temperature=21.0,
        labels=(f"V-{number:03d}",),
        initial_set=18.0,
        demold=41.0 + number,
        whiteness=91.0,
        weighings=(Weighing(0.0, 402.0), Weighing(1.0, 371.0 - number)),
        strengths=(Strength(21.5 + number, 60.0, "wet", "compressive", "cube", "=", 1.5),),
        burns=(Burn(44.5, 61.0, 1.0, 4.5, 1, "repeated burns", 21.0),),
        remarks="poured slowly",
    )


def ended(book: Sample, place: int, value: int, folder: Path) -> str:
    """Return how a book with one byte changed ends: one of `GOOD` or of `BAD`."""
    path = folder / "flipped.db"
    for old in folder.glob("flipped.db*"):
        old.unlink()
    content = bytearray(book.content)
    content[place] = value
    path.write_bytes(content)
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        codes = [run(["trials", "list", "--book", str(path)])]
        listed = out.tell()
        codes.append(run(["trials", "export", "--book", str(path)]))
    if set(codes) - {0, 4}:
        return "an internal error"
    exported = out.getvalue()[listed:]
    return worse(read_again(book, exported, codes[1]), fitted(book, path))


def read_again(book: Sample, exported: str, code: int) -> str:
    """Return how what was exported compares with what was entered."""
    if code and not exported:
        return "refused"
    found = read_csv_text(exported)
    if found.faults:
        return "an internal error"
    entered = {(version.trial.id, version.number): version for version in book.versions}
    newest: dict[str, Version] = {}
    for version in found.versions:
        newest[version.trial.id] = version
        same = entered.get((version.trial.id, version.number or book_number(book, version)))
        if not version.void and (same is None or same.trial != version.trial or same.void):
            return "a void trial revived" if same is not None and same.void else "a silent change"
    for id, version in book.newest.items():
        if version.void and id in newest and not newest[id].void:
            return "a void trial revived"
        if not code and (id not in newest or newest[id].trial != version.trial):
            return "a silent change"
    whole = len(found.versions) == len(book.versions)
    if code:
        return "damaged trials named" if whole else "damaged, the rest exported"
    return "whole, nothing changed" if whole else "a silent change"


def book_number(book: Sample, version: Version) -> int | None:
    """Return the number of the newest version of a trial: a salvaged one states none."""
    newest = book.newest.get(version.trial.id)
    return newest.number if newest else None


def fitted(book: Sample, path: Path) -> str:
    """Return whether what a fit would read is what was entered."""
    try:
        kept = TrialBook(path)
        trials, damaged = {trial.id: trial for trial in kept.trials()}, set(kept.damaged())
    except VesselblendError:
        return "refused"
    except Exception:
        return "an internal error"
    for id, version in book.newest.items():
        if version.void and id in trials:
            return "a void trial revived"
        if not version.void and id not in damaged and trials.get(id) != version.trial:
            return "a silent change"
    return "whole, nothing changed" if trials.keys() <= book.newest.keys() else "a silent change"


def worse(one: str, other: str) -> str:
    """Return the worse of two ends; the first where both are good."""
    return other if other in BAD and one not in BAD else one


def flips(count: int, seed: int = 14) -> Counter[str]:
    """Return how many of `count` changed books ended in which way."""
    made = random.Random(seed)
    found: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        book = sample(folder)
        for _ in range(count):
            place = made.randrange(len(book.content))
            value = book.content[place] ^ made.randrange(1, 256)
            end = ended(book, place, value, folder)
            found[end] += 1
            if end in BAD:
                sys.stderr.write(f"byte {place} of {len(book.content)} to {value}: {end}\n")
    return found


if __name__ == "__main__":
    for word, times in flips(int(sys.argv[1]) if sys.argv[1:] else 1000).most_common():
        sys.stdout.write(f"{times:6d}  {word}\n")
