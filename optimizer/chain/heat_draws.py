"""How unsure the heat in use is: conductivity, the flame's share and the limit of the phases are drawn.

Which of the two idealizations of the wall is the hotter may change within the range: the wall is then at
least as hot as the one says and has the long tail of the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.draws import COUNT, drawn_sums
from optimizer.properties.heat_limits import heat_margin
from optimizer.properties.service_heat import wall_temperatures

if TYPE_CHECKING:
    from optimizer.chain.predict import Cast
    from optimizer.chain.spreads import Around

__all__ = ["heat_draws"]

Array = NDArray[np.float64]


def heat_draws(around: Around) -> Mapping[str, Array]:
    """Return draws of both wall temperatures [degC] and the heat margin [K], nan without a candle."""
    wall = around.center.bench.wall
    if wall is None:
        outer = inner = limit = np.full(COUNT, np.nan)
    else:
        conductivity, share, limit = drawn_sums(around, _sums).T
        outer, inner = map(np.asarray, wall_temperatures(wall, np.exp(conductivity), np.exp(share)))
    return {
        "outer_wall_temperature": outer,
        "inner_wall_temperature": inner,
        "heat_margin": np.asarray(heat_margin(limit, outer, inner)),
    }


def _sums(cast: Cast) -> Array:
    """Return logs of conductivity and of the flame's share, and the limit of the phases, per mix."""
    parts = (np.log(cast.conductivity), np.log(cast.model["flame_share"]), cast.heat_limit)
    return np.stack(np.broadcast_arrays(*parts), axis=-1)
