"""What a trial can teach the model and what it cannot: half-filled trials are used as far as they go."""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType
from typing import Final

from optimizer.trials.drying_watch import constant_since
from optimizer.trials.records import Strength, Trial

_AT_DEMOLDING: Final = 1.0 / 24.0
"""A weighing within an hour of demolding is the mass out of the mold [d]."""


def teaches(trial: Trial) -> tuple[str, ...]:
    """Return the properties `trial` has evidence for.

    Names of `optimizer.nomenclature`, in its order.

    Examples
    --------
    >>> import datetime as dt
    >>> from optimizer.trials.records import Portion
    >>> day, powder = dt.date(2026, 3, 2), (Portion("gypsum_cement", 300.0),)
    >>> teaches(Trial(day, portions=powder, water=105.0, initial_set=18.0))
    ('working_window',)
    """
    missing = cannot_teach(trial)
    return tuple(name for name in _EVIDENCE if name not in missing)


def cannot_teach(trial: Trial) -> dict[str, str]:
    """Return the properties `trial` has no evidence for, each with what is missing.

    Property of `optimizer.nomenclature` -> what to note next time.

    Examples
    --------
    >>> import datetime as dt
    >>> cannot_teach(Trial(dt.date(2026, 3, 2), initial_set=18.0))["working_window"]
    'weigh the powders: without them no blend is known'
    """
    common = _mix_missing(trial)
    found = {name: common or missing(trial) for name, missing in _EVIDENCE.items()}
    return {name: reason for name, reason in found.items() if reason}


def strength_missing(strength: Strength) -> str:
    """Return what a strength must say and does not before a fit can use it; empty where nothing is missing.

    Examples
    --------
    >>> strength_missing(Strength(24.0)), strength_missing(Strength(24.0, state="dry"))
    ('whether the piece tested was wet or dry', '')
    """
    if not strength.state:
        return "whether the piece tested was wet or dry"
    return "the age at the test" if strength.state == "wet" and not strength.age else ""


def _mix_missing(trial: Trial) -> str:
    if not trial.powder_mass:
        return "weigh the powders: without them no blend is known"
    return "" if trial.water is not None else "weigh the water: without it no water ratio is known"


def _demolded_missing(trial: Trial) -> str:
    found = trial.weighings and trial.weighings[0].age <= _AT_DEMOLDING
    return _volume_missing(trial) if found else "weigh a piece as it leaves the mold"


def _dry_mass_missing(trial: Trial) -> str:
    if _dry_since(trial) is None:
        return "weigh on until two weighings a day apart differ by less than 0.1 %"
    return _volume_missing(trial)


def _dry_since(trial: Trial) -> float | None:
    return constant_since(trial.weighings, after=(trial.damp_cure or 0.0) / 1440.0)


def _volume_missing(trial: Trial) -> str:
    known = trial.cavity_volume is not None or trial.vessel
    return "" if known else "name the vessel or measure the volume of its mold"


def _drying_missing(trial: Trial) -> str:
    if _dry_since(trial) is None:
        return "weigh on until two weighings a day apart differ by less than 0.1 %"
    return "" if trial.humidity is not None else "note the humidity of the room"


def _strength_missing(kind: str, state: str) -> Callable[[Trial], str]:
    def missing(trial: Trial) -> str:
        known = [one for one in trial.strengths if one.kind == kind]
        if not known:
            return f"test a {kind} strength"
        known = [one for one in known if one.state == state]
        if not known:
            return f"note that the piece tested was {state}, or test a {state} one"
        aged = state == "dry" or any(one.age is not None for one in known)
        return "" if aged else "note the age at the test"

    return missing


def _wall_missing(place: str) -> Callable[[Trial], str]:
    def missing(trial: Trial) -> str:
        burns = [burn for burn in trial.burns if getattr(burn, place) is not None]
        if not burns:
            return f"burn a candle in it and read the {place} wall"
        return "" if any(burn.burn_rate is not None for burn in burns) else "weigh the wax burned per hour"

    return missing


def _unless_noted(words: str, *fields: str) -> Callable[[Trial], str]:
    """Return what asks for `words` where none of the fields was noted."""
    return lambda trial: "" if any(getattr(trial, field) is not None for field in fields) else words


_EVIDENCE: Final = MappingProxyType(
    {
        "fresh_density": _unless_noted("weigh a known volume of slurry", "fresh_density"),
        "demolded_mass": _demolded_missing,
        "dry_mass": _dry_mass_missing,
        "wet_strength": _strength_missing("compressive", "wet"),
        "dry_strength": _strength_missing("compressive", "dry"),
        "flexural_strength": _strength_missing("flexural", "dry"),
        "working_window": _unless_noted(
            "note when the mix no longer pours, or its initial set", "window_end", "initial_set"
        ),
        "demold_time": _unless_noted(
            "note when a casting could first leave its mold, or when they were taken out",
            "demold",
            "demold_first",
        ),
        "drying_time": _drying_missing,
        "whiteness": _unless_noted(
            "read the whiteness of the dry face, by photo with a white card", "whiteness"
        ),
        "absorption": _unless_noted(
            "soak a dry piece for a day and weigh it, or count the coats of sealer it took",
            "absorption",
            "coats",
        ),
        "casting_peak": _unless_noted("read the highest temperature while it sets", "casting_peak"),
        "outer_wall_temperature": _wall_missing("outer"),
        "inner_wall_temperature": _wall_missing("inner"),
    }
)
