"""What the caster states: vessel, candle, shop, prices and limits, as frozen records with visible defaults.

Every default is a starting value a caster replaces, "common practice, no source" unless a source is
named. Units are those of `optimizer.nomenclature`; lengths are mm, volumes mL, times min unless named.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass

__all__ = [
    "DAMP_CLASSES",
    "EXPOSURES",
    "HEAT_WITHOUT_BURN",
    "MOLD_VIEWS",
    "Bounds",
    "Candle",
    "Limit",
    "Price",
    "Shop",
    "Vessel",
    "ring_volume",
]

EXPOSURES = ("continuous", "repeated burns", "single hour")
"""How the vessel meets heat."""

DAMP_CLASSES = ("low", "medium", "high")
"""Late-ettringite classes, from best to worst."""

HEAT_WITHOUT_BURN = ("open", "judge")
"""What limits on heat in use are without a burn test: left open, or judged by the estimate."""

MOLD_VIEWS = ("wear", "order")
"""How molds are charged: by the wear of each casting, or those one order needs to that order."""


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

    cavity_volume: float
    outer_diameter: float = 85.0
    height: float = 95.0
    wall: float = 8.0
    base: float = 8.0

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

    wicks: int = 1
    burn_rate: float = 4.5
    exposure: str = "repeated burns"
    heat_of_combustion: float = 43.0
    measured_outer: float | None = None
    reading_error: float = 2.0
    room: float = 21.0


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

    temperature: float = 21.0
    humidity: float = 0.5
    water_temperature: float | None = None
    mixing: float = 5.0
    demold_floor: float = 0.0
    damp_cure: float = 1440.0
    damp_service: bool = False
    wage: float = 20.0
    shift: float = 420.0
    prep: float = 10.0
    overnight: bool = False
    molds: int = 6
    mold_price: float = 28.0
    mold_life: float = 80.0
    mold_view: str = "wear"
    order_vessels: float = 300.0
    order_days: float = 12.0
    mold_thickness: float = 10.0
    mold_mass: float = 600.0
    reject: float = 0.08
    finish_reject: float = 0.0
    waste: float = 0.08
    weigh_step: float = 1.0
    dose_step: float = 0.1
    powder_error: float = 0.005
    water_error: float = 0.01
    temperature_error: float = 1.5
    air_error: float = 0.005
    cast_minutes: float = 8.0
    seal_minutes: float = 2.5
    pack_minutes: float = 4.0
    trial_minutes: float = 45.0
    coat_cost: float = 0.12
    target_absorption: float = 0.03
    coat_factor: float = 0.45
    max_coats: int = 6
    shelf_cost: float = 0.01
    shelf_places: int = 120
    packing_cost: float = 0.60
    shipping_bands: tuple[tuple[float, float], ...] = ()
    shipped_extras: float = 320.0
    water_price: float = 0.004
    fees: float = 0.0
    profit: float = 0.0
    people: float = 1.0
    pour_minutes: float = 1.0
    molds_per_mix: int = 6
    mixes_per_day: int = 24
    seal_days: int = 1
    test_burn_days: int = 2
    pack_days: int = 1
    working_days: tuple[int, ...] = (0, 1, 2, 3, 4)
    holidays: tuple[datetime.date, ...] = ()


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

    pack: float
    price: float
    tax: float = 0.0
    freight: float = 0.0
    freight_per_kg: float = 0.0
    packs_per_order: float = 1.0
    trip_distance: float = 0.0
    trip_rate: float = 0.0
    trip_hours: float = 0.0
    breaks: tuple[tuple[float, float], ...] = ()
    lost: float = 0.0
    stock: float | None = None
    shelf_life: float | None = None
    supplier: str = ""
    free_freight_from: float | None = None


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

    least: float = 0.0
    most: float = 1.0


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
