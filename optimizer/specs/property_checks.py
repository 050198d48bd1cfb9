"""What each property is checked against outside the project, and what is checked against nothing printed."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

_TABLE: Final = Path(__file__).with_suffix(".toml")
_OF_ONE_LAW: Final = "tests/properties/"


@dataclass(frozen=True)
class Check:
    """One test of a property against something printed outside the project.

    Attributes
    ----------
    test : str
        File and name of the test.
    cites : str
        Words of that test which name the source.
    source : str
        The source, as people read it.
    """

    test: str
    cites: str
    source: str

    @property
    def law_alone(self) -> bool:
        """Whether the test touches one law that the predictions use, and no whole prediction."""
        return self.test.startswith(_OF_ONE_LAW)


@dataclass(frozen=True)
class PropertyChecks:
    """How one property is checked.

    Attributes
    ----------
    checks : tuple[Check, ...]
        Tests against something printed.
    none : str
        Why nothing, or nothing more, is printed; may be empty where there are checks.
    own : tuple[str, ...]
        Tests by our own arithmetic, where nothing is printed.
    """

    checks: tuple[Check, ...]
    none: str
    own: tuple[str, ...]


@cache
def property_checks() -> Mapping[str, PropertyChecks]:
    """Return how each quantity of `optimizer.nomenclature` is checked, by its name and in that order."""
    entries = tomllib.loads(_TABLE.read_text(encoding="utf-8"))
    return {name: _checks_of(entry) for name, entry in entries.items()}


def _checks_of(entry: Mapping[str, Any]) -> PropertyChecks:
    checks = tuple(Check(**row) for row in entry.get("checks", ()))
    return PropertyChecks(checks, entry.get("none", ""), tuple(entry.get("own", ())))
