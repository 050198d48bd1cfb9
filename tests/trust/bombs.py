"""Small files that swell when they are read: ``python -m tests.trust.bombs`` prints what each one costs.

Each is made in a folder of its own and given to the command that reads such files, in a process of its own.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from openpyxl import Workbook
from PIL import Image

__all__ = ["BOMBS", "Bomb", "Burst", "burst"]

ROOT = Path(__file__).parents[2]
LONGEST = 120.0
"""Time after which a command counts as caught [s]."""

_RUN = """import resource, sys
from ui.cli import run
code = run(sys.argv[1:])
status = open("/proc/self/status", encoding="ascii").read()
used = resource.getrusage(resource.RUSAGE_SELF)
most = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
print(code, used.ru_utime + used.ru_stime, most)
"""
_SHEET = "xl/worksheets/sheet1.xml"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_HEAD = '<c r="A1" t="inlineStr"><is><t>date</t></is></c>'
_PHOTO = 13_300
"""Width and height of the large photo [pixels]: just below what Pillow refuses to open."""


@dataclass(frozen=True)
class Bomb:
    """A file, made by `make` in a folder, and what the command that reads it answers.

    Attributes
    ----------
    make : Callable[[Path], Path]
        Writes the file into a folder and returns its path.
    words : tuple[str, ...]
        The command, with ``{file}`` for the path.
    told : str
        Words of its repair; empty where the file is read like any other.
    """

    make: Callable[[Path], Path]
    words: tuple[str, ...]
    told: str


@dataclass(frozen=True)
class Burst:
    """What a bomb cost: size of its file [bytes], exit code, words, processor time [s], most memory [MB]."""

    size: int
    code: int
    said: str
    seconds: float
    megabytes: float


def burst(bomb: Bomb, folder: Path) -> Burst:
    """Give a bomb to the command that reads it and return what that cost."""
    path = bomb.make(folder)
    words = [word.format(file=path) for word in bomb.words]
    done = subprocess.run(
        [sys.executable, "-c", _RUN, *words],
        cwd=folder,
        env={"PYTHONPATH": str(ROOT), "HOME": str(folder), "PATH": ""},
        capture_output=True,
        text=True,
        timeout=LONGEST,
        check=True,
    )
    code, seconds, kilobytes = done.stdout.splitlines()[-1].split()
    said = done.stdout + done.stderr
    return Burst(path.stat().st_size, int(code), said, float(seconds), int(kilobytes) / 1024.0)


def _sheet(rows: str, dimension: str = "A1", before: str = "") -> Callable[[Path], Path]:
    """Return what writes a spreadsheet whose first sheet holds these rows."""
    xml = (
        f'<?xml version="1.0"?>{before}<worksheet xmlns="{_MAIN}"><dimension ref="{dimension}"/>'
        f"<sheetData>{rows}</sheetData></worksheet>"
    )

    def make(folder: Path) -> Path:
        plain, path = io.BytesIO(), folder / "bomb.xlsx"
        Workbook().save(plain)
        with (
            zipfile.ZipFile(plain) as old,
            zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as new,
        ):
            for part in old.namelist():
                new.writestr(part, xml if part == _SHEET else old.read(part))
        return path

    return make


def _photo(ending: str, **options: object) -> Callable[[Path], Path]:
    """Return what writes a large photo of an even gray."""

    def make(folder: Path) -> Path:
        path = folder / f"photo.{ending}"
        Image.new("RGB", (_PHOTO, _PHOTO), (180, 180, 180)).save(path, **options)
        return path

    return make


_IMPORT = ("trials", "import", "{file}")
_WHITENESS = ("trials", "measure", "whiteness", "photo={file}", "face=0.4 0.1 0.6 0.9", "card=0 0.1 0.2 0.9")
_NAMED = f'<row r="1">{_HEAD}</row>'

BOMBS = {
    "a million rows claimed": Bomb(
        _sheet(_NAMED + '<row r="1048576"><c r="A1048576"/></row>', "A1:XFD1048576"),
        _IMPORT,
        "at most 200000",
    ),
    "a cell in the last row": Bomb(
        _sheet(_NAMED + '<row r="1048576"><c r="A1048576"><v>1</v></c></row>'), _IMPORT, "at most 200000"
    ),
    "a cell in the last column": Bomb(
        _sheet(f'<row r="1">{_HEAD}<c r="XFD1"><v>1</v></c></row>'), _IMPORT, "at most 1000"
    ),
    "empty cells in the last column": Bomb(
        _sheet(_NAMED + "".join(f'<row r="{n}"><c r="XFD{n}"/></row>' for n in range(2, 200_000))),
        _IMPORT,
        "delete empty rows and columns",
    ),
    "cells without end in one row": Bomb(
        _sheet(f'<row r="1">{_HEAD}{"<c/>" * 10_000_000}</row>'), _IMPORT, "delete empty rows and columns"
    ),
    "tags that are no cells": Bomb(
        _sheet(_NAMED + "<mergeCells>" + '<mergeCell ref="A1:B2"/>' * 1_000_000 + "</mergeCells>"),
        _IMPORT,
        "delete empty rows and columns",
    ),
    "texts that stand for texts": Bomb(
        _sheet(_NAMED, before=f'<!DOCTYPE a [<!ENTITY b "{"b" * 1000}"><!ENTITY c "{"&b;" * 1000}">]>'),
        _IMPORT,
        "declarations",
    ),
    "parts of a gigabyte": Bomb(_sheet(_NAMED + " " * 2**28), _IMPORT, "MiB unpacked"),
    "a large PNG": Bomb(_photo("png"), _WHITENESS, "save it smaller"),
    "a large JPEG": Bomb(_photo("jpg"), _WHITENESS, "whiteness"),
    "a large progressive JPEG": Bomb(_photo("jpg", progressive=True), _WHITENESS, "save it smaller"),
}
"""Bombs by what they are."""


def main() -> None:
    """Print what each bomb costs."""
    for name, bomb in BOMBS.items():
        with tempfile.TemporaryDirectory() as folder:
            done = burst(bomb, Path(folder))
        sys.stdout.write(
            f"{name}: {done.size / 1000.0:.1f} kB, exit {done.code}, {done.seconds:.1f} s of processor, "
            f"{done.megabytes:.0f} MB\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
