"""Faults of a job file, all at once: what pydantic finds is put into our words, with a repair each."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.jobfile.checks import Complaint
from optimizer.jobfile.keys import BOUNDS, CANDLE, HOMES, PRICE, SHOP, TOP, VESSEL
from optimizer.nomenclature import PROPERTIES
from optimizer.toml_files import shown_key, shown_value

if TYPE_CHECKING:
    from pydantic import BaseModel

_KEYS: Final = {"vessel": VESSEL, "candle": CANDLE, "shop": SHOP, "prices": PRICE, "bounds": BOUNDS}
_KNOWN: Final[dict[object, Sequence[str]]] = {
    "limits": PROPERTIES,
    **{table: [key.name for key in keys] for table, keys in _KEYS.items()},
}
_MISSING: Final = {
    "currency": ('a code such as "EUR" or "USD"', 'Add currency = "EUR" or another code.'),
    "pack": ('such as "25 kg"', 'Add pack = "25 kg" with your figure.'),
    "price": ("such as 41.50", "Add price = 41.50 with your figure."),
}
"""What is asked for where it is missing; materials and vessel are asked for with the catalogue at hand."""

_STAND_INS: Final[dict[tuple[int, object], Any]] = {
    (1, "currency"): "EUR",
    (1, "materials"): [],
    (1, "vessel"): {},
    (3, "pack"): "1 kg",
    (3, "price"): 0.0,
}
"""Values in place of those at fault, by depth and key, so that the rest of the file can be looked at."""


class Faults:
    """Faults of one file while it is read; `where` names the file in them."""

    def __init__(self, where: str) -> None:
        self.where = where
        self._faults: list[Fault] = []
        self._keys: set[str] = set()

    def fault(self, key: str, value: str, allowed: str, repair: str) -> None:
        """Note one fault of the dotted `key`."""
        self._keys.add(key)
        self._faults.append(Fault(f"{self.where}:{key}", value, allowed, repair))

    def complain(self, complaints: Iterable[Complaint]) -> None:
        """Note the complaints, less those about a key that had a fault before: they may only be its echo."""
        for each in [each for each in complaints if not any(self.faulty(key) for key in each.keys)]:
            self.fault(each.keys[0], each.value, each.allowed, each.repair)

    def faulty(self, key: str) -> bool:
        """Return whether a fault was noted for `key`, the table it is in, or a key in it."""
        return any(
            key == known or key.startswith(f"{known}.") or known.startswith(f"{key}.") for known in self._keys
        )

    def raise_any(self) -> None:
        """Raise all noted faults; `FileFaults`."""
        if self._faults:
            raise FileFaults(self._faults)


def read_form(data: dict[str, Any], found: Faults) -> BaseModel:
    """Return the values of a job file's tables; faults are noted, and what is at fault is as if left out."""
    from pydantic import ValidationError

    from optimizer.jobfile.forms import job_form

    try:
        return job_form().model_validate(data)
    except ValidationError as error:
        rest = copy.deepcopy(data)
        for row in error.errors(include_url=False):
            _translate(row, found)
            _take_out(row, rest)
        return job_form().model_validate(rest)


def _translate(row: Mapping[str, Any], found: Faults) -> None:
    loc, key = row["loc"], ".".join(map(shown_key, row["loc"]))
    if row["type"] == "value_error":  # of a kind, which knows what is allowed
        error = row["ctx"]["error"]
        found.fault(key, shown_value(row["input"]), error.allowed, error.repair)
    elif row["type"] == "missing":
        if loc[-1] in _MISSING:
            found.fault(key, "nothing", *_MISSING[str(loc[-1])])
    elif row["type"] == "extra_forbidden":
        name = str(loc[-1])
        near = ", ".join(nearest(name, _KNOWN[loc[0]] if len(loc) > 1 else TOP))
        home = f"Move it to {HOMES[name]}." if name in HOMES else "Correct the key or take it out."
        found.fault(key, "an unknown key", f"nearest: {near}", home)
    else:
        repair = f"Write [{key}] on its own line and the values below it."
        found.fault(key, shown_value(row["input"]), "a table", repair)


def _take_out(row: Mapping[str, Any], data: dict[str, Any]) -> None:
    *path, last = row["loc"]
    table: Any = data
    for part in path:
        table = table[part]
    if row["type"] != "extra_forbidden" and (len(row["loc"]), last) in _STAND_INS:
        table[last] = _STAND_INS[len(row["loc"]), last]
    else:
        del table[last]


def nearest(name: str, names: Iterable[str]) -> list[str]:
    """Return the three of `names` most like `name`, best first.

    Examples
    --------
    >>> nearest("wagge", ["waste", "wage", "shift", "molds"])[0]
    'wage'
    """
    return get_close_matches(name[:80].lower(), tuple(names), n=3, cutoff=0.0)
