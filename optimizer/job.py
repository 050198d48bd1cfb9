"""A job, all that a caster states: vessel, candle, shop, prices and limits, as frozen records with defaults.

Every default is a starting value a caster replaces, "common practice, no source" unless a source is
named. Units are those of `optimizer.nomenclature`; lengths are mm, volumes mL, times min unless named. Each
field of a job file's table is annotated with its kind: unit, range and, where it differs, its key.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final, TypeAlias

from optimizer.key_kinds import MOST_MONEY, Choice, Dates, Flag, Number, Pairs, Text, Words

EXPOSURES = ("continuous", "repeated burns", "single hour")
"""How the vessel meets heat."""

DAMP_CLASSES = ("low", "medium", "high")
"""Late-ettringite classes, from best to worst."""

HEAT_WITHOUT_BURN = ("open", "judge")
"""What limits on heat in use are without a burn test: left open, or judged by the estimate."""

MOLD_VIEWS = ("wear", "order")
"""How molds are charged: by the wear of each casting, or those one order needs to that order."""

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
"""Words of a week's days, Monday first."""


def _above(unit: str, most: float, name: str = "") -> Number:
    return Number(unit, most=most, open_least=True, name=name)


def _count(least: int, most: int, name: str = "") -> Number:
    return Number("count", least=least, most=most, name=name)


def _money(name: str = "", unit: str = "currency") -> Number:
    return Number(unit, most=MOST_MONEY, name=name)


_UP_TO: Final = _above("g", 1e6, "up_to")
_PACKS: Final = _count(1, 1_000_000, "packs")

Minutes: TypeAlias = Annotated[float, Number("min", most=1440.0)]
Money: TypeAlias = Annotated[float, _money()]
Share: TypeAlias = Annotated[float, Number("fraction", most=1.0)]
Loss: TypeAlias = Annotated[float, Number("fraction", most=1.0, open_most=True)]


@dataclass(frozen=True)
class Vessel:
    """Geometry of one vessel.

    Attributes
    ----------
    cavity_volume : float
        Volume of slurry that fills one mold [mL].
    outer_diameter, height, wall, base : float
        Outer diameter, outer height, wall and base thickness [mm].
    """

    cavity_volume: Annotated[float, _above("mL", 20_000.0)]
    outer_diameter: Annotated[float, _above("mm", 1000.0)] = 85.0
    height: Annotated[float, _above("mm", 1000.0)] = 95.0
    wall: Annotated[float, _above("mm", 200.0)] = 8.0
    base: Annotated[float, _above("mm", 200.0)] = 8.0

    @property
    def outer_area(self) -> float:
        """Outer side area that loses heat [m2]."""
        return math.pi * self.outer_diameter * self.height * 1e-6

    def wider(self, change: float) -> float:
        """Return what a change of length [mm/m] adds to the outer diameter [mm]."""
        return 1e-3 * change * self.outer_diameter

    @property
    def sealed_area(self) -> float:
        """Inner side and floor, the face a sealer goes on [m2]."""
        inner = self.outer_diameter - 2.0 * self.wall
        return (math.pi * inner * (self.height - self.base) + math.pi * inner**2 / 4.0) * 1e-6


def ring_volume(outer_diameter: float, height: float, wall: float, base: float) -> float:
    """Return the volume [mL] of a straight round vessel from its outer measures [mm].

    Examples
    --------
    >>> round(ring_volume(85.0, 95.0, 8.0, 8.0), 1)
    213.8
    """
    inner = outer_diameter - 2.0 * wall
    return math.pi / 4.0 * (outer_diameter**2 * height - inner**2 * (height - base)) * 1e-3


@dataclass(frozen=True)
class Candle:
    """The candle burned in the vessel.

    Attributes
    ----------
    wicks : int
        Number of wicks [count].
    burn_rate : float
        Wax burned by one wick [g/h].
    exposure : str
        One of `EXPOSURES`.
    heat_of_combustion : float
        Net heat of the wax [kJ/g]; paraffin 43, vegetable 37 (from memory).
    measured_outer : float | None
        Outer wall in the caster's own burn test [degC]; replaces the estimate.
    reading_error : float
        How far that reading may be off, in nine cases of ten [K]; 2 for a probe held to the wall, assumption.
    room : float
        Room temperature during the burn [degC].
    """

    wicks: Annotated[int, _count(1, 50)] = 1
    burn_rate: Annotated[float, _above("g/h", 200.0)] = 4.5
    exposure: Annotated[str, Choice(EXPOSURES)] = "repeated burns"
    heat_of_combustion: Annotated[float, _above("kJ/g", 60.0)] = 43.0
    measured_outer: Annotated[float | None, Number("degC", least=-20.0, most=400.0)] = None
    reading_error: Annotated[float, Number("K", most=30.0)] = 2.0
    room: Annotated[float, Number("degC", least=-20.0, most=60.0)] = 21.0


@dataclass(frozen=True)
class Shop:
    """The room, the people, the molds and the money rules of one studio.

    Attributes
    ----------
    temperature, humidity : float
        Room [degC] and relative humidity [fraction].
    water_temperature : float | None
        Mixing water [degC]; None: as warm as the room.
    mixing : float
        Minutes of mixing and soaking before the first pour [min].
    demold_floor : float
        The shop never demolds before this age [min].
    damp_cure : float
        How long a casting is kept damp before it dries [min].
    damp_service : bool
        True when the finished vessel will stand in damp.
    wage : float
        Cost of one hour of work [currency/h].
    shift, prep : float
        Working minutes of a day, and minutes to clean and fill a mold for one turn [min].
    overnight : bool
        True when molds may be filled at the end of the shift and emptied in the morning.
    molds : int
        Molds owned [count].
    mold_price, mold_life : float
        Price of one mold [currency] and castings it lasts [count].
    mold_view : str
        One of `MOLD_VIEWS`: ``wear`` charges each casting its share of the mold's life; ``order`` charges
        the molds that a day's work needs to one order of `order_vessels`.
    order_vessels, order_days : float
        Size of the order [count] and casting days [d] that the ``order`` view spreads molds over.
    mold_thickness, mold_mass : float
        Silicone wall [mm] and mass of one mold [g].
    reject, finish_reject : float
        Share of castings lost at demolding, and of those left lost after sealing [fraction of castings].
    waste : float
        Slurry mixed in excess of what the molds hold [fraction of the filled mass].
    weigh_step, dose_step : float
        What the scale resolves for powders and water, and for pigments and admixtures [g].
    powder_error, water_error : float
        Standard deviation of a weighed amount of powder and of water [fraction of the amount], beside
        what the scale resolves.
    temperature_error : float
        Standard deviation of room, powders and water from casting to casting [K].
    air_error : float
        Standard deviation of the air mixed in, from batch to batch [fraction of the slurry's volume].
    cast_minutes, seal_minutes, pack_minutes : float
        Hands-on minutes per casting, per coat of sealer, and per packed vessel [min].
    trial_minutes : float
        Hands-on minutes of a trial: weighing, casting, its readings and its test burn [min].
    coat_cost : float
        Sealer used by one coat on one vessel [currency].
    target_absorption, coat_factor, max_coats : float
        Absorption the sealer is to reach [fraction], what one coat leaves of it [fraction], most coats
        allowed [count].
    shelf_cost, shelf_places : float
        Cost of one vessel on the drying rack for a day [currency/d], and places on it, each taken from the
        day of casting until the vessel's seal has cured [count].
    packing_cost : float
        Box and filling of one vessel [currency].
    shipping_bands : tuple[tuple[float, float], ...]
        (mass up to [g], cost [currency]) of one shipped vessel, ascending; empty: shipping not counted.
    shipped_extras : float
        Mass shipped beside the empty vessel: wax, lid, box [g].
    water_price : float
        Price of water [currency/kg].
    fees, profit : float
        Marketplace fees and wanted profit, each a fraction of the selling price.
    people : float
        People at work; the minutes of casting, sealing and packing share their shifts [-].
    pour_minutes : float
        Minutes to pour one mold from a mix [min].
    molds_per_mix, mixes_per_day : int
        Molds the bucket fills, and mixes made in a day at most [count].
    seal_days, test_burn_days, pack_days : int
        Days from the first coat to a cured seal [calendar d]; days of test burns, for a flame is watched,
        and days the last boxes take [working d].
    working_days : tuple[int, ...]
        Days of the week with work, Monday 0 to Sunday 6.
    holidays : tuple[datetime.date, ...]
        Days without work.
    """

    temperature: Annotated[float, Number("degC", most=60.0)] = 21.0
    humidity: Share = 0.5
    water_temperature: Annotated[float | None, Number("degC", least=1.0, most=60.0)] = None
    mixing: Minutes = 5.0
    demold_floor: Annotated[float, Number("min", most=43_200.0)] = 0.0
    damp_cure: Annotated[float, Number("min", most=129_600.0)] = 1440.0
    damp_service: Annotated[bool, Flag()] = False
    wage: Annotated[float, _money(unit="currency/h")] = 20.0
    shift: Annotated[float, _above("min", 1440.0)] = 420.0
    prep: Minutes = 10.0
    overnight: Annotated[bool, Flag()] = False
    molds: Annotated[int, _count(0, 100_000)] = 6
    mold_price: Money = 28.0
    mold_life: Annotated[float, _count(1, 1_000_000)] = 80.0
    mold_view: Annotated[str, Choice(MOLD_VIEWS)] = "wear"
    order_vessels: Annotated[float, _count(1, 10_000_000)] = 300.0
    order_days: Annotated[float, _above("d", 3650.0)] = 12.0
    mold_thickness: Annotated[float, Number("mm", most=200.0)] = 10.0
    mold_mass: Annotated[float, Number("g", most=100_000.0)] = 600.0
    reject: Loss = 0.08
    finish_reject: Loss = 0.0
    waste: Share = 0.08
    weigh_step: Annotated[float, _above("g", 1000.0)] = 1.0
    dose_step: Annotated[float, _above("g", 1000.0)] = 0.1
    powder_error: Annotated[float, Number("fraction", most=0.2)] = 0.005
    water_error: Annotated[float, Number("fraction", most=0.2)] = 0.01
    temperature_error: Annotated[float, Number("K", most=10.0)] = 1.5
    air_error: Annotated[float, Number("fraction", most=0.05)] = 0.005
    cast_minutes: Minutes = 8.0
    seal_minutes: Minutes = 2.5
    pack_minutes: Minutes = 4.0
    trial_minutes: Minutes = 45.0
    coat_cost: Money = 0.12
    target_absorption: Annotated[float, Number("fraction", most=1.0, open_least=True)] = 0.03
    coat_factor: Annotated[float, Number("fraction", most=1.0, open_least=True, open_most=True)] = 0.45
    max_coats: Annotated[int, _count(0, 50)] = 6
    shelf_cost: Annotated[float, _money(unit="currency/d")] = 0.01
    shelf_places: Annotated[int, _count(1, 1_000_000)] = 120
    packing_cost: Money = 0.60
    shipping_bands: Annotated[tuple[tuple[float, float], ...], Pairs((_UP_TO, _money("cost")))] = ()
    shipped_extras: Annotated[float, Number("g", most=100_000.0)] = 320.0
    water_price: Annotated[float, _money(unit="currency/kg")] = 0.004
    fees: Loss = 0.0
    profit: Loss = 0.0
    people: Annotated[float, _above("-", 10_000.0)] = 1.0
    pour_minutes: Minutes = 1.0
    molds_per_mix: Annotated[int, _count(1, 100_000)] = 6
    mixes_per_day: Annotated[int, _count(1, 100_000)] = 24
    seal_days: Annotated[int, Number("d", most=3650.0, whole=True)] = 1
    test_burn_days: Annotated[int, Number("d", most=3650.0, whole=True)] = 2
    pack_days: Annotated[int, Number("d", most=3650.0, whole=True)] = 1
    working_days: Annotated[tuple[int, ...], Words(WEEKDAYS)] = (0, 1, 2, 3, 4)
    holidays: Annotated[tuple[datetime.date, ...], Dates()] = ()


@dataclass(frozen=True)
class Price:
    """What one pack of a material costs at the door.

    Attributes
    ----------
    pack : float
        Mass of one pack [kg].
    price : float
        Price of one pack before tax [currency].
    tax : float
        Tax on the price [fraction of the price before tax].
    freight : float
        Delivery of one order [currency].
    freight_per_kg : float
        Delivery by mass [currency/kg].
    packs_per_order : float
        Packs the freight of one order is spread over [count].
    trip_distance, trip_rate, trip_hours : float
        A trip to fetch it: both ways [km], cost of driving [currency/km], time at the shop's wage [h].
    breaks : tuple[tuple[float, float], ...]
        (packs from, price of one pack), ascending in packs.
    lost : float
        Powder lost to damp, spills and the rest in the bag [fraction of the bought mass].
    stock : float | None
        Usable mass on the shelf [kg]; None: not stated.
    shelf_life : float | None
        Days a pack stays usable [d]; None: as long as it takes.
    supplier : str
        Seller's name; materials of one seller come in one delivery. Empty: a delivery of its own.
    free_freight_from : float | None
        Goods before tax in one delivery from which `freight` falls away [currency]; None: never.
    """

    pack: Annotated[float, _above("kg", 5000.0)]
    price: Money
    tax: Share = 0.0
    freight: Money = 0.0
    freight_per_kg: Annotated[float, _money(unit="currency/kg")] = 0.0
    packs_per_order: Annotated[float, _count(1, 100_000)] = 1.0
    trip_distance: Annotated[float, Number("km", most=20_000.0)] = 0.0
    trip_rate: Annotated[float, _money(unit="currency/km")] = 0.0
    trip_hours: Annotated[float, Number("h", most=240.0)] = 0.0
    breaks: Annotated[tuple[tuple[float, float], ...], Pairs((_PACKS, _money("price")), falling=True)] = ()
    lost: Loss = 0.0
    stock: Annotated[float | None, Number("kg", most=1e6)] = None
    shelf_life: Annotated[float | None, _above("d", 36_500.0)] = None
    supplier: Annotated[str, Text(100)] = ""
    free_freight_from: Annotated[float | None, _money()] = None


@dataclass(frozen=True)
class Bounds:
    """Share of the dry powder that a material may take.

    Attributes
    ----------
    least : float
        Least share of the dry powder, where the material is used at all [fraction].
    most : float
        Largest share of the dry powder [fraction].
    """

    least: Annotated[float, Number("fraction", most=1.0, name="min")] = 0.0
    most: Annotated[float, Number("fraction", most=1.0, name="max")] = 1.0


@dataclass(frozen=True)
class Limit:
    """A one-sided bound on a property.

    Attributes
    ----------
    property : str
        Name in `optimizer.nomenclature`.
    sense : str
        ``<=`` or ``>=``.
    bound : float
        Bound in the property's unit; for `damp_risk` the index in `DAMP_CLASSES`.
    """

    property: str
    sense: str
    bound: float

    def margin(self, value: float) -> float:
        """Return the distance of `value` to the bound, positive when the limit is met [its unit].

        Examples
        --------
        >>> Limit("dry_mass", "<=", 365.0).margin(350.0)
        15.0
        """
        return self.bound - value if self.sense == "<=" else value - self.bound


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
