"""Whiteness from a phone photo: the dry face beside a white card of known reflectance, in even light.

The few patches that are measured are cut out before anything is computed: a photo may be large, or claim to
be; what is decoded is bounded before it is decoded, and only the patches, thinned to what a mean needs, ever
become numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final

from optimizer.errors import QuantityError, short
from optimizer.properties.color import lightness
from optimizer.trials.measuring import Measured

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL.Image import Image as Photo
    from PIL.ImageFile import ImageFile

_LUMINANCE: Final = (0.2126, 0.7152, 0.0722)
"""Share of red, green and blue in luminance; IEC 61966-2-1 (ITU-R BT.709 primaries)."""

_PHONE: Final = 0.02
"""Spread left by the tone curve of phones, made to please rather than to measure [fraction]; judgement."""

_UNEVEN: Final = 0.03
_CLIPPED: Final = 0.005
_ENDS: Final = (2.5, 252.5)

_MOST_PIXELS: Final = 178_000_000
"""Largest photo read [pixels]; beyond 178.9 million Pillow opens none."""

_MOST_DECODED: Final = 50_000_000
"""Most pixels decoded, four bytes each [count]; a larger JPEG is decoded at half its width and height."""

_MOST_OF_PATCH: Final = 1_000_000
_FORMATS: Final = ("JPEG", "PNG", "TIFF")
_ORIENTATION: Final = 0x0112
"""Tag of the way a photo is turned (Exif 2.3, from memory)."""

_FEWEST_PIXELS: Final = 100

_Edges = tuple[int, int, int, int]


def linear_light(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the light behind sRGB code values.

    Linear light [fraction].

    Parameters
    ----------
    codes : NDArray
        Code values over the largest one [fraction].

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

        left, top, right, bottom [pixels].

        Parameters
        ----------
        width, height : int
            Size of the photo [pixels].

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


def cut_patches(path: Path, boxes: Sequence[Box]) -> tuple[list[NDArray[np.uint8]], tuple[str, ...]]:
    """Return the sRGB code values inside boxes of an upright photo, and what to know about them.

    For each box an array of height by width by 3, 0 to 255; of a large box a grid of its pixels.

    Parameters
    ----------
    path : Path
        JPEG, PNG or TIFF file [-].
    boxes : Sequence[Box]
        Places in the photo as it is seen [-].

    Raises
    ------
    QuantityError
        When the file is no photo, is too large, or a box does not fit.
    """
    import warnings

    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(path, formats=_FORMATS) as photo:
                return _cut(photo, boxes)
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        repair = "Save or export the photo as JPEG, no larger than a phone takes it."
        raise QuantityError(f"{path.name} ({short(error)})", "a JPEG, PNG or TIFF photo", repair) from None


def _cut(photo: ImageFile, boxes: Sequence[Box]) -> tuple[list[NDArray[np.uint8]], tuple[str, ...]]:
    import numpy as np

    stored = photo.size
    _bound(photo)
    turned = photo.getexif().get(_ORIENTATION, 1)
    width, height = reversed(stored) if turned >= 5 else stored
    edges = [_stored(box.pixels(width, height), turned, width, height) for box in boxes]
    scales = [size / before for size, before in zip(photo.size, stored, strict=True)] * 2
    patches, notes = [], []
    for each in edges:
        left, top, right, bottom = (round(edge * scale) for edge, scale in zip(each, scales, strict=True))
        patch, note = _in_srgb(
            _thinned(photo.crop((left, top, right, bottom))), photo.info.get("icc_profile")
        )
        patches.append(np.asarray(patch))
        notes.append(note)
    return patches, tuple(dict.fromkeys(filter(None, notes)))


def _bound(photo: ImageFile) -> None:
    """Refuse a photo that would take too much to decode; ask for half the size of a large JPEG."""
    pixels = photo.width * photo.height
    read = f"{photo.width} x {photo.height} pixels"
    if pixels > _MOST_PIXELS:
        allowed, repair = f"at most {_MOST_PIXELS // 10**6} million", "Crop it, or save it smaller."
        raise QuantityError(read, allowed, repair)
    if pixels <= _MOST_DECODED:
        return
    if photo.format == "JPEG" and not photo.info.get("progressive"):  # else all of it is held at once
        photo.draft(None, (photo.width // 2, photo.height // 2))
    if photo.width * photo.height > _MOST_DECODED:
        allowed = f"at most {_MOST_DECODED // 10**6} million in this kind of file"
        raise QuantityError(read, allowed, "Crop it, or save it smaller or as a plain JPEG.")


def _stored(edges: _Edges, turned: int, width: int, height: int) -> _Edges:
    """Return the edges of a box where they lie in the file, which may hold the photo turned or mirrored."""
    left, top, right, bottom = edges
    from_right, from_left = width - right, width - left
    from_bottom, from_top = height - bottom, height - top
    places: dict[int, _Edges] = {
        2: (from_right, top, from_left, bottom),
        3: (from_right, from_bottom, from_left, from_top),
        4: (left, from_bottom, right, from_top),
        5: (top, left, bottom, right),
        6: (top, from_right, bottom, from_left),
        7: (from_bottom, from_right, from_top, from_left),
        8: (from_bottom, left, from_top, right),
    }
    return places.get(turned, edges)


def _thinned(patch: Photo) -> Photo:
    """Return of a large patch a grid of a million of its pixels: their mean says as much."""
    from PIL import Image

    step = math.ceil(math.sqrt(patch.width * patch.height / _MOST_OF_PATCH))
    size = (max(1, patch.width // step), max(1, patch.height // step))
    return patch if step == 1 else patch.resize(size, Image.Resampling.NEAREST)


def _in_srgb(patch: Photo, profile: bytes | None) -> tuple[Photo, str]:
    """Convert to sRGB by the profile in the file; phones often store a wider color space."""
    from PIL import ImageCms

    plain = patch.convert("RGB")
    if not profile:
        return plain, ""
    try:
        converted = ImageCms.profileToProfile(
            plain, BytesIO(profile), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError):
        return plain, "The photo's color profile cannot be read and was taken as sRGB."
    return (converted or plain), ""
