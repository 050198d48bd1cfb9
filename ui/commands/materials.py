"""``vesselblend materials``: every figure with its source; ``new``: a powder of which only a bag is known."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from ui.commands.shared import delivered, job_options
from ui.delivery import Delivery, say

if TYPE_CHECKING:
    from optimizer.materials import Catalogue
    from optimizer.specs.bag_facts import BagFacts
    from ui.new_powder import Typed

_SHOW = "show"

_EXAMPLE: Final = """\b
Example:
  vesselblend materials new budget_csa --like csa_cement --price 22 --pack "25 kg" \\
      --set-begins "20 min" --set-ends "35 min" --strength "28 d = 42.5 MPa"
"""
_FACTS: Final = (
    "label",
    "set_begins",
    "set_ends",
    "tested",
    "water",
    "color",
    "density",
    "sand",
    "silica",
    "co2",
)


class _Listing(click.Group):
    """Commands about materials; without the name of one of them, the listing."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the words after ``materials``: the name of a material is no command."""
        if not args or (args[0] not in self.commands and args[0] not in ctx.help_option_names):
            args = [_SHOW, *args]
        return super().parse_args(ctx, args)


@click.group(cls=_Listing, short_help="List the materials, every figure of one, or add a new one.")
def materials() -> None:
    """List the materials, or every figure of one: vesselblend materials [NAME].

    What the predictions were checked against, and the publications: vesselblend materials --sources

    A powder of which you know what its bag says: vesselblend materials new NAME --like csa_cement
    """


@materials.command(_SHOW, hidden=True)
@click.argument("name", required=False)
@click.option(
    "--sources", is_flag=True, help="Tell what each property was checked against, and the publications."
)
@job_options
@delivered
def show(name: str | None, sources: bool, specs: str | None, delivery: Delivery) -> int:
    """List the materials, or show every figure of the material NAME: range, source and how sure it is."""
    from optimizer.specs import load_catalogue

    catalogue = load_catalogue(specs)
    if sources:
        _show_sources(name, catalogue, delivery)
    else:
        _show_figures(name, catalogue, delivery)
    return 0


def _show_sources(name: str | None, catalogue: Catalogue, delivery: Delivery) -> None:
    from ui.material_text import source_blocks, sources_json

    if name is not None:
        raise click.UsageError(
            f"--sources speaks of all materials; the sources of one: vesselblend materials {name}"
        )
    delivery.send(sources_json(catalogue), source_blocks(catalogue))


def _show_figures(name: str | None, catalogue: Catalogue, delivery: Delivery) -> None:
    from ui.material_text import catalogue_blocks, catalogue_json, material_blocks, material_json

    if name is None:
        delivery.send(catalogue_json(catalogue), catalogue_blocks(catalogue))
        return
    material = catalogue[name]
    data = material_json(material, catalogue)
    delivery.send(data, material_blocks(material, catalogue, delivery.units))


@click.command("new", epilog=_EXAMPLE)
@click.argument("name")
@click.option(
    "--like", metavar="NAME", help="Powder it is most like; what the bag does not say is taken from it."
)
@click.option("--label", metavar="TEXT", help="What it is called.")
@click.option("--price", metavar="MONEY", help='Price of a pack: 22, or "22 EUR".')
@click.option("--pack", metavar="MASS", help='What a pack holds, such as "25 kg".')
@click.option("--set-begins", metavar="TIME", help='Initial set, such as "20 min".')
@click.option("--set-ends", metavar="TIME", help='Final set, such as "35 min".')
@click.option(
    "--strength",
    "strengths",
    multiple=True,
    metavar="AGE=STRENGTH",
    help='Such as "28 d = 42.5 MPa" or "1 h wet = 3500 psi"; may be given several times.',
)
@click.option("--tested", metavar="HOW", help="mortar (1 cement, 3 sand, 0.50 water) or neat.")
@click.option("--water", metavar="RATIO", help='Water recommended: 0.45, or "45 parts per 100".')
@click.option(
    "--color", metavar="COLOR", help="Of a set piece: L*, or white, off-white, light gray, gray, buff."
)
@click.option("--density", metavar="DENSITY", help='Of the powder, such as "2.95 g/cm3".')
@click.option("--sand", metavar="SHARE", help='Sand in it, such as "55 %".')
@click.option("--silica", metavar="SHARE", help="Crystalline silica in it.")
@click.option("--co2", metavar="RATIO", help='CO2 per mass of powder, such as "0.6 g/g".')
@click.option("--job", metavar="FILE", help="Write a copy of this job that may use it at its price.")
@click.option("--test", is_flag=True, help="Say what to cast first to learn most about it.")
@job_options
@delivered
def materials_new(
    name: str,
    like: str | None,
    price: str | None,
    pack: str | None,
    strengths: Sequence[str],
    job: str | None,
    test: bool,
    specs: str | None,
    delivery: Delivery,
    **facts: Any,  # noqa: ANN401  the facts of the bag, each an option of its own
) -> int:
    """Write the spec file of a powder of which you know what its bag or data sheet says.

    Every fact may be left out; what is not said is taken from the powder it is like, with wider ranges. On a
    terminal, without any fact, each is asked for. The file goes into the folder --specs (own_materials), and
    nothing is ever overwritten.
    """
    from optimizer.specs.bag_facts import BagFacts
    from ui.new_powder import FOLDER, keep, new_blocks, typed_powder

    stated = {key: str(facts[key]) for key in _FACTS if facts.get(key)}
    if not stated and not strengths and sys.stdin is not None and sys.stdin.isatty():
        like, price, pack, bag = _asked(like, price, pack)
    else:
        bag = BagFacts(strengths=tuple(strengths), **stated)
    if like is None:
        raise click.UsageError("Name the powder it is most like, such as --like csa_cement.")
    folder, beside = Path(specs or FOLDER), "" if job is None else Path(job)
    typed = typed_powder(name, like, bag, (pack or "", price or ""), folder, beside)
    copy = _job_copy(name, beside, typed) if isinstance(beside, Path) else None
    path = keep(typed.made, folder)
    data: dict[str, Any] = {
        "written": str(path),
        "typed": typed.made.typed,
        "inherited": typed.made.inherited,
    }
    if copy is not None:
        data["job"] = _kept_copy(*copy)
    blocks = list(new_blocks(typed.made, like, path, typed.paid))
    if test:
        words, data["first_cast"] = _first_cast(name, typed.catalogue, delivery)
        blocks += words
    delivery.send(data, blocks)
    return 0


def _asked(like: str | None, price: str | None, pack: str | None) -> tuple[str, str, str, BagFacts]:
    """Ask for each fact on the terminal; Enter leaves it out."""
    from optimizer.specs.bag_facts import BagFacts
    from ui.new_powder import QUESTIONS

    def ask(words: str, example: str, known: str | None = None) -> str:
        return str(
            click.prompt(f"{words} (such as {example})", default=known or "", show_default=False, err=True)
        )

    like = ask("most like which powder", "csa_cement", like) or "csa_cement"
    pack, price = ask("a pack holds", "25 kg", pack), ask("price of a pack", "22", price)
    typed: dict[str, Any] = {each.field: ask(each.words, each.example) for each in QUESTIONS}
    typed["strengths"] = tuple(part for part in typed["strengths"].split(";") if part.strip())
    return like, price, pack, BagFacts(**typed)


def _job_copy(name: str, job: Path, typed: Typed) -> tuple[Path, str]:
    """Return where a copy of a job goes that may use the powder, and its text."""
    from ui.new_powder import job_text, priced_job

    path = job.with_name(f"{job.stem}_{name}.toml")
    if path.exists():
        raise _there(path)
    return path, job_text(priced_job(name, job, typed.paid, typed.catalogue))


def _kept_copy(path: Path, text: str) -> str:
    from optimizer.outputs import create_whole

    if not create_whole(path, text.encode()):
        raise _there(path)
    say(f"Written: {path}, a copy of the job that may use the powder")
    return str(path)


def _there(path: Path) -> Exception:
    from optimizer.errors import Fault, FileFaults

    repair = "Remove it, or add the powder to it yourself."
    return FileFaults([Fault(str(path), "a file that is there already", "a new file", repair)])


def _first_cast(name: str, catalogue: Catalogue, delivery: Delivery) -> tuple[list[Any], dict[str, Any]]:
    from optimizer.calibration.first_cast import first_cast
    from ui.fit_text import next_blocks

    found, job, weighed = first_cast(name, catalogue)
    data = {"blend": dict(found.cast.blend), "weigh": weighed, "readings": dict(found.alone)}
    return list(next_blocks(found, weighed, job, catalogue, delivery.units)), data
