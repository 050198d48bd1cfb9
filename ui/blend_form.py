"""Fields for a blend typed in parts of dry powder, each with its fault under it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import streamlit as st

from optimizer.errors import Fault, FileFaults, NoBlend
from optimizer.materials import Catalogue
from optimizer.solution import Solution
from ui import answers
from ui.jobs import blend_text, parts_of
from ui.plain_text import marked, plain
from ui.widgets import fault_words, in_rows
from ui.words import label_of

_DIGITS: Final = 3
_PARTS: Final = (10.0, 400.0)
"""Water to 100 of powder by mass that anyone may mean by a plain number, above all ratios [-]."""

_WATER: Final = ""
"""Stands for the water among the names of the powders."""


@dataclass(frozen=True)
class BlendForm:
    """A blend in fields.

    Attributes
    ----------
    name : str
        What the fields' keys begin with.
    materials : Sequence[str]
        Powders that may be named.
    slots : dict[str, Any]
        Place under each field for its fault.
    """

    name: str
    materials: Sequence[str]
    slots: dict[str, Any] = field(default_factory=dict)

    def show(self) -> None:
        """Put the fields on the page."""
        for row in in_rows([*self.materials, _WATER], 2):
            for column, material in zip(st.columns(2), row, strict=False):
                with column:
                    self._field(material)

    def fill(self, solution: Solution | None) -> None:
        """Put a blend into the fields, rounded to be read, and keep it as it is."""
        if solution is None or solution.mix is None:
            return
        parts = parts_of(solution.mix.blend, _DIGITS)
        for material in self.materials:
            st.session_state[self._key(material)] = parts.get(material, "")
        water = f"{solution.mix.water_ratio:.{_DIGITS}g}"
        st.session_state[self._key(_WATER)] = water
        exact = blend_text(solution.mix.blend, solution.mix.water_ratio)
        st.session_state[f"{self.name}_exact"] = (parts, water, exact)

    def empty(self) -> None:
        """Take everything out of the fields."""
        for material in (*self.materials, _WATER):
            st.session_state[self._key(material)] = ""

    @property
    def untouched(self) -> bool:
        """Whether no field was ever shown or filled."""
        return not any(self._key(material) in st.session_state for material in self.materials)

    def typed(self) -> str:
        """Return the blend as text, and tell its faults; empty when there is none or it cannot be read."""
        parts = {name: text for name in self.materials if (text := self._text(name))}
        if not parts:
            st.info("Write parts or percent beside the powders.")
            return ""
        shown, shown_water, exact = st.session_state.get(f"{self.name}_exact", ({}, "", ""))
        if (parts, self._text(_WATER)) == (shown, shown_water):
            st.caption("Rounded to be read; counted exactly until you change a figure.")
            return str(exact)
        try:
            return answers.typed_blend(parts, per_powder(self._text(_WATER)))
        except FileFaults as error:
            self._tell(error.faults)
        except NoBlend:
            names = _binders(answers.catalogue())
            st.error(marked("This blend has no binder and will not set. Add one of: {}.", names))
        return ""

    def _tell(self, faults: Sequence[Fault]) -> None:
        for fault in faults:
            slot = self.slots.get(fault.where)
            if slot is None:
                st.error(plain(fault_words(fault)))
            else:
                slot.error(plain(fault_words(fault)))

    def _field(self, material: str) -> None:
        label = label_of(material, answers.catalogue()) if material else "water per powder"
        hint = "none" if material else "its own demand"
        st.text_input(plain(label), key=self._key(material), placeholder=hint, persist_state="session")
        self.slots[material or "water"] = st.empty()

    def _key(self, material: str) -> str:
        return f"{self.name}.{material}" if material else f"{self.name}_water"

    def _text(self, material: str) -> str:
        return str(st.session_state.get(self._key(material)) or "").strip()


def per_powder(typed: str) -> str:
    """Return water as it was typed; a plain number far above any ratio is taken as parts to 100 of powder.

    So says the table of what to weigh.

    Examples
    --------
    >>> per_powder("30"), per_powder("0,28"), per_powder("30 %"), per_powder("plenty")
    ('30 %', '0,28', '30 %', 'plenty')
    """
    try:
        least, most = _PARTS
        return f"{typed} %" if least <= float(typed.replace(",", ".")) <= most else typed
    except ValueError:
        return typed


def _binders(catalogue: Catalogue) -> str:
    return ", ".join(label_of(name, catalogue) for name in catalogue if catalogue[name].role == "binder")
