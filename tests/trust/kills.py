"""Commands that write, killed at any moment, and many writers at once: nothing said to be done is lost.

``python -m tests.trust.kills 500 20`` kills 500 commands (add, void, correct, import, fit, export, sweep in
turn) after a random time and looks at what they leave, then lets 20 add a trial at once.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from optimizer.calibration.files import newest_calibration, read_calibration
from optimizer.errors import VesselblendError
from optimizer.trials.book import TrialBook
from optimizer.trials.table_files import read_csv, write_csv
from tests.sweep.samples import JOB
from tests.trust.flipped_bytes import invented

ENV = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
LONGEST = 8.0
"""A command is killed within this time of its start [s]."""

VARY = "prices.gypsum_cement.price=30:60:3, limits.dry_strength=20 MPa:30 MPa:4"


@dataclass
class Studio:
    """A folder with a job and a book, and what was said to be done there.

    Attributes
    ----------
    folder : Path
        Where everything lies.
    said : set[str]
        Ids that a command said it entered.
    ends : Counter[str]
        Commands killed before and after they ended.
    faults : list[str]
        What was found wrong.
    """

    folder: Path
    said: set[str] = field(default_factory=set)
    ends: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)

    def started(self, *words: str) -> subprocess.Popen[str]:
        """Start a command in the folder."""
        return subprocess.Popen(
            [sys.executable, "-m", "ui", *words],
            cwd=self.folder,
            env=ENV,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )


def begun(folder: Path) -> Studio:
    """Return a studio with ten invented trials, a table to import and a job."""
    book = TrialBook(folder / "trials.db")
    for number in range(10):
        book.add(invented(number))
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    return Studio(folder, said={f"t{number:02d}" for number in range(10)})


def words_of(studio: Studio, turn: int) -> tuple[str, ...]:
    """Return the command of a turn."""
    write_csv([invented(1000 + 30 * turn + k) for k in range(30)], studio.folder / "table.csv")
    each = (
        ("trials", "add", "--weighed", "gypsum_cement=300, water=105", "demold=38 min", "--json"),
        ("trials", "void", f"t{turn % 10:02d}", "--reason", "wet bag"),
        ("trials", "add", "--correct", f"t{turn % 10:02d}", f"water={110 + turn % 40} g"),
        ("trials", "import", "table.csv"),
        ("trials", "fit"),
        ("trials", "export", "out.csv"),
        ("sweep", "job.toml", "--vary", VARY, "-o", "rows.csv", "--executor", "solo"),
    )
    return each[turn % len(each)]


def killed(studio: Studio, turn: int, chance: random.Random) -> None:
    """Kill one command at a random moment and look at what is left."""
    words = words_of(studio, turn)
    with studio.started(*words) as running:
        try:
            out, _ = running.communicate(timeout=chance.uniform(0.05, LONGEST))
            studio.ends["ended before"] += 1
        except subprocess.TimeoutExpired:
            running.kill()
            out, _ = running.communicate()
            studio.ends["killed"] += 1
    if words[1] == "add" and '"id": "' in out:
        studio.said.add(out.partition('"id": "')[2].partition('"')[0])
    studio.faults += [f"turn {turn}, {' '.join(words)}: {fault}" for fault in looked_at(studio)]


def looked_at(studio: Studio) -> list[str]:
    """Return what is wrong in the folder: trials lost or damaged, half files, drafts taken for files."""
    faults: list[str] = []
    try:
        book = TrialBook(studio.folder / "trials.db")
        held = {version.trial.id for version in book.versions()}
        faults += [f"lost: {id}" for id in studio.said - held] + [f"damaged: {id}" for id in book.damaged()]
        newest = newest_calibration(studio.folder)
        if newest is not None:
            read_calibration(newest)
        out = studio.folder / "out.csv"
        if out.exists() and read_csv(out).faults:
            faults.append("half an export")
    except VesselblendError as error:
        faults.append(str(error))
    rows = studio.folder / "rows.csv"
    whole = [line for line in rows.read_bytes().splitlines(keepends=True)[1:]] if rows.exists() else []
    keys = [line.partition(b",")[0] for line in whole if line.endswith(b"\n")]
    return faults + (["a row twice"] if len(set(keys)) < len(keys) else [])


def at_once(studio: Studio, writers: int) -> list[str]:
    """Let many add a trial at once and return what went wrong."""
    before = len(list(TrialBook(studio.folder / "trials.db").versions()))
    add = ("trials", "add", "--weighed", "gypsum_cement=300, water=105", "demold=38 min")
    running = [studio.started(*add) for _ in range(writers)]
    codes = []
    for each in running:
        with each:
            each.communicate()
        codes.append(each.returncode)
    after = len(list(TrialBook(studio.folder / "trials.db").versions()))
    return (
        [] if codes == [0] * writers and after == before + writers else [f"{codes}, {after - before} added"]
    )


def trial(kills: int, writers: int, seed: int = 14) -> Studio:
    """Return what so many kills and writers leave; its folder is gone."""
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        studio = begun(Path(name))
        for turn in range(kills):
            killed(studio, turn, chance)
        studio.faults += at_once(studio, writers)
        drafts = list(studio.folder.glob(".*.tmp"))
        studio.ends["drafts left behind, which nothing reads"] = len(drafts)
    return studio


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]] or [500, 20]
    found = trial(*numbers)
    for word, times in found.ends.items():
        sys.stdout.write(f"{times:6d}  {word}\n")
    sys.stdout.write("\n".join([f"{len(found.faults)} faults", *found.faults]) + "\n")
