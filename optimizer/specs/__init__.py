"""Reads material_specs/ and a folder of the caster's own: files -> Catalogue."""

from optimizer.specs.catalogue import load_catalogue, specs_folder

__all__ = ["load_catalogue", "specs_folder"]
