"""Read ``material_specs/`` and own spec folders into a `Catalogue`; all faults of all files at once.

A folder holds one TOML file per material (its name is the file's), ``model.toml`` with the global
figures of the property chain, and ``sources.toml`` with the bibliography. An own folder adds materials
or replaces them by file name; its ``model.toml`` and ``sources.toml`` are laid over the shipped ones.

Of a material file the form is read first, then the record made of it: phases, figures, anchors, doses, and
what must be there.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from optimizer.errors import Fault, FileFaults, QuantityError
from optimizer.materials import PHASES, ROLES, Catalogue, Figure, Material, ReferencePoint, Source
from optimizer.specs.figures import (
    DOSE,
    MATERIAL_FIGURES,
    MODEL_FIGURES,
    STRENGTH,
    Span,
    figure_of,
    passport_faults,
    span_faults,
)
from optimizer.toml_files import nearest_repair, read_toml, shown_key
from optimizer.units import parse

if TYPE_CHECKING:
    from optimizer.specs.forms import DosesForm, FigureForm, MaterialForm, PhasesForm, PointForm

_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,59}")
_MODEL_FILE: Final = "model.toml"
_SOURCES_FILE: Final = "sources.toml"
_MOST_FILES: Final = 500

Form = TypeVar("Form")

NEEDED: Final[Mapping[str, tuple[str, ...]]] = {
    "gypsum": ("density", "water_demand", "set_initial", "set_final", "reflectance", "scattering"),
    "csa": ("density", "water_demand", "set_initial", "set_final", "reflectance", "scattering"),
    "heavy": ("density", "water_demand", "reflectance", "scattering", "max_share"),
    "light": ("density", "water_demand", "reflectance", "scattering", "max_share"),
    "retarder": (
        "density",
        "gypsum_retardation",
        "csa_retardation",
        "gypsum_strength_loss",
        "csa_strength_loss",
        "max_dose_gypsum",
        "max_dose_csa",
    ),
    "accelerator": (
        "density",
        "gypsum_acceleration",
        "csa_acceleration",
        "gypsum_strength_loss",
        "csa_strength_loss",
        "max_dose_gypsum",
        "max_dose_csa",
    ),
    "plasticizer": ("density", "water_reduction", "dose", "set_factor"),
    "pigment": ("density", "water_demand", "reflectance", "scattering", "max_share"),
    "water": ("density",),
}
"""Figures a material must have, by kind (by role where a role has no kinds)."""

_KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "binder": ("gypsum", "csa"),
    "filler": ("heavy", "light"),
    "admixture": ("retarder", "accelerator", "plasticizer"),
    "pigment": ("",),
    "water": ("",),
}
_REACTIVE: Final = {"gypsum": ("hemihydrate_alpha", "hemihydrate_beta"), "csa": ("yeelimite",)}
_WATER_RATIO: Final = Span("-", 0.05, 4.0)
_ADDED_SAND: Final = Span("-", 0.0, 10.0)
_AGE: Final = Span("min", 1.0, 1_000_000.0)
_SUM_SLACK: Final = 1e-6
_LEAST_DEMAND: Final = 0.05
"""Least water demand of a binder [g/g]; a slip below: no powder pours with less."""


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


def material_of(
    path: Path, form: MaterialForm, sources: Mapping[str, Source]
) -> tuple[Material, list[Fault]]:
    """Return the record of one material file and the faults found on the way.

    The record, complete only when the list is empty.

    Parameters
    ----------
    path : Path
        The file; its stem is the material's name [-].
    """
    place = str(path)
    faults = [*_kind_faults(form, place), *_phase_faults(form, place, sources)]
    figures = dict(_figures(form.figures, place, sources, faults))
    faults.extend(_missing(form, figures, place))
    faults.extend(_demand_faults(form, figures, place))
    points = tuple(_points(form.reference_points, place, sources, faults))
    if form.role == "binder" and not any(point.state == "wet" for point in form.reference_points):
        repair = "Add a strength measured on pieces that never dried."
        faults.append(Fault(f"{place}:reference_points", "no wet point", "at least one wet point", repair))
    phases = form.phases
    return Material(
        name=path.stem,
        label=form.label,
        role=form.role,
        kind=form.kind,
        cement=form.cement,
        phases=dict(phases.shares) if phases else {},
        figures=figures,
        reference_points=points,
        dose_levels=_doses(form.dose_levels, place, sources, faults),
        phases_source=phases.source if phases else "",
        phases_note=phases.note if phases else "",
        cautions=form.cautions,
        note=form.note,
        path=place,
    ), faults


def cement_faults(materials: Sequence[Material]) -> Iterator[Fault]:
    """Give a fault for each binder whose `cement` names no other binder of its kind."""
    kinds = {material.name: material.kind for material in materials if material.role == "binder"}
    for material in materials:
        if material.cement and kinds.get(material.cement) != material.kind:
            same = [name for name, kind in kinds.items() if kind == material.kind and name != material.name]
            allowed = f"a {material.kind or 'binder'} material whose points lend what this file lacks"
            where = f"{material.path}:cement"
            yield Fault(where, repr(material.cement), allowed, nearest_repair(material.cement, same))


def _kind_faults(form: MaterialForm, place: str) -> Iterator[Fault]:
    kinds = _KINDS[form.role]
    if form.kind not in kinds:
        allowed = " or ".join(kinds) if kinds != ("",) else "no kind"
        yield Fault(f"{place}:kind", repr(form.kind), allowed, f"Give the kind of this {form.role}.")


def _demand_faults(form: MaterialForm, figures: Mapping[str, Figure], place: str) -> Iterator[Fault]:
    """Refuse a binder that pours without water: its strength and set are scaled by what it takes."""
    demand = figures.get("water_demand")
    if form.role == "binder" and demand is not None and demand.low < _LEAST_DEMAND:
        allowed = f"{_LEAST_DEMAND:g} g/g or more for a binder, low end included"
        repair = "Write the water that makes this powder pour."
        yield Fault(f"{place}:figures.water_demand", f"{demand.low:g} g/g", allowed, repair)


def _phase_faults(form: MaterialForm, place: str, sources: Mapping[str, Source]) -> Iterator[Fault]:
    where = f"{place}:phases"
    if form.role != "binder":
        if form.phases is not None:
            yield Fault(where, "phases", "phases for binders only", "Remove the phases.")
        return
    if form.phases is None:
        yield Fault(where, "nothing", "mass shares that sum to 1", "Add the phases of the binder.")
        return
    yield from passport_faults(form.phases.source, form.phases.note, where, sources)
    yield from _share_faults(form.phases, form.kind, where)


def _share_faults(phases: PhasesForm, kind: str, where: str) -> Iterator[Fault]:
    for phase, share in phases.shares.items():
        if phase not in PHASES:
            repair = nearest_repair(phase, PHASES)
            yield Fault(f"{where}.shares.{shown_key(phase)}", "an unknown phase", ", ".join(PHASES), repair)
        if not 0.0 <= share <= 1.0:
            yield Fault(
                f"{where}.shares.{shown_key(phase)}", f"{share:g}", "0 to 1", "Write the share of the mass."
            )
    total = math.fsum(phases.shares.values())
    if not abs(total - 1.0) <= _SUM_SLACK:
        repair = f"Add {1.0 - total:g} of inert." if total < 1.0 else "Lower the shares."
        yield Fault(f"{where}.shares", f"a sum of {total:g}", "a sum of 1", repair)
    reactive = _REACTIVE.get(kind, ())
    if reactive and not sum(phases.shares.get(phase, 0.0) for phase in reactive) > 0.0:
        repair = f"Add the share of it, or correct the kind {kind!r}."
        yield Fault(f"{where}.shares", f"no {' or '.join(reactive)}", f"some for a {kind} binder", repair)


def _figures(
    forms: Mapping[str, FigureForm], place: str, sources: Mapping[str, Source], faults: list[Fault]
) -> Iterator[tuple[str, Figure]]:
    for name, form in forms.items():
        where, span = f"{place}:figures.{shown_key(name)}", MATERIAL_FIGURES.get(name)
        if span is None:
            repair = nearest_repair(name, list(MATERIAL_FIGURES))
            faults.append(Fault(where, "an unknown figure", "the figures of the shipped files", repair))
            continue
        figure, found = figure_of(form, span, where, sources)
        faults.extend(found)
        if figure is not None:
            yield name, figure


def _missing(form: MaterialForm, figures: Mapping[str, Figure], place: str) -> Iterator[Fault]:
    for name in NEEDED.get(form.kind or form.role, ()):
        if name not in form.figures:
            span = MATERIAL_FIGURES[name]
            allowed = f"a figure of {span.least:g} to {span.most:g} {span.unit}".removesuffix(" -")
            yield Fault(f"{place}:figures.{name}", "nothing", allowed, f"Add {name}.")
    first, last = figures.get("set_initial"), figures.get("set_final")
    if first and last and not first.value < last.value:
        shown = f"{last.value:g} min"
        allowed = f"later than set_initial, {first.value:g} min"
        yield Fault(f"{place}:figures.set_final", shown, allowed, "Correct one of the two.")


def _points(
    forms: list[PointForm], place: str, sources: Mapping[str, Source], faults: list[Fault]
) -> Iterator[ReferencePoint]:
    for number, form in enumerate(forms):
        where = f"{place}:reference_points.{number}"
        strength, found = figure_of(form.strength, STRENGTH, f"{where}.strength", sources)
        faults.extend(found)
        faults.extend(span_faults({"water_ratio": form.water_ratio}, _WATER_RATIO, where))
        faults.extend(span_faults({"added_sand": form.added_sand}, _ADDED_SAND, where))
        age = _quantity(form.age, _AGE, f"{where}.age", faults)
        if strength is not None and age is not None:
            yield ReferencePoint(strength, age, form.state, form.water_ratio, form.added_sand)


def _doses(
    form: DosesForm | None, place: str, sources: Mapping[str, Source], faults: list[Fault]
) -> tuple[float, ...]:
    if form is None:
        return ()
    where = f"{place}:dose_levels"
    faults.extend(passport_faults(form.source, form.note, where, sources))
    doses = [_quantity(text, DOSE, f"{where}.levels", faults) for text in form.levels]
    return tuple(sorted({dose for dose in doses if dose is not None}))


def _quantity(text: object, span: Span, where: str, faults: list[Fault]) -> float | None:
    """Read one bare quantity, or note its fault and return None."""
    try:
        number = parse(text, span.unit)  # type: ignore[arg-type]  # parse refuses other kinds itself
    except QuantityError as error:
        faults.append(error.at(where))
        return None
    place, _, key = where.rpartition(".")
    found = span_faults({key: number}, span, place)
    faults.extend(found)
    return None if found else number
