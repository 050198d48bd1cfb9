"""A job: everything a caster states, as one frozen record, read from a TOML file by `optimizer.jobfile`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from optimizer.job_inputs import HEAT_WITHOUT_BURN, Bounds, Candle, Limit, Price, Shop, Vessel
from optimizer.key_kinds import Choice, Flag, Number, Text


@dataclass(frozen=True)
class Job:
    """One question to the optimizer.

    Attributes
    ----------
    title : str
        Name of the job.
    currency : str
        Its one currency, as three capital letters.
    materials : tuple[str, ...]
        Names of the dry materials that may be used, in catalogue spelling.
    vessel, candle, shop : Vessel, Candle | None, Shop
        What is cast, what burns in it, and where.
    limits : tuple[Limit, ...]
        The bounds to meet.
    prices : Mapping[str, Price]
        Price by material; a material without a price may be used only in `check`.
    bounds : Mapping[str, Bounds]
        Share of the dry powder by material.
    shelf : Mapping[str, float]
        Most mass in one filled cavity, before waste, of what must come from the shelf, by material [kg].
    at_most_materials : int | None
        Most powders in the blend [count]; water and admixtures do not count, pigments do.
    confidence : float
        Chance with which all limits are to hold together [fraction].
    heat_without_burn : str
        One of `HEAT_WITHOUT_BURN`: whether limits on heat in use are judged by an estimate.
    objective : str
        Property to make best.
    maximize : bool
        True when the objective is to be made large.
    example_prices : bool
        True when the prices are invented examples.
    in_hand : str
        Blend that was selected on the page, as name=parts, water ratio after @; commands leave it alone.
    calibration : str
        File of the fit to predict with, relative to the job file, ``demo`` for that of the demo's invented
        casts, or ``none`` for the shipped figures.
    stated : frozenset[str]
        Dotted keys the caster wrote (``shop.wage``); every other value is a default. Two jobs that
        ask the same are equal whoever stated the values.
    """

    title: Annotated[str, Text()]
    currency: str
    materials: tuple[str, ...]
    vessel: Vessel
    shop: Shop = field(default_factory=Shop)
    candle: Candle | None = None
    limits: tuple[Limit, ...] = ()
    prices: Mapping[str, Price] = field(default_factory=dict)
    bounds: Mapping[str, Bounds] = field(default_factory=dict)
    shelf: Mapping[str, float] = field(default_factory=dict)
    at_most_materials: Annotated[int | None, Number("count", least=1, most=100)] = None
    confidence: Annotated[float, Number("fraction", least=0.5, most=0.999)] = 0.8
    heat_without_burn: Annotated[str, Choice(HEAT_WITHOUT_BURN)] = "open"
    objective: str = "cost"
    maximize: bool = False
    example_prices: Annotated[bool, Flag()] = False
    in_hand: Annotated[str, Text(2000)] = field(default="", compare=False)
    calibration: Annotated[str, Text(1000)] = field(default="", compare=False)
    stated: frozenset[str] = field(default=frozenset(), compare=False)
