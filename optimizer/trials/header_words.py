"""What a caster's own column headers mean: ``plaster``, ``mixing water``, ``strength psi``, ``out of mold``.

A header is matched as written first; a likeness (a part of a material's name, a slip of the pen) is marked
as such, and a word that can mean several columns is never decided here. All words are common practice, no
source.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import lru_cache
from typing import Final

from optimizer.errors import QuantityError
from optimizer.trials.columns import Column, known_column
from optimizer.trials.fields import WORDS
from optimizer.trials.import_choices import header_key
from optimizer.trials.records import FIELDS
from optimizer.unit_words import spell
from optimizer.units import parse


@dataclass(frozen=True)
class Meaning:
    """What one header means.

    Attributes
    ----------
    column : Column | None
        Column of the trial table; None: not known, or not decided.
    unit : str
        Unit the header names.
    constants : tuple[tuple[str, str], ...]
        Other parts of the same reading that the header says, such as ``("state", "dry")``.
    alike : bool
        True when it is taken for its column by a likeness only.
    among : tuple[str, ...]
        The columns it could mean, where there are several.
    """

    column: Column | None = None
    unit: str = ""
    constants: tuple[tuple[str, str], ...] = ()
    alike: bool = False
    among: tuple[str, ...] = ()


_WORDS: Final = {
    "id": "batch trial no nr number trial_no trial_number batch_no batch_number batch_id cast_no test test_no"
    " mix_no",
    "date": "day poured date_poured pour_date cast_date date_cast casting_date date_of_pour day_of_pour",
    "water": "mass_of_water mixing_water mix_water water_added water_weight weight_of_water h2o"
    " water_weighed total_water",
    "water_temperature": "water_temp temp_of_water temperature_of_water",
    "room_temperature": "room_temp air_temp air_temperature shop_temp ambient temp_of_room",
    "humidity": "rh relative_humidity room_humidity",
    "cast": "castings pieces pcs castings_poured number_cast pieces_cast",
    "cavity_volume": "mold_volume volume_of_mold cavity mold_holds volume",
    "fresh_density": "slurry_density density_of_slurry wet_density",
    "window_end": "working_time working_window pot_life stopped_pouring no_longer_pours",
    "initial_set": "set_begins begins_to_set set_start starts_to_set",
    "final_set": "set_ends set_hard",
    "demold": "demolded demould demoulded demould_time demolding_time out_of_mold out_of_mold_after taken_out"
    " demold_after demolded_after unmolded",
    "casting_peak": "peak peak_temp peak_temperature max_temp hottest peak_heat",
    "whiteness": "l* l lightness whiteness_l",
    "strength 1 value": "strength compressive_strength crush_strength crushing_strength cube_strength"
    " compression",
    "remarks": "note notes remark comment comments memo observations",
    "labels": "label vessel_labels",
    "vessel": "mold shape piece",
    "reject 1 count": "rejects rejected scrap broken",
}
_MEANT: Final = {word: name for name, words in _WORDS.items() for word in words.split()}
_AMONG: Final = {
    "set": ("initial_set", "final_set"),
    "set_time": ("initial_set", "final_set"),
    "setting_time": ("initial_set", "final_set"),
    "temp": ("room_temperature", "water_temperature", "casting_peak"),
    "temperature": ("room_temperature", "water_temperature", "casting_peak"),
    "time": ("demold", "window_end", "final_set"),
    "minutes": ("demold", "window_end", "final_set"),
    "mass": ("weighing 1 mass",),
    "weight": ("weighing 1 mass",),
    "dry_weight": ("weighing 1 mass",),
    "dry_mass": ("weighing 1 mass",),
}
"""Words that mean one thing to one caster and another to the next; a weight needs the day it was taken."""

_STRENGTH: Final = re.compile(
    "(?:dry|wet|(?:after_|at_)?[0-9]+_?(?:d|days?|h|hours?)|compressive|strength|_)+"
)
_STATE: Final = re.compile("(?:^|_)(dry|wet)(?=_|$)")
_AGE: Final = re.compile("(?:^|_)([0-9]+)_?(d|h)(?:ays?|ours?)?(?=_|$)")
_OUT_OF_MOLD: Final = re.compile(
    "(weight|mass)_(out_of_mold|at_demold|at_demolding)|(demold|demolded)_(weight|mass)|wet_weight_at_demold"
)
_WEIGHED: Final = re.compile(
    r"(?:weight|mass)_(?:(?:after|at|on)_)?(?:day_([0-9]+)|([0-9]+)_?d(?:ays?)?)"
    r"|day_([0-9]+)_(?:weight|mass)"
)
_POWDER: Final = re.compile(r"(?:(mass|weight|lot)_of_)?(.+?)(?:_(mass|weight|weighed|lot))?")
_LIKE: Final = 0.85
_SHORT: Final = 3


def material_named(text: str, materials: Collection[str]) -> tuple[str, bool, tuple[str, ...]]:
    """Return the material a text names, whether by a part of its name only, and the several it could name.

    Name (empty: none, or several), True for a likeness, and the candidates.

    Examples
    --------
    >>> known = ("gypsum_cement", "csa_cement", "molding_plaster")
    >>> material_named("Gypsum Cement", known), material_named("plaster", known)
    (('gypsum_cement', False, ()), ('molding_plaster', True, ()))
    >>> material_named("cement", known)
    ('', False, ('gypsum_cement', 'csa_cement'))
    """
    key = header_key(text)
    if key in materials:
        return key, False, ()
    words = set(key.split("_"))
    holding = tuple(name for name in materials if words <= set(name.split("_")))
    if len(holding) == 1:
        return holding[0], True, ()
    if holding:
        return "", False, holding
    near = _nearest(key, materials)
    return (near, True, ()) if near else ("", False, ())


def _nearest(key: str, known: Collection[str]) -> str:
    """Return the one of `known` that a slip of the pen may have been meant for; empty where there is none."""
    near = get_close_matches(key, known, n=1, cutoff=_LIKE)
    swapped = (word for word in known if len(key) > _SHORT and sorted(word) == sorted(key))
    return near[0] if near else next(swapped, "")


def fits(unit: str, column: Column) -> bool:
    """Return whether a unit can be the unit of a column's numbers.

    Examples
    --------
    >>> water = known_column("water")
    >>> fits("oz", water), fits("min", water), fits("mood", water)
    (True, False, False)
    """
    if column.unit in WORDS or column.unit == "count":
        return False
    try:
        parse("1" if unit in ("-", "") else f"1 {unit}", column.unit)
    except QuantityError:
        return False
    return True


@lru_cache(maxsize=4096)
def meaning_of(text: str, materials: tuple[str, ...] = (), likeness: bool = True) -> Meaning:
    """Return what a header means.

    With no column where it is not known.

    Parameters
    ----------
    materials : tuple[str, ...]
        Known materials; none: only headers that say ``mass of`` name one [-].
    likeness : bool
        False: only what is certain [-].

    Examples
    --------
    >>> meaning_of("strength psi").column.name, meaning_of("strength psi").unit
    ('strength 1 value', 'psi')
    >>> meaning_of("wet strength after 1 day [MPa]").constants
    (('state', 'wet'), ('age', '1 d'))
    >>> meaning_of("set time").among
    ('initial_set', 'final_set')
    """
    ways = tuple(_splits(text.strip()))
    for name, unit in ways:
        found = _certain(header_key(name), materials)
        if found.among or _usable(found, unit):
            return replace(found, unit=unit)
    for name, unit in reversed(ways) if likeness else ():
        found = _alike(header_key(name), materials)
        if found.among or _usable(found, unit):
            return replace(found, unit=unit)
    return next(_misfits(ways, materials), Meaning())


def _usable(found: Meaning, unit: str) -> bool:
    return found.column is not None and (not unit or fits(unit, found.column))


def _misfits(ways: Sequence[tuple[str, str]], materials: tuple[str, ...]) -> Iterator[Meaning]:
    """Give the columns whose unit measures something else: a fault to be told, not a column to pass over."""
    for name, unit in ways:
        found = _certain(header_key(name), materials)
        try:
            known = bool(unit) and bool(spell(unit, "-"))
        except QuantityError:
            known = len(ways) == 1  # in brackets
        if found.column is not None and known:
            yield replace(found, unit=unit)


def _splits(text: str) -> Iterator[tuple[str, str]]:
    """Give the ways to part a header into name and unit."""
    bracketed = re.fullmatch(r"(.+?)\s*[\[(]\s*(?:in\s+)?(.*?)\s*[\])]", text)
    if bracketed:
        yield bracketed[1], bracketed[2]
        return
    yield text, ""
    for words in (1, 2):
        last = r"[\s_]".join([r"[^\s_]+"] * words)
        parted = re.fullmatch(rf"(.+?)(?:[\s_,:]+in)?[\s_,:]+({last})", text)
        if parted:
            yield parted[1], parted[2].strip("()[]")


def _certain(key: str, materials: tuple[str, ...]) -> Meaning:
    if key in _AMONG:
        return Meaning(among=_AMONG[key])
    found = _reading(key)
    if found is not None:
        return found
    column = known_column(_MEANT.get(key, key))
    if column is None or (column.material and materials):
        return _powder(key, materials, likeness=False)
    return Meaning(column)


def _reading(key: str) -> Meaning | None:
    """Return the meaning of a header that names a reading together with its state or age."""
    if _STRENGTH.fullmatch(key) and "strength" in key.split("_"):
        states, ages = _STATE.findall(key), _AGE.findall(key)
        said = [("state", word) for word in states] + [("age", f"{number} {unit}") for number, unit in ages]
        if said and len(states) < 2 and len(ages) < 2:
            return Meaning(known_column("strength 1 value"), constants=tuple(said))
    if _OUT_OF_MOLD.fullmatch(key):
        return Meaning(known_column("weighing 1 mass"), constants=(("age", "0 d"),))
    if match := _WEIGHED.fullmatch(key):
        day = match[1] or match[2] or match[3]
        return Meaning(known_column("weighing 1 mass"), constants=(("age", f"{day} d"),))
    return None


def _powder(key: str, materials: tuple[str, ...], likeness: bool) -> Meaning:
    """Return the meaning of a header that names a material, by its whole name or by a likeness."""
    match = _POWDER.fullmatch(key)
    if match is None or not materials:
        return Meaning()
    name, alike, among = material_named(match[2], materials)
    part = "lot" if "lot" in (match[1], match[3]) else "mass"
    if among and likeness:
        return Meaning(among=tuple(f"{part} of {each}" for each in among))
    if not name or alike > likeness:
        return Meaning()
    return Meaning(known_column(f"{part} of {name}"), alike=alike)


def _alike(key: str, materials: tuple[str, ...]) -> Meaning:
    found = _powder(key, materials, likeness=True)
    if found.column is not None or found.among:
        return found
    near = _nearest(key, (*FIELDS, *_MEANT))
    if near:
        return Meaning(known_column(_MEANT.get(near, near)), alike=True)
    column = known_column(key)  # the mass of a material nobody knows: its rows say so
    return Meaning(column) if column is not None and column.material else Meaning()
