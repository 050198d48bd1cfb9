"""A new powder from its bag: the file it is kept in, the job that may use it, and what is said about both."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from optimizer.errors import Fault, FileFaults
from optimizer.job import Job
from optimizer.jobfile import parse_job, read_job
from optimizer.jobfile.writing import write_job
from optimizer.materials import Catalogue
from optimizer.outputs import create_whole
from optimizer.shop import Price
from optimizer.specs import load_catalogue
from optimizer.specs.bag_facts import COLORS, BagFacts
from optimizer.specs.new_material import NewMaterial, new_material
from ui.terminal import Block, heading, indented, sentence

__all__ = [
    "FOLDER",
    "QUESTIONS",
    "Question",
    "catalogue_of",
    "job_text",
    "keep",
    "new_blocks",
    "price_lines",
    "priced_job",
]

FOLDER: Final = "own_materials"
"""Folder of spec files where none is named."""


@dataclass(frozen=True)
class Question:
    """One thing a bag may say: field of `BagFacts`, words, and an example of what may be typed."""

    field: str
    words: str
    example: str


QUESTIONS: Final = (
    Question("label", "what it is called", "budget CSA"),
    Question("set_begins", "set begins", "20 min"),
    Question("set_ends", "set ends", "35 min"),
    Question("strengths", "strength by age, several parted by ;", "3 h = 20 MPa; 28 d = 42.5 MPa"),
    Question("tested", "tested as mortar (1:3:0.50) or neat; empty: as the model powder", "mortar"),
    Question("water", "water recommended", "0.45, or 45 parts per 100"),
    Question("color", f"color of a set piece: L*, or {', '.join(COLORS)}", "light gray"),
    Question("density", "density of the powder", "2.95 g/cm3"),
    Question("sand", "sand in it", "0 %"),
    Question("silica", "crystalline silica", "1 %"),
    Question("co2", "CO2 per mass of powder", "0.6 g/g"),
)
"""What is asked of a new powder; every answer may be left empty."""


def catalogue_of(folder: Path) -> Catalogue:
    """Return the shipped materials with those of a folder, if it holds any."""
    own = folder.is_dir() and any(folder.glob("*.toml"))
    return load_catalogue(folder if own else None)


def made_of(name: str, like: str, bag: BagFacts, folder: Path) -> tuple[NewMaterial, Catalogue]:
    """Return a new powder, and the materials of a folder with it among them; nothing is written.

    Raises
    ------
    FileFaults
        Every fault of what was typed.
    """
    known = catalogue_of(folder)
    made = new_material(name, like, bag, known)
    return made, replace(known, materials={**known.materials, name: made.material})


def keep(made: NewMaterial, folder: Path) -> Path:
    """Write the spec file of a new powder into a folder, which is made if there is none.

    Raises
    ------
    FileFaults
        When there is such a file already, or it cannot be written.
    """
    path = folder / f"{made.material.name}.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        repair = "Name a folder that can be made."
        raise FileFaults([Fault(str(folder), str(error.strerror), "a folder", repair)]) from None
    if not create_whole(path, made.text.encode()):
        repair = "Give the powder another name, or remove the file first."
        raise FileFaults([Fault(str(path), "a file that is there already", "a new file", repair)])
    return path


def priced_job(name: str, path: Path, pack: str, price: str, catalogue: Catalogue) -> Job:
    """Return a job that may use a new powder at its price.

    Raises
    ------
    FileFaults
        When the price or its pack is not one, or the job has faults.
    """
    job = read_job(path, catalogue)
    prices = {**job.prices, name: require_price(name, pack, price, catalogue)}
    stated = job.stated | {f"prices.{name}.pack", f"prices.{name}.price"}
    return replace(job, materials=(*job.materials, name), prices=prices, stated=stated)


def require_price(name: str, pack: str, price: str, catalogue: Catalogue) -> Price:
    """Return a price as typed; `FileFaults` where it is none.

    The reader of jobs checks it, in the smallest job that states a price.
    """
    vessel = '[vessel]\ncavity_volume = "215 mL"\n'
    text = f'currency = "EUR"\nmaterials = ["{name}"]\n{vessel}{price_lines(name, pack, price)}'
    return parse_job(text, catalogue, "price").prices[name]


def price_lines(name: str, pack: str, price: str) -> str:
    """Return the lines of a job file that state the price of a powder."""
    plain = re.fullmatch(r"[0-9]+(\.[0-9]+)?", price)
    return f"[prices.{name}]\npack = {json.dumps(pack)}\nprice = {price if plain else json.dumps(price)}\n"


def job_text(job: Job) -> str:
    """Return the text of a job file."""
    return write_job(job)


def new_blocks(made: NewMaterial, like: str, path: Path, price: tuple[str, str]) -> Iterator[Block]:
    """Give what was typed, what was inherited, and what to do next."""
    name, pack, paid = made.material.name, *price
    yield sentence(f"{made.material.label} is kept in {path}.")
    yield heading("From the bag")
    yield indented(", ".join(_spoken(each) for each in made.typed) or "nothing but its name")
    yield heading(f"Taken from {like}, with wider ranges")
    yield indented(", ".join(_spoken(each) for each in made.inherited))
    yield heading("Next")
    if pack and paid:
        yield indented("To let a job use it, write beneath its prices, and its name into its materials:")
        yield sentence(price_lines(name, pack, paid).strip().replace("\n", "  "), indent=4)
    yield indented(
        f'Would it still do? vesselblend check JOB --blend "{name}=..." --against "..." --specs {path.parent}'
    )


def _spoken(name: str) -> str:
    return name.replace("_", " ").replace("co2", "CO2")
