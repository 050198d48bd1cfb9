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
from optimizer.materials import OWN_FOLDER, Catalogue
from optimizer.outputs import create_whole
from optimizer.specs import load_catalogue
from optimizer.specs.bag_facts import COLORS, BagFacts
from optimizer.specs.new_material import NewMaterial, new_material
from ui.terminal import Block, heading, indented, sentence

FOLDER: Final = OWN_FOLDER


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


_SYMBOLS: Final = {"€": "EUR", "$": "USD", "£": "GBP"}
_CODE: Final = r"[A-Za-z]{3}|[€$£]"
_MONEY: Final = re.compile(rf"(?P<before>{_CODE})?\s*(?P<amount>[^A-Za-z€$£]*?)\s*(?P<after>{_CODE})?")


@dataclass(frozen=True)
class Paid:
    """Price of a powder: what a pack holds, its price as a job file states it, and the currency if said.

    Empty texts where no price was typed.
    """

    pack: str = ""
    price: str = ""
    currency: str = ""


@dataclass(frozen=True)
class Typed:
    """A powder as typed, free of faults: its record, its price, and the materials with it among them."""

    made: NewMaterial
    paid: Paid
    catalogue: Catalogue


def catalogue_of(folder: Path) -> Catalogue:
    """Return the shipped materials with those of a folder, if it holds any."""
    own = folder.is_dir() and any(folder.glob("*.toml"))
    return load_catalogue(folder if own else None)


def typed_powder(
    name: str, like: str, bag: BagFacts, paid: tuple[str, str], folder: Path, job: Path | str = ""
) -> Typed:
    """Return a new powder from all that was typed of it; nothing is written.

    Parameters
    ----------
    name, like : str
        Name in jobs, and the powder it is most like.
    paid : tuple[str, str]
        What a pack holds and what it costs, as typed; both may be empty.
    folder : Path
        Folder of own spec files, which add to the shipped materials.
    job : Path | str
        File of a job that is to use it, or the code of its currency; empty: no job is named.

    Raises
    ------
    FileFaults
        Every fault of all that was typed, the job's among them.
    """
    known = catalogue_of(folder)
    faults: list[Fault] = []
    made, currency = None, job if isinstance(job, str) else ""
    try:
        made = new_material(name, like, bag, known)
    except FileFaults as error:
        faults += error.faults
    if isinstance(job, Path):
        try:
            currency = read_job(job, known).currency
        except FileFaults as error:
            faults += error.faults
        if not any(paid):
            faults.append(Fault("price", "nothing", "pack and price, for the job", "State both."))
    price, wrong = _read_paid(*paid, currency, known)
    faults += wrong
    if faults or made is None:
        raise FileFaults(faults)
    return Typed(made, price, replace(known, materials={**known.materials, name: made.material}))


def _read_paid(pack: str, price: str, currency: str, catalogue: Catalogue) -> tuple[Paid, list[Fault]]:
    """Return a price as typed, its currency apart, and its faults; a job's own currency must be that."""
    pack, price = pack.strip(), price.strip()
    if not pack and not price:
        return Paid(), []
    match = _MONEY.fullmatch(price)
    codes = [] if match is None else [each.upper() for each in (match["before"], match["after"]) if each]
    said = [_SYMBOLS.get(each, each) for each in codes]
    amount = price if match is None or len(set(said)) > 1 else match["amount"]
    told = said[0] if len(set(said)) == 1 else ""
    faults = list(_price_faults(pack, amount, catalogue))
    if told and currency and told != currency:
        repair = f"State it in {currency}: nothing is converted."
        faults.append(Fault("price", repr(price), f"a price in the job's currency, {currency}", repair))
    return Paid(pack, amount, told or currency), faults


def _price_faults(pack: str, amount: str, catalogue: Catalogue) -> Iterator[Fault]:
    """Give the faults of pack and price: the reader of jobs checks them, in the least job with a price."""
    for key, text, example in (("pack", pack, "25 kg"), ("price", amount, "22")):
        if not text:
            yield Fault(key, "nothing", f"such as {example}", "State pack and price together.")
    if not pack or not amount:
        return
    anything = next(name for name in catalogue if catalogue[name].role == "binder")
    try:
        _least_job(anything, Paid(pack, amount), catalogue)
    except FileFaults as error:
        for fault in error.faults:
            yield replace(fault, where=fault.where.rpartition(".")[2])


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


def priced_job(name: str, path: Path, paid: Paid, catalogue: Catalogue) -> Job:
    """Return a job that may use a new powder at its price.

    Raises
    ------
    FileFaults
        When the job has faults.
    """
    job = read_job(path, catalogue)
    prices = {**job.prices, **_least_job(name, paid, catalogue).prices}
    stated = job.stated | {f"prices.{name}.pack", f"prices.{name}.price"}
    return replace(job, materials=(*job.materials, name), prices=prices, stated=stated)


def _least_job(name: str, paid: Paid, catalogue: Catalogue) -> Job:
    """Return the least job that states the price of a powder; `FileFaults` where it is none."""
    vessel = '[vessel]\ncavity_volume = "215 mL"\n'
    text = f'currency = "EUR"\nmaterials = ["{name}"]\n{vessel}{price_lines(name, paid)}'
    return parse_job(text, catalogue, "price")


def price_lines(name: str, paid: Paid) -> str:
    """Return the lines of a job file that state the price of a powder."""
    plain = re.fullmatch(r"[0-9]+(\.[0-9]+)?", paid.price)
    price = paid.price if plain else json.dumps(paid.price)
    return f"[prices.{name}]\npack = {json.dumps(paid.pack)}\nprice = {price}\n"


def job_text(job: Job) -> str:
    """Return the text of a job file."""
    return write_job(job)


def new_blocks(made: NewMaterial, like: str, path: Path, paid: Paid) -> Iterator[Block]:
    """Give what was typed, what was inherited, and what to do next."""
    name = made.material.name
    yield sentence(f"{made.material.label} is kept in {path}.")
    yield heading("From the bag")
    yield indented(", ".join(_spoken(each) for each in made.typed) or "nothing but its name")
    yield heading(f"Taken from {like}, with wider ranges")
    yield indented(", ".join(_spoken(each) for each in made.inherited))
    yield heading("Next")
    if paid.pack:
        job = f"a job in {paid.currency}" if paid.currency else "a job"
        yield indented(f"To let {job} use it, write beneath its prices, and its name into its materials:")
        yield sentence(price_lines(name, paid).strip().replace("\n", "  "), indent=4)
    yield indented(
        f'Would it still do? vesselblend check JOB --blend "{name}=..." --against "..." --specs {path.parent}'
    )


def _spoken(name: str) -> str:
    return name.replace("_", " ").replace("co2", "CO2")
