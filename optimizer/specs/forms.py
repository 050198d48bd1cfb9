"""The shape of the spec files as frozen pydantic models: which keys there are and of what kind.

What the figures may be (unit, range, source) is judged by `optimizer.specs.figures`. Only
`optimizer.specs` imports this module, and late: pydantic takes a while to import.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from optimizer.errors import Fault
from optimizer.toml_files import nearest_repair, shown_key, shown_value

_Line = Annotated[str, Field(min_length=1, max_length=200)]
_Note = Annotated[str, Field(max_length=600)]


class _Form(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class FigureForm(_Form):
    """A figure as written: texts or numbers, read later by `optimizer.units`."""

    value: Any
    low: Any = None
    high: Any = None
    source: _Line
    note: _Note = ""


class PhasesForm(_Form):
    """Mass shares of a binder's phases with their passport."""

    shares: dict[str, float]
    source: _Line
    note: _Note = ""


class PointForm(_Form):
    """A strength anchor."""

    age: _Line
    state: Literal["wet", "dry"]
    water_ratio: float
    added_sand: float = 0.0
    strength: FigureForm


class DosesForm(_Form):
    """Doses of an admixture worth trying."""

    levels: Annotated[list[Any], Field(min_length=1, max_length=20)]
    source: _Line
    note: _Note = ""


class MaterialForm(_Form):
    """One material file."""

    label: _Line
    role: Literal["binder", "filler", "pigment", "admixture", "water"]
    kind: Literal["", "gypsum", "csa", "heavy", "light", "retarder", "accelerator", "plasticizer"] = ""
    cement: Annotated[str, Field(max_length=60)] = ""
    note: _Note = ""
    cautions: tuple[Literal["silica", "alkali", "dust", "heat", "titanium_dust"], ...] = Field(
        (), strict=False
    )
    phases: PhasesForm | None = None
    figures: dict[str, FigureForm]
    reference_points: Annotated[list[PointForm], Field(max_length=50)] = []
    dose_levels: DosesForm | None = None


class SourceForm(_Form):
    """One entry of the bibliography."""

    citation: _Line
    opened: bool


MODEL: TypeAdapter[dict[str, FigureForm]] = TypeAdapter(dict[str, FigureForm])
"""Shape of ``model.toml``."""

SOURCES: TypeAdapter[dict[str, SourceForm]] = TypeAdapter(dict[str, SourceForm])
"""Shape of ``sources.toml``."""


def faults_of(error: ValidationError, place: str, known: tuple[str, ...]) -> list[Fault]:
    """Turn pydantic's complaint into faults with a repair each.

    Parameters
    ----------
    known : tuple[str, ...]
        Keys the form knows, for the nearest name [-].
    """
    return [_fault(dict(row), place, known) for row in error.errors(include_url=False)]


def _fault(row: dict[str, Any], place: str, known: tuple[str, ...]) -> Fault:
    key = ".".join(shown_key(part) for part in row["loc"])
    where, kind = f"{place}:{key}", row["type"]
    if kind == "missing":
        return Fault(where, "nothing", "the key with its value", f"Add {shown_key(row['loc'][-1])}.")
    if kind == "extra_forbidden":
        return Fault(
            where,
            "an unknown key",
            "the keys of the shipped files",
            nearest_repair(str(row["loc"][-1]), known),
        )
    allowed = row.get("ctx", {}).get("expected") or row["msg"].removeprefix("Input should be ")
    return Fault(where, shown_value(row["input"]), str(allowed), "Correct the value.")
