"""Orders and prices as the page asks for them, kept for as long as the page is served."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Final

import pandas as pd
import streamlit as st

from optimizer.job import Price, Shop
from optimizer.money.landed_cost import Landed, landed_price
from optimizer.money.lateness_options import Remedy, with_remedy
from optimizer.money.order import plan_order
from optimizer.money.request import Candidate, OrderRequest
from optimizer.money.vessel_cost import OrderLine, Switch, break_even, order_money
from optimizer.studies.check import from_stock
from optimizer.studies.order_blends import OrderAnswer, plan_blends, shop_request
from ui.answers import checked
from ui.jobs import DESIGNED
from ui.question import Question, catalogue

CURVE_POINTS: Final = 120
"""Sizes of an order at which a curve is drawn, about."""


@st.cache_data(max_entries=32, show_spinner=False)
def planned(
    asked: Question,
    blend: str,
    vessels: int,
    start: dt.date,
    due: dt.date,
    *,
    may_buy: bool,
    shelf_only: bool,
    trial: bool = True,
) -> OrderAnswer:
    """Return the plans of an order for the blends worth looking at, the picked one among them.

    With `shelf_only` only what stands on the shelf is poured, and a picked blend stays out.

    Raises
    ------
    FileFaults
        All faults of the order.
    """
    job = from_stock(asked.job, vessels) if shelf_only else asked.job
    request = replace(shop_request(job, vessels, start, due, None), may_buy_molds=may_buy)
    picked = checked(asked, blend) if blend != DESIGNED and not shelf_only else None
    return plan_blends(job, catalogue(), request, asked.parameters(), selected=picked, trial=trial)


@st.cache_data(max_entries=128, show_spinner=False)
def remedy_cost(request: OrderRequest, candidate: Candidate, cost: float, remedy: Remedy) -> float:
    """Return what a remedy adds to the cost of the whole order, planned anew with it [currency].

    `cost` is that of a good vessel as the order stands [currency], `request` the order after its trial. Molds
    to buy are in it.
    """
    changed = plan_order(*with_remedy(request, replace(candidate, never_cast=False), remedy))
    return request.vessels * (changed.cost_order.per_good_vessel - cost)


@st.cache_data(max_entries=32, show_spinner=False)
def order_curve(
    first: OrderLine, second: OrderLine, shop: Shop, most: int
) -> tuple[pd.DataFrame, tuple[Switch, ...]]:
    """Return the cost of one vessel by order size for two blends, and where they change places."""
    step = max(1, most // CURVE_POINTS)
    rows = [
        {"vessels": size, "cost": order_money(line, size, shop) / size, "blend": line.name}
        for line in (first, second)
        for size in range(step, most + 1, step)
    ]
    return pd.DataFrame(rows), break_even(first, second, shop, most)


@st.cache_data(max_entries=64, show_spinner=False)
def price_steps(price: Price, wage: float, most: int) -> pd.DataFrame:
    """Return the landed price of a usable kilogram by the packs bought at once."""
    rows = [
        {"packs": packs, "price": landed_price(price, wage, packs).per_usable_kg}
        for packs in range(1, most + 1)
    ]
    return pd.DataFrame(rows)


@st.cache_data(max_entries=256, show_spinner=False)
def landed(price: Price, wage: float) -> Landed:
    """Return the landed price of a powder at the packs it is usually bought in."""
    return landed_price(price, wage)
