"""The few patches of a photo that are measured, cut out before anything is computed.

A photo may be large, or claim to be; what is decoded is bounded before it is decoded, and only the patches,
thinned to what a mean needs, ever become numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final

from optimizer.errors import QuantityError, short

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL.Image import Image as Photo
    from PIL.ImageFile import ImageFile

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


def cut_patches(path: Path, boxes: Sequence[Box]) -> tuple[list[NDArray[np.uint8]], tuple[str, ...]]:
    """Return the sRGB code values inside boxes of an upright photo, and what to know about them.

    Parameters
    ----------
    path : Path
        JPEG, PNG or TIFF file [-].
    boxes : Sequence[Box]
        Places in the photo as it is seen [-].

    Returns
    -------
    tuple[list[NDArray], tuple[str, ...]]
        For each box an array of height by width by 3, 0 to 255; of a large box a grid of its pixels.

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
