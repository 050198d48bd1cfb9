"""The type the property formulas work on: a float, or a NumPy array of any shape that broadcasts."""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Values: TypeAlias = float | NDArray[np.float64]
"""A figure or an array of figures."""

TINY: Final = 1e-200
"""Keeps 0/0 out of ratios of amounts; far below any amount a batch holds."""
