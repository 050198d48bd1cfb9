"""Reads tables by their keys and collects every fault on the way, so that one look repairs them all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from difflib import get_close_matches
from typing import Any, TypeGuard, TypeVar

from optimizer.errors import Fault, FileFaults, QuantityError
from optimizer.jobfile.checks import Complaint
from optimizer.jobfile.keys import HOMES
from optimizer.jobfile.kinds import Key
from optimizer.toml_files import shown_key, shown_value

__all__ = ["Collector", "nearest"]

T = TypeVar("T")


class Collector:
    """Faults and stated keys of one file while it is read.

    Attributes
    ----------
    where : str
        Name of the file in faults.
    stated : set[str]
        Dotted keys found with a value that can be read.
    """

    def __init__(self, where: str) -> None:
        self.where = where
        self.stated: set[str] = set()
        self._faults: list[Fault] = []
        self._keys: set[str] = set()

    def fault(self, key: str, value: str, allowed: str, repair: str) -> None:
        """Note one fault of the dotted `key`."""
        self._keys.add(key)
        self._faults.append(Fault(f"{self.where}:{key}", value, allowed, repair))

    def complain(self, complaints: Iterable[Complaint]) -> None:
        """Note the complaints, less those about a key that had a fault before: they may only be its echo."""
        fresh = [each for each in complaints if not any(self.faulty(key) for key in each.keys)]
        for each in fresh:
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

    def take(self, key: str, read: Callable[[Any], T], raw: object) -> T | None:
        """Return ``read(raw)``, or None with the fault noted."""
        try:
            value = read(raw)
        except QuantityError as error:
            self.fault(key, shown_value(raw), error.allowed, error.repair)
            return None
        self.stated.add(key)
        return value

    def table(self, raw: object, keys: Sequence[Key], prefix: str) -> dict[str, Any]:
        """Return the values of the table `prefix` by record field; those at fault are left out."""
        if not self.is_table(raw, prefix):
            return {}
        self.unknown(raw, [key.name for key in keys], prefix)
        return self.values(raw, keys, f"{prefix}.")

    def values(self, raw: dict[str, Any], keys: Sequence[Key], prefix: str = "") -> dict[str, Any]:
        """Return the values of `keys` in `raw` by record field; those at fault are left out."""
        values = {}
        for key in keys:
            if key.name in raw:
                value = self.take(f"{prefix}{key.name}", key.read, raw[key.name])
                if value is not None:
                    values[key.field or key.name] = value
        return values

    def is_table(self, raw: object, prefix: str) -> TypeGuard[dict[str, Any]]:
        """Return whether `raw` is a table; note a fault where not."""
        if isinstance(raw, dict):
            return True
        repair = f"Write [{prefix}] on its own line and the values below it."
        self.fault(prefix, shown_value(raw), "a table", repair)
        return False

    def missing(self, key: str, allowed: str, repair: str) -> None:
        """Note that `key` must be there and is not."""
        self.fault(key, "nothing", allowed, repair)

    def unknown(self, raw: dict[str, Any], names: Iterable[str], prefix: str) -> None:
        """Note every key of `raw` that is none of `names`, with the nearest ones."""
        names = tuple(names)
        for name in raw:
            if name not in names:
                near = ", ".join(nearest(name, names))
                at = f"{prefix}.{shown_key(name)}" if prefix else shown_key(name)
                home = f"Move it to {HOMES[name]}." if name in HOMES else "Correct the key or take it out."
                self.fault(at, "an unknown key", f"nearest: {near}", home)


def nearest(name: str, names: Iterable[str]) -> list[str]:
    """Return the three of `names` most like `name`, best first.

    Examples
    --------
    >>> nearest("wagge", ["waste", "wage", "shift", "molds"])[0]
    'wage'
    """
    return get_close_matches(name[:80].lower(), tuple(names), n=3, cutoff=0.0)
