"""What is asked of an order plan: the order itself, and the blends that could make it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from optimizer.job_inputs import Price, Shop


@dataclass(frozen=True)
class Times:
    """What a blend takes in one draw of what is not known of it; as the fields of `Candidate`.

    Attributes
    ----------
    demold_time, drying_time, working_window, coats : float
        From powder meeting water to leaving the mold [min], drying [d], time to pour [min], coats of
        sealer [count]; infinite for never.
    """

    demold_time: float
    drying_time: float
    working_window: float
    coats: float


@dataclass(frozen=True)
class Candidate:
    """One blend as an order sees it.

    Attributes
    ----------
    name : str
        Name shown in the ranking.
    powders : Mapping[str, float]
        Powder in one filled cavity, before waste, by material [kg].
    demold_time : float
        From powder meeting water to leaving the mold [min].
    drying_time : float
        From demolding to constant mass [d].
    working_window : float
        From powder meeting water to the end of pouring [min].
    coats : float
        Coats of sealer [count].
    dry_mass : float
        One empty vessel at constant mass [g].
    admixtures : Mapping[str, float]
        Pigments and admixtures in one filled cavity, before waste, by material [kg].
    water : float
        Water in one filled cavity, before waste [kg].
    drawn : tuple[Times, ...]
        What the times and coats may be, equally likely; empty where they are known.
    never_cast : bool
        True for a blend of which one is to be cast and burned before the order.
    chance : float | None
        Chance that the blend holds all limits of the job [-]; None where nobody asked.
    sure : bool
        Whether that chance is the one asked for.
    beyond_best_values : Mapping[str, float]
        Money in one good vessel by part, on average over what is not known, less that at best values
        [currency].
    """

    name: str
    powders: Mapping[str, float]
    demold_time: float
    drying_time: float
    working_window: float
    coats: float
    dry_mass: float
    admixtures: Mapping[str, float] = field(default_factory=dict)
    water: float = 0.0
    drawn: tuple[Times, ...] = ()
    never_cast: bool = False
    chance: float | None = None
    sure: bool = True
    beyond_best_values: Mapping[str, float] = field(default_factory=dict)

    @property
    def materials(self) -> Mapping[str, float]:
        """Everything bought that goes into one filled cavity, by material [kg]."""
        return {**self.powders, **self.admixtures}

    def taking(self, times: Times) -> Candidate:
        """Return the blend as it is where it takes `times`."""
        return replace(self, **vars(times))


@dataclass(frozen=True)
class OrderRequest:
    """So many good vessels by a date, from one studio.

    Attributes
    ----------
    vessels : int
        Good vessels ordered [count].
    start : datetime.date
        First day on which casting may begin.
    due : datetime.date
        Last day on which the packed vessels may leave.
    shop : Shop
        Molds owned, people, hours, calendar and money rules.
    prices : Mapping[str, Price]
        Price and stock by material.
    may_buy_molds : bool
        False when the order must be made with the molds owned.
    """

    vessels: int
    start: datetime.date
    due: datetime.date
    shop: Shop
    prices: Mapping[str, Price] = field(default_factory=dict)
    may_buy_molds: bool = True
