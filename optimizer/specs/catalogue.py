"""Read ``material_specs/`` and own spec folders into a `Catalogue`; all faults of all files at once.

A folder holds one TOML file per material (its name is the file's), ``model.toml`` with the global
figures of the property chain, and ``sources.toml`` with the bibliography. An own folder adds materials
or replaces them by file name; its ``model.toml`` and ``sources.toml`` are laid over the shipped ones.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from optimizer.errors import Fault, FileFaults
from optimizer.materials import ROLES, Catalogue, Figure, Material, Source
from optimizer.specs.figures import MODEL_FIGURES, figure_of
from optimizer.toml_files import nearest_repair, read_toml, shown_key

if TYPE_CHECKING:
    from optimizer.specs.forms import FigureForm

_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,59}")
_MODEL_FILE: Final = "model.toml"
_SOURCES_FILE: Final = "sources.toml"
_MOST_FILES: Final = 500

Form = TypeVar("Form")


def specs_folder() -> Path:
    """Return the folder of the shipped specs: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "material_specs"
    return inside if inside.is_dir() else package.parent / "material_specs"


def load_catalogue(extra: Path | str | None = None) -> Catalogue:
    """Return the shipped catalogue, with the spec folder `extra` laid over it.

    Parameters
    ----------
    extra : Path or str, optional
        Folder with own spec files [-].

    Returns
    -------
    Catalogue
        Materials by name (binders first), global figures, bibliography.

    Raises
    ------
    FileFaults
        With every fault of every file: where it is, what was read, what is allowed, the repair.

    Examples
    --------
    >>> catalogue = load_catalogue()
    >>> catalogue["gypsum_cement"].figures["density"].value
    2.757
    """
    return _shipped() if extra is None else _read((specs_folder(), Path(extra)))


@lru_cache(maxsize=1)
def _shipped() -> Catalogue:
    return _read((specs_folder(),))


def _read(folders: tuple[Path, ...]) -> Catalogue:
    faults: list[Fault] = []
    files = {}
    for folder in folders:
        files[folder] = _spec_files(folder, faults)
    sources = _sources(files, faults)
    model = _model(files, sources, faults)
    materials = _materials(files, sources, faults)
    if faults:
        raise FileFaults(faults)
    return Catalogue(materials, model, sources)


def _spec_files(folder: Path, faults: list[Fault]) -> dict[str, Path]:
    """Return the TOML files of a folder by file name."""
    try:
        found = sorted(path for path in folder.iterdir() if path.suffix == ".toml")
    except (OSError, ValueError):
        faults.append(Fault(str(folder), "no folder", "a folder of spec files", "Name an existing folder."))
        return {}
    if not found or len(found) > _MOST_FILES:
        allowed = f"1 to {_MOST_FILES} files named *.toml"
        faults.append(
            Fault(str(folder), f"{len(found)} spec files", allowed, "Name the folder of the specs.")
        )
        return {}
    return {path.name: path for path in found}


def _form(
    path: Path, validate: Callable[[Any], Form], keys: tuple[str, ...], faults: list[Fault]
) -> Form | None:
    """Read one file into its form, or note its faults and return None."""
    from pydantic import ValidationError

    from optimizer.specs.forms import faults_of

    try:
        return validate(read_toml(path))
    except FileFaults as error:
        faults.extend(error.faults)
    except ValidationError as error:
        faults.extend(faults_of(error, str(path), keys))
    return None


def _sources(files: Mapping[Path, Mapping[str, Path]], faults: list[Fault]) -> dict[str, Source]:
    from optimizer.specs.forms import SOURCES, SourceForm

    sources: dict[str, Source] = {}
    for paths in files.values():
        path = paths.get(_SOURCES_FILE)
        forms = path and _form(path, SOURCES.validate_python, tuple(SourceForm.model_fields), faults)
        for key, form in (forms or {}).items():
            sources[key] = Source(key, form.citation, form.opened)
    return sources


def _model(
    files: Mapping[Path, Mapping[str, Path]], sources: Mapping[str, Source], faults: list[Fault]
) -> dict[str, Figure]:
    from optimizer.specs.forms import MODEL, FigureForm

    model: dict[str, Figure] = {}
    for paths in files.values():
        path = paths.get(_MODEL_FILE)
        forms = path and _form(path, MODEL.validate_python, tuple(FigureForm.model_fields), faults)
        for key, form in (forms or {}).items():
            figure = _model_figure(key, form, f"{path}:{shown_key(key)}", sources, faults)
            if figure is not None:
                model[key] = figure
    missing = [key for key in MODEL_FIGURES if key not in model] if not faults else []
    faults.extend(Fault(f"{_MODEL_FILE}:{key}", "nothing", "the figure", f"Add {key}.") for key in missing)
    return model


def _model_figure(
    key: str, form: FigureForm, where: str, sources: Mapping[str, Source], faults: list[Fault]
) -> Figure | None:
    span = MODEL_FIGURES.get(key)
    if span is None:
        repair = nearest_repair(key, list(MODEL_FIGURES))
        faults.append(Fault(where, "an unknown figure", "the figures of the shipped model.toml", repair))
        return None
    figure, found = figure_of(form, span, where, sources)
    faults.extend(found)
    return figure


def _materials(
    files: Mapping[Path, Mapping[str, Path]], sources: Mapping[str, Source], faults: list[Fault]
) -> dict[str, Material]:
    from optimizer.specs.forms import MaterialForm
    from optimizer.specs.material_files import cement_faults, material_of

    paths = {name: path for found in files.values() for name, path in found.items()}
    materials: list[Material] = []
    for name, path in paths.items():
        if name in (_MODEL_FILE, _SOURCES_FILE):
            continue
        if not _NAME.fullmatch(path.stem):
            allowed = "small letters, digits and _, a letter first"
            faults.append(Fault(str(path), repr(path.stem), allowed, "Rename the file."))
            continue
        form = _form(path, MaterialForm.model_validate, tuple(MaterialForm.model_fields), faults)
        if form is not None:
            material, found = material_of(path, form, sources)
            faults.extend(found)
            materials.append(material)
    faults.extend(cement_faults(materials))
    materials.sort(key=lambda material: (ROLES.index(material.role), material.name))
    return {material.name: material for material in materials}
