"""Whiteness from a phone photo: the dry face beside a white card of known reflectance, in even light."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from optimizer.errors import QuantityError
from optimizer.properties.color import lightness
from optimizer.trials.measured import Measured
from optimizer.trials.photo_patches import Box, cut_patches

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_LUMINANCE: Final = (0.2126, 0.7152, 0.0722)
"""Share of red, green and blue in luminance; IEC 61966-2-1 (ITU-R BT.709 primaries)."""

_PHONE: Final = 0.02
"""Spread left by the tone curve of phones, made to please rather than to measure [fraction]; judgement."""

_UNEVEN: Final = 0.03
_CLIPPED: Final = 0.005
_ENDS: Final = (2.5, 252.5)


def linear_light(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the light behind sRGB code values.

    Parameters
    ----------
    codes : NDArray
        Code values over the largest one [fraction].

    Returns
    -------
    NDArray
        Linear light [fraction].

    References
    ----------
    IEC 61966-2-1:1999 (from memory): ``C / 12.92`` up to 0.04045, else ``((C + 0.055) / 1.055)^2.4``.

    Examples
    --------
    >>> import numpy as np
    >>> round(float(linear_light(np.array(0.5))), 4)
    0.214
    """
    import numpy as np

    return np.where(codes <= 0.04045, codes / 12.92, ((np.maximum(codes, 0.0) + 0.055) / 1.055) ** 2.4)


def whiteness_from_photo(
    path: Path, sample: Box, cards: Sequence[Box], card_reflectance: float = 0.86, card_error: float = 0.02
) -> Measured:
    """Return the whiteness L* of the face in a photo that also shows a white card.

    Parameters
    ----------
    path : Path
        JPEG, PNG or TIFF file.
    cards : Sequence[Box]
        The white card: one box, or better one on either side of the face.
    card_reflectance, card_error : float
        Luminance of the card and its standard error, 1 for a perfect white [fraction]. Plain white office
        paper is about 0.86 (common practice, no source).

    Raises
    ------
    QuantityError
        When the file is no photo, a box does not fit, or the card's reflectance is not between 0.2 and 1.

    Notes
    -----
    Code values become linear light; face over card, channel by channel, takes exposure and the tint of the
    light away; the card's reflectance turns the ratio into luminance Y; ``L* = 116 Y^(1/3) - 16``. The
    spread holds the card, the unevenness of the light over card and face, and 2 % for the phone.
    """
    (face, *whites), notes = cut_patches(path, (sample, *cards))
    found = _whiteness(face, whites, card_reflectance, card_error)
    return Measured(found.value, found.spread, found.unit, found.method, (*found.warnings, *notes))


def _whiteness(
    face_codes: NDArray[np.number],
    white_codes: Sequence[NDArray[np.number]],
    card_reflectance: float,
    card_error: float,
) -> Measured:
    """Return the whiteness of one patch beside others of known reflectance, each by its own code values."""
    if not 0.2 <= card_reflectance <= 1.0:
        allowed = "a reflectance from 0.2 to 1"
        raise QuantityError(f"{card_reflectance:g}", allowed, "Use a white card and its reflectance.")
    if not white_codes:
        raise QuantityError(
            "no card", "one box or more on a white card", "Photograph a white card beside the face."
        )
    face, whites = _patch(face_codes), [_patch(codes) for codes in white_codes]
    y = card_reflectance * sum(
        weight * face.light[channel] / _mean([white.light[channel] for white in whites])
        for channel, weight in enumerate(_LUMINANCE)
    )
    uneven = max(face.uneven, *(white.uneven for white in whites), _apart([white.level for white in whites]))
    share = math.hypot(card_error / card_reflectance, uneven / math.sqrt(12.0), _PHONE)
    low, value, high = (float(lightness(y * factor)) for factor in (1.0 - share, 1.0, 1.0 + share))
    warnings = _warnings(face, whites, uneven, value)
    return Measured(min(value, 100.0), (high - low) / 2.0, "-", "photo with white card", tuple(warnings))


@dataclass(frozen=True)
class _Patch:
    """Mean linear light by channel, its luminance, how uneven it is, and the share of clipped pixels."""

    light: tuple[float, float, float]
    level: float
    uneven: float
    burned: float
    drowned: float


def _patch(codes: NDArray[np.number]) -> _Patch:
    import numpy as np

    light = linear_light(np.asarray(codes, dtype=float) / 255.0)
    red, green, blue = (max(float(light[..., channel].mean()), 1e-6) for channel in range(3))
    luma = light @ _LUMINANCE
    rows, columns = luma.shape[0] // 2, luma.shape[1] // 2
    quarters = [
        float(part.mean())
        for part in (
            luma[:rows, :columns],
            luma[:rows, columns:],
            luma[rows:, :columns],
            luma[rows:, columns:],
        )
    ]
    return _Patch(
        light=(red, green, blue),
        level=float(luma.mean()),
        uneven=_apart(quarters),
        burned=float((codes > _ENDS[1]).any(axis=-1).mean()),
        drowned=float((codes < _ENDS[0]).any(axis=-1).mean()),
    )


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _apart(values: Sequence[float]) -> float:
    """Return the range of values over their mean [fraction]."""
    return (max(values) - min(values)) / max(_mean(values), 1e-9)


def _warnings(face: _Patch, whites: Sequence[_Patch], uneven: float, value: float) -> list[str]:
    patches = (face, *whites)
    warnings = []
    if any(patch.burned > _CLIPPED for patch in patches):
        warnings.append("Part of the card or face is burned out: photograph it again with less exposure.")
    if any(patch.drowned > _CLIPPED for patch in patches) or max(white.level for white in whites) < 0.15:
        warnings.append("The photo is too dark: photograph it again in brighter light.")
    if uneven > _UNEVEN:
        warnings.append("The light is uneven: turn away from the window until card and face are lit alike.")
    if value > 100.0:
        warnings.append(
            "The face seems whiter than any white: card and face are lit differently, or the card is dull."
        )
    return warnings
