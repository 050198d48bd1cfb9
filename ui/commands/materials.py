"""``vesselblend materials``: the shipped and own materials, each figure with its source."""

from __future__ import annotations

import click

from ui.commands.shared import job_options
from ui.delivery import Delivery, delivered

__all__ = ["materials"]


@click.command(short_help="List the materials, or every figure of one.")
@click.argument("name", required=False)
@job_options
@delivered
def materials(name: str | None, specs: str | None, delivery: Delivery) -> int:
    """List the materials, or show every figure of the material NAME: range, source and how sure it is."""
    from optimizer.specs import load_catalogue
    from ui.material_text import catalogue_blocks, catalogue_json, material_blocks, material_json

    catalogue = load_catalogue(specs)
    if name is None:
        delivery.send(catalogue_json(catalogue), lambda: list(catalogue_blocks(catalogue)))
        return 0
    material = catalogue[name]
    data = material_json(material, catalogue)
    delivery.send(data, lambda: list(material_blocks(material, catalogue, delivery.units)))
    return 0
