"""Whose the figures of a job are: which of those that money rests on are still the demo's invented ones."""

from __future__ import annotations

from typing import Final

from ui.answers import DEMO
from ui.draft import field_value, tables_of, whose
from ui.page_words import MARKS
from ui.state import Session, base_tables

__all__ = ["examples_words", "invented"]

_MONEY: Final = ("shop.wage", "shop.mold_price")


def invented(now: Session) -> list[str]:
    """Return the dotted keys of figures of money that are still invented examples."""
    base, demo, asked = base_tables(), tables_of(DEMO), tables_of(now.asked.text)
    keys = (*(f"prices.{name}.price" for name in now.job.materials), *_MONEY)
    shown = {key: field_value(asked, key) for key in keys}
    return [key for key, value in shown.items() if value and whose(base, demo, key, value) == "example"]


def examples_words(now: Session) -> str:
    """Return how many figures of money are still invented, and where they are replaced."""
    count = len(invented(now))
    if not count:
        return f"{MARKS['yours']} all prices and wages are yours"
    return f"{MARKS['example']} {count} invented example prices and wages: replace with yours"
