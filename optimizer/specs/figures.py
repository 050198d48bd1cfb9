"""What a figure of a spec file may be: its unit, the range it can plausibly have, and its passport."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from optimizer.errors import Fault, QuantityError
from optimizer.materials import Figure, Source
from optimizer.toml_files import nearest_repair
from optimizer.units import parse

if TYPE_CHECKING:
    from optimizer.specs.forms import FigureForm

UNSEEN_WORDS: Final = ("from memory", "assumption", "common practice, no source", "computed")
"""One of these stands in the note of every figure whose source was not opened."""


@dataclass(frozen=True)
class Span:
    """Unit of a figure and the range outside which it must be a slip.

    Attributes
    ----------
    unit : str
        Unit the figure is held in.
    least, most : float
        Plausible range [`unit`].
    """

    unit: str
    least: float
    most: float


STRENGTH: Final = Span("MPa", 0.1, 250.0)
DOSE: Final = Span("%", 0.0, 5.0)
_SHARE: Final = Span("fraction", 0.0, 1.0)

MATERIAL_FIGURES: Final[Mapping[str, Span]] = {
    "density": Span("g/cm3", 0.05, 6.0),
    "water_demand": Span("g/g", 0.0, 4.0),
    "set_initial": Span("min", 1.0, 600.0),
    "set_final": Span("min", 2.0, 1440.0),
    "dry_wet_ratio": Span("-", 0.5, 4.0),
    "reflectance": Span("fraction", 0.01, 0.995),
    "scattering": Span("-", 0.01, 60.0),
    "embodied_co2": Span("g/g", 0.0, 50.0),
    "conductivity": Span("W/mK", 0.01, 40.0),
    "max_share": _SHARE,
    "crystalline_silica": _SHARE,
    "gypsum_retardation": Span("1/%", 0.0, 60.0),
    "csa_retardation": Span("1/%", 0.0, 60.0),
    "gypsum_acceleration": Span("1/%", 0.0, 60.0),
    "csa_acceleration": Span("1/%", 0.0, 60.0),
    "gypsum_strength_loss": Span("1/%", 0.0, 10.0),
    "csa_strength_loss": Span("1/%", 0.0, 10.0),
    "max_dose_gypsum": DOSE,
    "max_dose_csa": DOSE,
    "dose": Span("%", 0.01, 5.0),
    "water_reduction": Span("fraction", 0.0, 0.4),
    "set_factor": Span("-", 0.3, 5.0),
}
"""Figures a material may have; shares are fractions, doses percent (of binder without sand, or of powder)."""

MODEL_FIGURES: Final[Mapping[str, Span]] = {
    "b_gypsum": Span("-", 1.0, 15.0),
    "b_csa": Span("-", 1.0, 15.0),
    "filler_exponent_gypsum": Span("-", 0.0, 6.0),
    "filler_exponent_csa": Span("-", 0.0, 6.0),
    "light_exponent": Span("-", 0.0, 8.0),
    "gamma": Span("-", -2.0, 1.0),
    "gamma_damp": Span("-", -2.0, 0.0),
    "gamma_time": Span("-", -4.0, 0.0),
    "kappa": Span("-", 0.0, 2.0),
    "sulfate_knee": Span("-", 0.3, 5.0),
    "yeelimite_share": Span("-", 0.3, 3.0),
    "anhydrite_share": Span("-", 0.1, 5.0),
    "yeelimite_degree": Span("fraction", 0.3, 1.0),
    "gypsum_end": Span("-", 1.1, 20.0),
    "most_retarder_loss": Span("fraction", 0.05, 0.99),
    "min_paste_porosity": Span("fraction", 0.0, 0.4),
    "strength_ceiling": Span("-", 1.01, 3.0),
    "flexural_gypsum": Span("-", 0.1, 3.0),
    "flexural_csa": Span("-", 0.1, 3.0),
    "csa_activation_energy": Span("kJ/mol", 10.0, 100.0),
    "air": Span("fraction", 0.0, 0.2),
    "loss_in_mold": Span("fraction", 0.0, 0.2),
    "csa_heat_half_time": Span("min", 1.0, 1440.0),
    "csa_heat_factor": Span("-", 0.3, 2.0),
    "room_moisture_gypsum": Span("fraction", 0.0, 0.05),
    "room_moisture_csa": Span("fraction", 0.0, 0.3),
    "open_pores_gypsum": _SHARE,
    "open_pores_csa": _SHARE,
    "vapor_resistance_gypsum": Span("-", 1.0, 200.0),
    "vapor_resistance_csa": Span("-", 1.0, 500.0),
    "inner_face": Span("fraction", 0.01, 1.0),
    "csa_gain_after_cure": Span("d", 0.0, 60.0),
    "solid_conductivity_gypsum": Span("W/mK", 0.1, 10.0),
    "solid_conductivity_csa": Span("W/mK", 0.1, 10.0),
    "conductivity_weight": _SHARE,
    "flame_share": Span("fraction", 0.01, 0.9),
    "pool_share": Span("fraction", 0.01, 0.9),
    "pool_temperature": Span("degC", 40.0, 125.0),
    "film_factor": Span("-", 0.1, 10.0),
    "burn_reading": Span("-", -5.0, 5.0),
    "ettringite_limit": Span("degC", 30.0, 90.0),
    "coat_error": Span("-", 0.3, 3.0),
    "cavity": Span("-", 0.8, 1.2),
    "demold_bending": Span("MPa", 0.05, 30.0),
    "set_water": Span("-", 0.0, 6.0),
    "expansion_gypsum": Span("mm/m", 0.0, 20.0),
    "expansion_water": Span("-", 0.0, 4.0),
    "expansion_csa": Span("mm/m", -5.0, 20.0),
    "expansion_together": Span("mm/m", 0.0, 50.0),
    "shrinkage_gypsum": Span("mm/m", 0.0, 10.0),
    "shrinkage_csa": Span("mm/m", 0.0, 20.0),
    "grain_restraint": Span("-", 0.5, 4.0),
    "binder_floor": Span("fraction", 0.0, 0.5),
    "sand_ceiling_gypsum": _SHARE,
    "sand_ceiling_csa": _SHARE,
    "grain_ceiling": Span("fraction", 0.0, 0.9),
    "paste_to_sand": Span("-", 0.0, 5.0),
    "pigment_ceiling": Span("fraction", 0.0, 0.5),
    "water_ceiling": Span("-", 1.0, 3.0),
    "bleeding_water": Span("-", 1.0, 3.0),
}
"""Global figures of the property chain."""


def figure_of(
    form: FigureForm, span: Span, where: str, sources: Mapping[str, Source]
) -> tuple[Figure | None, list[Fault]]:
    """Read one figure: numbers, order of low, value and high, plausible range, passport.

    Parameters
    ----------
    span : Span
        Unit and plausible range of this figure.
    where : str
        ``path:key`` [-].
    """
    faults = passport_faults(form.source, form.note, where, sources)
    numbers = {"value": form.value}
    if form.low is not None or form.high is not None:
        numbers.update(low=form.low, high=form.high)
    read: dict[str, float] = {}
    for key, text in numbers.items():
        try:
            read[key] = parse(text, span.unit)
        except QuantityError as error:
            faults.append(error.at(f"{where}.{key}"))
    if len(read) == len(numbers):
        faults.extend(span_faults(read, span, where))
    if faults:
        return None, faults
    low, high = (read.get(key, read["value"]) for key in ("low", "high"))
    return Figure(read["value"], low, high, span.unit, form.source, form.note), []


def span_faults(read: Mapping[str, float], span: Span, where: str) -> list[Fault]:
    """Return the faults of numbers [span.unit] that lie outside the span or out of order.

    Examples
    --------
    >>> for fault in span_faults({"value": 2757.0}, Span("g/cm3", 0.05, 6.0), "clay.toml:figures.density"):
    ...     print(fault)
    clay.toml:figures.density.value: read 2757 g/cm3; allowed: 0.05 to 6 g/cm3. Did you mean '2757 kg/m3'?
    """
    unit = "" if span.unit in ("-", "g/g") else f" {span.unit}"
    allowed = f"{span.least:g} to {span.most:g}{unit}"
    faults = [
        Fault(f"{where}.{key}", f"{number:g}{unit}", allowed, _slip(number, span))
        for key, number in read.items()
        if not span.least <= number <= span.most
    ]
    if "low" in read and not read["low"] <= read["value"] <= read["high"]:
        shown = " ".join(f"{key} {number:g}" for key, number in read.items())
        faults.append(Fault(where, shown, "low <= value <= high", "Put the three in order."))
    return faults


def _slip(number: float, span: Span) -> str:
    """Name the likeliest slip: a percentage without its sign, or kg/m3 written as g/cm3."""
    if span.unit == "fraction" and span.least <= number / 100.0 <= span.most:
        return f"Did you mean '{number:g} %'?"
    if span.unit == "g/cm3" and span.least <= number / 1000.0 <= span.most:
        return f"Did you mean '{number:g} kg/m3'?"
    return "Check the number and its unit."


def passport_faults(source: str, note: str, where: str, sources: Mapping[str, Source]) -> list[Fault]:
    """Return the faults of a passport: unknown source key, or a silent note where nothing was read.

    Parameters
    ----------
    source, note : str
        Source key and note of a figure [-].
    where : str
        ``path:key`` [-].
    """
    known = sources.get(source)
    if known is None:
        repair = nearest_repair(source, list(sources))
        return [Fault(f"{where}.source", repr(source), "a key of sources.toml, such as own", repair)]
    if known.opened or any(word in note for word in UNSEEN_WORDS):
        return []
    repair = "Say in the note where the figure comes from."
    return [Fault(f"{where}.note", repr(note), f"a note with one of: {'; '.join(UNSEEN_WORDS)}", repair)]
