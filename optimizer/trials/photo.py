"""Whiteness from a phone photo: the dry face beside a white card of known reflectance, in even light."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from optimizer.errors import QuantityError, short
from optimizer.properties.color import lightness
from optimizer.trials.measured import Measured

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL.Image import Image as Photo

__all__ = ["Box", "linear_light", "whiteness_from_photo", "whiteness_of_pixels"]

_LUMINANCE: Final = (0.2126, 0.7152, 0.0722)
"""Share of red, green and blue in luminance; IEC 61966-2-1 (ITU-R BT.709 primaries)."""

_MOST_PIXELS: Final = 200_000_000
_FEWEST_PIXELS: Final = 100
_PHONE: Final = 0.02
"""Spread left by the tone curve of phones, made to please rather than to measure [fraction]; judgement."""

_UNEVEN: Final = 0.03
_CLIPPED: Final = 0.005
_ENDS: Final = (2.5, 252.5)


@dataclass(frozen=True)
class Box:
    """A rectangle of a photo, in pixels; or in fractions of width and height when no number exceeds 1.

    Attributes
    ----------
    left, top, right, bottom : float
        Edges, counted from the upper left corner [pixels or fraction].
    """

    left: float
    top: float
    right: float
    bottom: float

    def pixels(self, width: int, height: int) -> tuple[int, int, int, int]:
        """Return the edges in whole pixels.

        Parameters
        ----------
        width, height : int
            Size of the photo [pixels].

        Returns
        -------
        tuple[int, int, int, int]
            left, top, right, bottom [pixels].

        Raises
        ------
        QuantityError
            When the box leaves the photo or holds fewer than 100 pixels.

        Examples
        --------
        >>> Box(0.5, 0.0, 1.0, 0.5).pixels(640, 480)
        (320, 0, 640, 240)
        """
        edges = (self.left, self.top, self.right, self.bottom)
        share = max(edges) <= 1.0
        sizes = (width, height, width, height)
        left, top, right, bottom = (
            round(edge * size if share else edge) for edge, size in zip(edges, sizes, strict=True)
        )
        inside = 0 <= left < right <= width and 0 <= top < bottom <= height
        if not inside or (right - left) * (bottom - top) < _FEWEST_PIXELS:
            allowed = f"a box of {_FEWEST_PIXELS} pixels or more inside {width} x {height}"
            raise QuantityError(f"box {edges}", allowed, "Draw the box again, inside one evenly lit surface.")
        return left, top, right, bottom


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
    sample : Box
        The dry face.
    cards : Sequence[Box]
        The white card: one box, or better one on either side of the face.
    card_reflectance, card_error : float
        Luminance of the card and its standard error, 1 for a perfect white [fraction]. Plain white office
        paper is about 0.86 (common practice, no source).

    Returns
    -------
    Measured
        L* [-].

    Raises
    ------
    QuantityError
        When the file is no photo, or a box does not fit.
    """
    pixels, notes = _pixels(path)
    found = whiteness_of_pixels(pixels, sample, cards, card_reflectance, card_error)
    return Measured(found.value, found.spread, found.unit, found.method, (*found.warnings, *notes))


def whiteness_of_pixels(
    pixels: NDArray[np.float64],
    sample: Box,
    cards: Sequence[Box],
    card_reflectance: float = 0.86,
    card_error: float = 0.02,
) -> Measured:
    """Return the whiteness L* from the sRGB values of a photo.

    Parameters
    ----------
    pixels : NDArray
        Height by width by 3, 0 to 255 [-].
    sample, cards, card_reflectance, card_error
        As in `whiteness_from_photo`.

    Returns
    -------
    Measured
        L* [-].

    Raises
    ------
    QuantityError
        When a box does not fit or the card's reflectance is not between 0.2 and 1.

    Notes
    -----
    Code values become linear light; face over card, channel by channel, takes exposure and the tint of the
    light away; the card's reflectance turns the ratio into luminance Y; ``L* = 116 Y^(1/3) - 16``. The
    spread holds the card, the unevenness of the light over card and face, and 2 % for the phone.
    """
    if not 0.2 <= card_reflectance <= 1.0:
        allowed = "a reflectance from 0.2 to 1"
        raise QuantityError(f"{card_reflectance:g}", allowed, "Use a white card and its reflectance.")
    if not cards:
        raise QuantityError(
            "no card", "one box or more on a white card", "Photograph a white card beside the face."
        )
    face = _patch(pixels, sample)
    whites = [_patch(pixels, box) for box in cards]
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


def _patch(pixels: NDArray[np.float64], box: Box) -> _Patch:
    left, top, right, bottom = box.pixels(pixels.shape[1], pixels.shape[0])
    codes = pixels[top:bottom, left:right]
    light = linear_light(codes / 255.0)
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


def _pixels(path: Path) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Return the upright photo as sRGB values, and what to know about it."""
    import warnings

    import numpy as np
    from PIL import Image, ImageOps, UnidentifiedImageError

    allowed, repair = "a JPEG, PNG or TIFF photo", "Save or export the photo as JPEG."
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(path) as file:
                if file.width * file.height > _MOST_PIXELS:
                    raise QuantityError(
                        f"{file.width} x {file.height} pixels", "at most 200 million", "Shrink it."
                    )
                photo, notes = _in_srgb(ImageOps.exif_transpose(file))
                return np.asarray(photo, dtype=float), notes
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        raise QuantityError(f"{path.name} ({short(error)})", allowed, repair) from None


def _in_srgb(photo: Photo) -> tuple[Photo, tuple[str, ...]]:
    """Convert to sRGB by the profile in the file; phones often store a wider color space."""
    from io import BytesIO

    from PIL import ImageCms

    profile = photo.info.get("icc_profile")
    if not profile:
        return photo.convert("RGB"), ()
    try:
        plain = photo if photo.mode == "RGB" else photo.convert("RGB")
        converted = ImageCms.profileToProfile(
            plain, BytesIO(profile), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError):
        return photo.convert("RGB"), ("The photo's color profile cannot be read and was taken as sRGB.",)
    return (converted or plain), ()
