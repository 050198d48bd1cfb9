"""A spec file for a powder of which only its bag is known: what that says, and the rest from a model powder.

What is inherited gets a wider range: a model's own range says how well that powder is known, and another of
its kind may lie anywhere among its kind. Ranges of inherited figures are twice as wide as the model's (on the
log scale for positive figures); set times of a bag nobody has cast lie within x/: 2 of the model's, and
within x/: 1.4 of what the bag says, for that is tested in another mix and room. All widths are assumptions.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from optimizer.errors import Fault, FileFaults
from optimizer.materials import Catalogue, Figure, Material, ReferencePoint
from optimizer.specs.bag_facts import BagFacts, Facts, StatedStrength, read_facts
from optimizer.specs.figures import MATERIAL_FIGURES
from optimizer.toml_files import nearest_repair

_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,59}")
_RESERVED: Final = ("model", "sources", "water")
_WIDER: Final = 2.0
"""Range of an inherited figure over the model's [-]."""

_SET: Final = 2.0
_STATED: Final = {
    "set_initial": 1.4,
    "set_final": 1.4,
    "water_demand": 1.08,
    "density": 1.015,
    "reflectance": 1.06,
    "crystalline_silica": 1.25,
    "embodied_co2": 1.25,
    "strength": 1.2,
}
"""Range of a figure as stated on a bag: value times and over this [-]; assumptions."""

_QUARTZ: Final = 0.97
_SAND_DENSITY: Final = 2.65
_MORTAR: Final = (0.50, 3.0)
_BINDER_ONLY: Final = ("set_initial", "set_final")
_FROM_BAG: Final = "stated on the bag or data sheet; its width is an assumption"


@dataclass(frozen=True)
class NewMaterial:
    """A new powder.

    Attributes
    ----------
    material : Material
        The record, as the spec file reads back.
    text : str
        Its spec file.
    typed, inherited : tuple[str, ...]
        Figures from the bag, and figures from the model powder.
    """

    material: Material
    text: str
    typed: tuple[str, ...]
    inherited: tuple[str, ...]


def new_material(name: str, like: str, bag: BagFacts, catalogue: Catalogue) -> NewMaterial:
    """Return a powder from what its bag says and from the powder it is most like.

    Parameters
    ----------
    like : str
        Name of the model powder [-].

    Raises
    ------
    FileFaults
        Every fault of what was typed.
    """
    faults = list(_name_faults(name, like, catalogue))
    facts, wrong = read_facts(bag)
    faults += wrong
    model = catalogue.materials.get(like)
    if model is not None:
        faults += _fit_faults(facts, model)
    if faults or model is None:
        raise FileFaults(faults)
    material = _material(name, bag.label or name.replace("_", " "), facts, model)
    typed, inherited = _origins(material)
    return NewMaterial(material, _text(material, model), typed, inherited)


def _name_faults(name: str, like: str, catalogue: Catalogue) -> Iterator[Fault]:
    if not _NAME.fullmatch(name) or name in _RESERVED:
        allowed = "small letters, digits and _, a letter first"
        yield Fault("name", repr(name), allowed, "Write it as it is to stand in jobs, such as budget_csa.")
    elif name in catalogue.materials:
        yield Fault("name", repr(name), "a name that is not taken", "Give the new powder a name of its own.")
    if like not in catalogue.materials or like == "water":
        known = [each for each in catalogue.materials if each != "water"]
        repair = nearest_repair(like, known)
        yield Fault("like", repr(like), "a material of the spec files", repair)


def _fit_faults(facts: Facts, model: Material) -> Iterator[Fault]:
    """Give the facts that a powder of this kind cannot have, or lacks."""
    if model.role != "binder":
        stated = [key for key in _BINDER_ONLY if key in facts.figures] + ["strength"] * bool(facts.strengths)
        for key in stated:
            repair = "Leave it out, or name a model powder that sets."
            yield Fault(key, f"a {model.role}", "set times and strengths of binders only", repair)
        return
    for one in facts.strengths:
        if not one.state and model.kind == "gypsum":
            repair = f"Write '{_age_text(one.age)} wet = ...' or '{_age_text(one.age)} dry = ...'."
            yield Fault("strength", f"{one.strength:g} MPa", "wet or dry: gypsum doubles on drying", repair)
    first, last = (facts.figures.get(key) for key in _BINDER_ONLY)
    if first is not None and last is not None and not first < last:
        yield Fault(
            "set_ends", f"{last:g} min", f"later than it begins, {first:g} min", "Correct one of them."
        )
    own = model.phases.get("sand", 0.0)
    if facts.sand is not None and abs(facts.sand - own) > 0.02 and not facts.strengths:
        repair = "State a strength with its age: that of the model powder says nothing of another sand."
        yield Fault(
            "sand", f"{100.0 * facts.sand:g} %", f"a strength with it; {model.name} has {own:.0%}", repair
        )
    if facts.sand is not None and facts.sand > 0.9:
        yield Fault("sand", f"{100.0 * facts.sand:g} %", "at most 90 %", "Check the share of sand.")


def _material(name: str, label: str, facts: Facts, model: Material) -> Material:
    phases = dict(model.phases)
    figures = {key: _inherited(key, figure, model.name) for key, figure in model.figures.items()}
    if facts.sand is not None and phases:
        phases = _with_sand(phases, facts.sand)
        figures |= dict(_of_sand(model, facts.sand))
    if model.role == "binder":
        figures |= dict(_other_set(facts, model))
    figures |= {key: _stated(key, value) for key, value in facts.figures.items()}
    return replace(
        model,
        name=name,
        label=label,
        cement="",
        phases=phases,
        phases_source=model.phases_source,
        phases_note=f"assumption: the phases of {model.name}" if phases else "",
        figures=figures,
        reference_points=tuple(_points(facts, model, figures["water_demand"].value))
        if model.reference_points
        else (),
        note=f"From what its bag says; everything else is taken from {model.name}, with wider ranges.",
        path="",
    )


def _inherited(key: str, figure: Figure, like: str) -> Figure:
    low, high = _wider(key, figure)
    note = f"assumption: as {like}, its range widened"
    return replace(figure, low=low, high=high, source="judgement", note=note)


def _wider(key: str, figure: Figure) -> tuple[float, float]:
    """Return the ends of a range twice as wide, inside what the figure can be at all."""
    span = MATERIAL_FIGURES[key]
    value, low, high = figure.value, figure.low, figure.high
    if key in _BINDER_ONLY:
        return value / _SET, value * _SET
    if low == high:
        return low, high
    if value > 0.0 and low > 0.0:
        low, high = value * (low / value) ** _WIDER, value * (high / value) ** _WIDER
    else:
        low, high = value - _WIDER * (value - low), value + _WIDER * (high - value)
    return _rounded(max(low, span.least)), _rounded(min(high, span.most))


def _rounded(value: float) -> float:
    return float(f"{value:.4g}")


def _stated(key: str, value: float) -> Figure:
    span, factor = MATERIAL_FIGURES[key], _STATED[key]
    low, high = max(value / factor, span.least), min(value * factor, span.most)
    return Figure(_rounded(value), _rounded(low), _rounded(high), span.unit, "bag", _FROM_BAG)


def _other_set(facts: Facts, model: Material) -> Iterator[tuple[str, Figure]]:
    """Keep the model's ratio of final to initial set where the bag states only one of the two."""
    stated = [key for key in _BINDER_ONLY if key in facts.figures]
    if len(stated) == 1:
        other = _BINDER_ONLY[1 - _BINDER_ONLY.index(stated[0])]
        value = facts.figures[stated[0]] * model.figure(other) / model.figure(stated[0])
        note = f"assumption: from the {stated[0].replace('_', ' ')} stated, in the ratio of {model.name}"
        low, high = _rounded(value / _SET), _rounded(value * _SET)
        yield other, Figure(_rounded(value), low, high, "min", "judgement", note)


def _with_sand(phases: dict[str, float], sand: float) -> dict[str, float]:
    """Return the phases with another share of sand; the cement in them stays what it is."""
    rest = 1.0 - phases.get("sand", 0.0)
    shares = {
        phase: round(share * (1.0 - sand) / rest, 6) for phase, share in phases.items() if phase != "sand"
    }
    if sand > 0.0:
        shares["sand"] = round(1.0 - math.fsum(shares.values()), 6)
    return shares


def _of_sand(model: Material, sand: float) -> Iterator[tuple[str, Figure]]:
    """Give the figures that follow from the share of sand: of the cement in the model, and of quartz."""
    own = model.phases.get("sand", 0.0)
    cement = (1.0 / model.figure("density") - own / _SAND_DENSITY) / (1.0 - own)
    values = {
        "density": 1.0 / ((1.0 - sand) * cement + sand / _SAND_DENSITY),
        "water_demand": model.figure("water_demand") * (1.0 - sand) / (1.0 - own),
        "embodied_co2": model.figure("embodied_co2") * (1.0 - sand) / (1.0 - own),
        "crystalline_silica": max(_QUARTZ * sand, model.figure("crystalline_silica") * (own == sand)),
    }
    for key, value in values.items():
        note = f"computed from the share of sand and {model.name}; its width is an assumption"
        factor = _STATED[key] ** _WIDER
        low, high = _rounded(value / factor), _rounded(min(value * factor, MATERIAL_FIGURES[key].most))
        if key in model.figures:
            yield key, Figure(_rounded(value), low, high, MATERIAL_FIGURES[key].unit, "computed", note)


def _points(facts: Facts, model: Material, demand: float) -> Iterator[ReferencePoint]:
    """Give the strengths stated, and those of the model that they leave open, in proportion."""
    stated = [replace(one, state=one.state or "wet") for one in facts.strengths]
    for one in stated:
        yield _stated_point(one, facts.tested, model, demand)
    for state in ("wet", "dry"):
        here = [one for one in stated if one.state == state]
        points = [point for point in model.reference_points if point.state == state]
        if not here:
            yield from (_scaled(point, stated, model, demand) for point in points)
        elif state == "wet" and len(here) == 1:
            yield from _other_wet(here[0], points, facts.tested, model, demand)


def _stated_point(one: StatedStrength, tested: str, model: Material, demand: float) -> ReferencePoint:
    water, sand = _test_mix(one, tested, model, demand)
    factor = _STATED["strength"]
    figure = Figure(
        one.strength,
        _rounded(one.strength / factor),
        _rounded(one.strength * factor),
        "MPa",
        "bag",
        _FROM_BAG,
    )
    return ReferencePoint(figure, one.age, one.state, water, sand)


def _test_mix(one: StatedStrength, tested: str, model: Material, demand: float) -> tuple[float, float]:
    """Return water ratio and added sand of a strength test."""
    if tested == "mortar":
        return _MORTAR
    near = _nearest(one.age, one.state, model)
    if tested != "neat" and near.added_sand:
        return near.water_ratio, near.added_sand
    return demand, 0.0


def _nearest(age: float, state: str, model: Material) -> ReferencePoint:
    points = [point for point in model.reference_points if point.state == state] or list(
        model.reference_points
    )
    return min(points, key=lambda point: abs(math.log(point.age / age)))


def _other_wet(
    one: StatedStrength, points: Sequence[ReferencePoint], tested: str, model: Material, demand: float
) -> Iterator[ReferencePoint]:
    """Give the model's wet strength farthest in age, in proportion: the gain needs early and late."""
    far = max(points, key=lambda point: abs(math.log(point.age / one.age)))
    if abs(math.log(far.age / one.age)) < math.log(1.5):
        return
    water, sand = _test_mix(one, tested, model, demand)
    yield replace(_scaled(far, [one], model, demand), water_ratio=water, added_sand=sand)


def _scaled(
    point: ReferencePoint, stated: Sequence[StatedStrength], model: Material, demand: float
) -> ReferencePoint:
    """Return a strength of the model times what the stated ones are over the model's, its range widened."""
    own = point.strength
    low, high = (own.value * (end / own.value) ** _WIDER for end in (own.low, own.high))
    gaps = [math.log(one.strength / _strength_at(one.age, one.state, model)) for one in stated]
    factor = math.exp(math.fsum(gaps) / len(gaps)) if gaps else 1.0
    note = f"assumption: as {model.name}" + (", in proportion to the strength stated" if gaps else "")
    value, low, high = (_rounded(factor * number) for number in (own.value, low, high))
    water = point.water_ratio if point.added_sand or not gaps else demand
    return replace(point, strength=Figure(value, low, high, "MPa", "judgement", note), water_ratio=water)


def _strength_at(age: float, state: str, model: Material) -> float:
    """Return the model's strength at an age [MPa]: straight between its points on log scales."""
    points = sorted(
        (point for point in model.reference_points if point.state == state), key=lambda point: point.age
    ) or [_nearest(age, state, model)]
    before = [point for point in points if point.age <= age] or points[:1]
    after = [point for point in points if point.age >= age] or points[-1:]
    one, other = before[-1], after[0]
    if one.age == other.age:
        return one.strength.value
    part = math.log(age / one.age) / math.log(other.age / one.age)
    return float(one.strength.value ** (1.0 - part) * other.strength.value**part)


def _origins(material: Material) -> tuple[tuple[str, ...], tuple[str, ...]]:
    named = [
        *material.figures.items(),
        *((_point_name(one), one.strength) for one in material.reference_points),
    ]
    typed = tuple(name for name, figure in named if figure.source == "bag")
    return typed, tuple(name for name, figure in named if figure.source != "bag")


def _point_name(point: ReferencePoint) -> str:
    return f"{point.state} strength at {_age_text(point.age)}"


def _age_text(minutes: float) -> str:
    """Return an age in the unit people say it in."""
    if minutes >= 2880.0:
        return f"{minutes / 1440.0:g} d"
    return f"{minutes / 60.0:g} h" if minutes >= 60.0 else f"{minutes:g} min"


def _text(material: Material, model: Material) -> str:
    """Return the spec file of a new powder, with a comment at each figure on where it is from."""
    lines = [
        f"# {material.label}: typed from its bag; what that does not say is taken from {model.name}.",
        '# Replace a figure by your own reading when you have one (source = "own").',
        f"label = {_quoted(material.label)}",
        f'role = "{material.role}"',
    ]
    if material.kind:
        lines.append(f'kind = "{material.kind}"')
    cautions = ", ".join(f'"{key}"' for key in material.cautions)
    lines += [f"cautions = [{cautions}]", f"note = {_quoted(material.note)}"]
    if material.phases:
        shares = ", ".join(f"{phase} = {share:g}" for phase, share in material.phases.items())
        lines += ["", f"# inherited from {model.name}", "[phases]", f"shares = {{ {shares} }}"]
        lines += [f'source = "{material.phases_source}"', f"note = {_quoted(material.phases_note)}"]
    for name, figure in material.figures.items():
        lines += ["", _comment(figure, model), f"[figures.{name}]", *_figure_lines(figure)]
    for point in material.reference_points:
        lines += ["", "[[reference_points]]", f'age = "{_age_text(point.age)}"', f'state = "{point.state}"']
        lines.append(f"water_ratio = {point.water_ratio:g}")
        lines += [f"added_sand = {point.added_sand:g}.0"] if point.added_sand else []
        lines += ["", _comment(point.strength, model), "[reference_points.strength]"]
        lines += _figure_lines(point.strength)
    return "\n".join([*lines, *_dose_lines(material), ""])


def _dose_lines(material: Material) -> list[str]:
    if not material.dose_levels:
        return []
    levels = ", ".join(f'"{dose:g} %"' for dose in material.dose_levels)
    return ["", "[dose_levels]", f"levels = [{levels}]", 'source = "judgement"', 'note = "assumption"']


def _comment(figure: Figure, model: Material) -> str:
    if figure.source == "bag":
        return "# typed"
    return f"# inherited from {model.name}" if figure.note.startswith("assumption: as") else "# computed"


def _figure_lines(figure: Figure) -> list[str]:
    numbers = {"value": figure.value, "low": figure.low, "high": figure.high}
    if figure.low == figure.high:
        numbers = {"value": figure.value}
    lines = [f"{key} = {_amount(number, figure.unit)}" for key, number in numbers.items()]
    return [*lines, f'source = "{figure.source}"', f"note = {_quoted(figure.note)}"]


def _amount(number: float, unit: str) -> str:
    if unit in ("-", "fraction"):
        return f"{number!r}"
    return f'"{number:g} {unit.removeprefix("1") if unit.startswith("1/") else unit}"'


def _quoted(text: str) -> str:
    """Return text as a basic string of TOML."""
    return json.dumps(text, ensure_ascii=False)
