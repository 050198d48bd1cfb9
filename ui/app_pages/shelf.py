"""Shelf and prices: what each powder costs at the door, and what more packs at once would save."""

from __future__ import annotations

from typing import Any, Final

import streamlit as st

from optimizer.job import Price
from optimizer.units import convert
from ui import answers
from ui.draft import field_value, tables_of, whose
from ui.fields import price_fields
from ui.money_answers import landed, price_steps
from ui.new_powder_form import show_new_powder
from ui.order_charts import steps_chart
from ui.page_words import MARKS
from ui.plain_text import marked, named, plain
from ui.question import own_faults
from ui.state import Session, base_tables, session, set_materials, units
from ui.widgets import draw, fault_words, show_field, show_fields, tell_faults
from ui.words import label_of, money, pack_words

_MOST_PACKS: Final = 12
_MAIN: Final = ("pack", "price", "stock")
"""Figures of a price that stand in the table of all powders."""

_STOCK: Final = "on the shelf"
_MASSES: Final = {"kg": "kilogram", "lb": "pound"}
_PARTS: Final = {"goods": "goods", "tax": "tax", "freight": "freight", "trip": "trip", "lost": "lost"}


def show() -> None:
    """Show the page."""
    now = session()
    st.title("Shelf and prices", anchor=False)
    st.caption(
        "What a usable kilogram costs once it stands on your shelf: tax, freight, trip and losses in it."
    )
    _powders(now)
    tell_faults({}, {fault.where: fault for fault in own_faults()})
    show_new_powder()
    _prices(now)
    with st.expander("What a kilogram costs at the door, by its parts"):
        _table(now)
    _one(now)


def _listed() -> list[str]:
    """Return the powders of the draft, those still without a price among them."""
    return list(base_tables()["materials"])


def _powders(now: Session) -> None:
    catalogue = answers.catalogue()
    st.pills(
        "Powders the blend may use",
        [name for name in catalogue if catalogue[name].role != "water"],
        selection_mode="multi",
        default=_listed(),
        key="powders",
        format_func=lambda name: plain(label_of(name, catalogue)),
        on_change=lambda: set_materials(st.session_state["powders"]),
    )
    notes = {label_of(name, catalogue): catalogue[name].note for name in _listed()}
    st.markdown(named({label: note for label, note in notes.items() if note}))
    if fault := now.faults.get("materials"):
        st.error(plain(fault_words(fault)))


def _prices(now: Session) -> None:
    """Show packs, prices and stock of all powders as one table of fields, each with its mark."""
    catalogue = answers.catalogue()
    st.markdown("### Prices")
    slots: dict[str, Any] = {}
    for name in _listed():
        head, *cells = st.columns([3, 2, 2, 2, 2], vertical_alignment="bottom")
        head.markdown(marked("**{}**", label_of(name, catalogue)))
        fields = [field for field in price_fields(name) if field.key.rpartition(".")[2] in _MAIN]
        for field, cell in zip(fields, cells, strict=False):
            with cell:
                slots[field.key] = show_field(field)
        cells[-1].caption(plain(_at_the_door(now, name)))
    tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})


def _at_the_door(now: Session, name: str) -> str:
    """Return what a usable kilogram of a powder costs at the door."""
    price = now.job.prices.get(name)
    if price is None:
        return "no price yet"
    each = _per_mass(landed(price, now.job.shop.wage).per_usable_kg)
    return f"{money(each, now.job.currency)} per {_mass()} at the door"


def _mass() -> str:
    """Return the unit of mass that money is counted by."""
    return "lb" if units() == "us" else "kg"


def _per_mass(per_kilogram: float) -> float:
    """Return money for a mass in the units shown, from money for a kilogram [currency/kg]."""
    return convert(per_kilogram, "currency/kg", f"currency/{_mass()}")


def _table(now: Session) -> None:
    rows = [_row(now, name) for name in _listed()]
    st.dataframe(_filled(rows), hide_index=True, key="prices_table", alt="Landed price of each powder")


def _row(now: Session, name: str) -> dict[str, str]:
    price = now.job.prices.get(name)
    label, at_door = label_of(name, answers.catalogue()), f"per {_mass()}, at the door"
    if price is None:
        return {"powder": label, at_door: "no price yet", "pack": "", "whose": ""}
    found = landed(price, now.job.shop.wage)
    key = f"prices.{name}.price"
    owner = whose(base_tables(), tables_of(answers.DEMO), key, field_value(tables_of(now.asked.text), key))
    parts = {words: f"{found.parts[part]:.2f}" for part, words in _PARTS.items()}
    return {
        "powder": label,
        at_door: money(_per_mass(found.per_usable_kg), now.job.currency),
        "pack": f"{pack_words(price.pack, units())} for {money(price.price, now.job.currency)}",
        "whose": f"{MARKS[owner]} {owner}",
        **parts,
        _STOCK: "" if price.stock is None else pack_words(price.stock, units()),
    }


def _filled(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Return the rows without the parts of a price that none of them has."""
    bare = {*_PARTS.values(), _STOCK} - {
        name for row in rows for name in row if row[name] not in ("", "0.00")
    }
    return [{name: cell for name, cell in row.items() if name not in bare} for row in rows]


def _one(now: Session) -> None:
    catalogue = answers.catalogue()
    st.markdown("### Tax, freight, trips and price breaks")
    name = st.selectbox(
        "Price of",
        _listed(),
        key="price_of",
        format_func=lambda each: label_of(each, catalogue),
        persist_state="session",
    )
    left, right = st.columns([5, 6], gap="large")
    with left:
        rest = [field for field in price_fields(name) if field.key.rpartition(".")[2] not in _MAIN]
        slots = show_fields(rest, 2)
        tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})
    with right:
        _steps(now, name, now.job.prices.get(name))


def _steps(now: Session, name: str, price: Price | None) -> None:
    label = label_of(name, answers.catalogue())
    if price is None:
        st.info(marked("Write a pack and its price above to see what {} costs at the door.", label))
        return
    most = max(_MOST_PACKS, int(max((packs for packs, _ in price.breaks), default=1)) + 1)
    frame = price_steps(price, now.job.shop.wage, most)
    frame = frame.assign(price=frame["price"].map(_per_mass))
    st.markdown(marked("### What a {} of {} costs by packs bought at once", _MASSES[_mass()], label))
    draw(
        steps_chart(frame, now.job.currency, _mass()),
        key="steps",
        alt=f"Landed price of {label} for 1 to {most} packs",
    )
    first, last = (money(frame["price"].iloc[place], now.job.currency) for place in (0, -1))
    st.markdown(plain(f"One pack at a time: {first} a {_MASSES[_mass()]}; {most} packs at once: {last}."))


show()
