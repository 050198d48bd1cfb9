"""Small orders that tests share; every figure is invented."""

from __future__ import annotations

import datetime
from typing import Any

from optimizer.job import Price, Shop
from optimizer.money.request import Candidate, OrderRequest

MONDAY = datetime.date(2026, 12, 7)
PRICES = {"gypsum_cement": Price(pack=25.0, price=40.0), "mortar": Price(pack=20.0, price=30.0)}


def day(number: int) -> datetime.date:
    """Return the day `number` days after the Monday on which every order starts."""
    return MONDAY + datetime.timedelta(days=number)


def candidate(**changes: Any) -> Candidate:
    """Return a blend of 300 g that dries at once, takes no sealer and leaves its mold five times a day."""
    plain: dict[str, Any] = {
        "name": "plain",
        "powders": {"gypsum_cement": 0.3},
        "demold_time": 65.0,
        "drying_time": 0.0,
        "working_window": 20.0,
        "coats": 0,
        "dry_mass": 350.0,
    }
    return Candidate(**(plain | changes))


def shop(**changes: Any) -> Shop:
    """Return a shop in which nothing but molds and casting labor can hold an order back."""
    plain: dict[str, Any] = {
        "reject": 0.0,
        "waste": 0.0,
        "pack_minutes": 0.0,
        "test_burn_days": 0,
        "shelf_places": 100_000,
        "mixes_per_day": 1000,
    }
    return Shop(**(plain | changes))


def order(vessels: int, due: datetime.date, **changes: Any) -> OrderRequest:
    """Return an order that starts on the Monday; `changes` go to the shop."""
    may_buy = changes.pop("may_buy_molds", True)
    prices = changes.pop("prices", PRICES)
    return OrderRequest(vessels, MONDAY, due, shop(**changes), prices, may_buy)
