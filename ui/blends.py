"""A blend as one short text: what the page keeps as the selected blend, and what its address shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from optimizer.errors import QuantityError, VesselblendError
from optimizer.materials import Catalogue
from optimizer.units import parse
from ui.jobs import read_blend

_DIGITS: Final = 12
DESIGNED: Final = ""
"""Stands for the design's own answer."""


def blend_text(blend: Mapping[str, float], water_ratio: float) -> str:
    """Return a blend as text: percent of the dry mass by name, and the water ratio after ``@``.

    Many digits, for a blend on the edge of a limit must still be the same blend when it is read again.

    Examples
    --------
    >>> blend_text({"gypsum_cement": 0.75, "marble_flour": 0.25}, 0.33)
    'gypsum_cement=75,marble_flour=25@0.33'
    """
    parts = ",".join(f"{name}={part}" for name, part in sorted(parts_of(blend, _DIGITS).items()))
    return f"{parts}@{water_ratio:.{_DIGITS}g}"


def parts_of(blend: Mapping[str, float], digits: int = 4) -> dict[str, str]:
    """Return the percent of each material as short text.

    Examples
    --------
    >>> parts_of({"gypsum_cement": 2 / 3, "marble_flour": 1 / 3})
    {'gypsum_cement': '66.67', 'marble_flour': '33.33'}
    """
    return {name: f"{100.0 * share:.{digits}g}" for name, share in blend.items()}


def blend_of(text: str, catalogue: Catalogue) -> tuple[dict[str, float], float | None] | None:
    """Return parts by mass and water ratio of a blend's text; None when it is none.

    Examples
    --------
    >>> from optimizer.specs import load_catalogue
    >>> blend_of("gypsum_cement=75,marble_flour=25@0.33", load_catalogue())
    ({'gypsum_cement': 75.0, 'marble_flour': 25.0}, 0.33)
    >>> blend_of("nonsense", load_catalogue()) is None
    True
    """
    parts, _, water = text.partition("@")
    try:
        blend = read_blend(parts, catalogue, "blend")
        ratio = parse(water, "fraction") if water else None
    except (VesselblendError, QuantityError):
        return None
    return (blend, ratio) if ratio is None or 0.0 < ratio <= 4.0 else None
