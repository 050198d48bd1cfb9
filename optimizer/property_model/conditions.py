"""Where a mix is cast and used: what vessel, shop, room and candle fix before any blend is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.job import Job
from optimizer.job_inputs import Candle, Shop, Vessel
from optimizer.properties.casting_heat import MoldCase, mold_case
from optimizer.properties.drying import DryingRoom, drying_room
from optimizer.properties.service_heat import WallCase, wall_case


@dataclass(frozen=True)
class Conditions:
    """The surroundings of a job.

    Attributes
    ----------
    vessel, shop, candle : Vessel, Shop, Candle | None
        As stated.
    wall : WallCase | None
        The burning candle's facts; None without a candle.
    mold : MoldCase
        Mold that takes the setting heat.
    room : DryingRoom
        Air that dries the castings.
    temperature : float | Array
        Room, powders and water on the day of casting, one for all casts or of shape (draws, 1) [degC].
    """

    vessel: Vessel
    shop: Shop
    candle: Candle | None
    wall: WallCase | None
    mold: MoldCase
    room: DryingRoom
    temperature: float | NDArray[np.float64]

    def at(self, temperature: NDArray[np.float64]) -> Conditions:
        """Return the conditions in a room of other temperatures, shape (draws, 1), 1 to 60 [degC]."""
        return replace(
            self,
            temperature=temperature,
            mold=replace(self.mold, room=temperature),
            room=drying_room(temperature, self.shop.humidity),
        )


def conditions_of(job: Job) -> Conditions:
    """Return the conditions of a job: what vessel, shop and candle fix, and nothing that is uncertain."""
    burned = job.candle
    wall = None if burned is None else wall_case(job.vessel, burned)
    room = drying_room(job.shop.temperature, job.shop.humidity)
    mold = mold_case(job.vessel, job.shop)
    return Conditions(job.vessel, job.shop, job.candle, wall, mold, room, job.shop.temperature)
