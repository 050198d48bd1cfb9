"""``vesselblend materials``: the shipped and own materials, each figure with its source, and new ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ui.commands.shared import delivered, job_options
from ui.delivery import Delivery

if TYPE_CHECKING:
    from optimizer.materials import Catalogue

_SHOW = "show"


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
    from ui.source_text import source_blocks, sources_json

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
