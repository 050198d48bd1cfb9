"""How far a reading may be off: the one table of errors behind every calibration.

A reading errs twice. Its *lab error* is its own: another reading of the same casting would err anew. Its
*batch error* is shared by all readings of one kind from one batch: no two batches of one mix are alike.
What the laws of the property model lack is no error of a reading: see
`optimizer.property_model.parameters`. Errors of logs are relative: 0.10 is ten percent.

Unless a source is named the figures are judgement. Values of standards are from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

__all__ = [
    "BAG",
    "KINDS",
    "STATED_LEAST",
    "STRENGTH_ERRORS",
    "Kind",
]


@dataclass(frozen=True)
class Kind:
    """One kind of reading.

    Attributes
    ----------
    words : str
        What was read, as a caster says it.
    quantity : str
        Row of `optimizer.nomenclature` whose unit and digits it is shown with.
    group : str
        ``mass``, ``time``, ``demold``, ``strength``, ``whiteness``, ``sealing``, ``setting`` or ``heat``:
        readings of one group from one batch share its batch error.
    error : float
        Lab error where the trial states none [of the log, or the unit when `log` is False].
    absolute : bool
        True when `error` is in the unit of the reading although the fit takes its log.
    batch : float
        Batch error [the same].
    log : bool
        True when errors are relative.
    """

    words: str
    quantity: str
    group: str
    error: float
    batch: float
    log: bool = True
    absolute: bool = False

    def error_of(self, value: float) -> float:
        """Return the lab error of a reading on the scale of the fit."""
        return self.error / value if self.absolute else self.error


KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        # A known volume weighed: one fill repeats to half a percent, and stirred-in air comes and goes.
        "fresh_density": Kind("wet density", "fresh_density", "mass", 0.010, 0.002),
        # A scale that shows whole grams, and what sticks to the piece.
        "demolded_mass": Kind("mass out of the mold", "demolded_mass", "mass", 1.2, 0.002, absolute=True),
        "dry_mass": Kind("dry mass", "dry_mass", "mass", 1.2, 0.002, absolute=True),
        # One piece weighed twice on one scale: the volume of the mold drops out.
        "dry_share": Kind("dry mass of the same piece", "dry_mass", "mass", 0.003, 0.003),
        # Looked at every few minutes.
        "initial_set": Kind("initial set", "working_window", "time", 1.5, 0.03, absolute=True),
        "final_set": Kind("final set", "demold_time", "time", 1.5, 0.03, absolute=True),
        "window_end": Kind("end of pouring", "working_window", "time", 1.5, 0.03, absolute=True),
        # What a casting needs to come out whole is the chain's to learn: see its discrepancy.
        "demold": Kind("earliest time out of the mold", "demold_time", "demold", 0.07, 0.03),
        "wet_strength": Kind("wet strength", "wet_strength", "strength", 0.08, 0.03),
        "dry_strength": Kind("dry strength", "dry_strength", "strength", 0.08, 0.03),
        "wet_flexural": Kind("wet bending strength", "flexural_strength", "strength", 0.08, 0.03),
        "dry_flexural": Kind("dry bending strength", "flexural_strength", "strength", 0.08, 0.03),
        # A photo with a white card, or a meter; either aid states an error of its own.
        "whiteness": Kind("whiteness L*", "whiteness", "whiteness", 0.8, 0.3, log=False),
        # A day under water, wiped: what wiping leaves, and whether the piece was quite dry.
        "absorption": Kind("water absorption", "absorption", "sealing", 0.05, 0.02),
        # Whether a coat more is needed is in the eye of the caster: a tenth of what a coat takes.
        "coats": Kind("absorption by its coats", "absorption", "sealing", 0.08, 0.02),
        # A probe in the thick of the cast; where it sits, and when it is read, make three.
        "casting_peak": Kind("hottest while setting", "casting_peak", "setting", 3.0, 2.0, log=False),
        # A contact probe reads to 1 K; where on the wall, and draft, make it two.
        "outer_wall": Kind("outer wall", "outer_wall_temperature", "heat", 2.0, 1.5, log=False),
        "inner_wall": Kind("inner wall", "inner_wall_temperature", "heat", 3.0, 1.5, log=False),
    }
)
"""What a trial may hold, and how far each reading may be off."""

STRENGTH_ERRORS: Final[Mapping[str, float]] = MappingProxyType(
    {
        # ASTM C109 states 4 % within one laboratory and 7 % between laboratories (from memory).
        "test house": 0.06,
        "cube": 0.08,
        "cylinder": 0.10,
        "bent bar": 0.08,
        "held or broke": 0.20,
        "other": 0.20,
    }
)
"""Lab error of one strength by its route [of the log]; a trial that states an error is believed."""

STATED_LEAST: Final = 0.02
"""No stated error of a strength is taken for less than this [of the log]: a test house that breaks three
cubes states their scatter, not its own offset."""

BAG: Final[Mapping[str, float]] = MappingProxyType({"strength": 0.4, "set_time": 0.4})
"""How far one lot of a binder differs from the next, over all that is unsure of the binder [-].

With the shipped spreads of 12 to 18 % for a strength that is 5 to 7 % from lot to lot of one maker."""
