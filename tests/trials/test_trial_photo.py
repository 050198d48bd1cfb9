"""Whiteness from a photo, against a general color library and the neutral row of a published color chart.

The chart is that of McCamy, Marcus & Davidson 1976: grays of Munsell value 9.5, 8, 6.5, 5, 3.5 and 2 (from
memory); their luminance is ASTM D1535's, as the library `colour` has it.
"""

from __future__ import annotations

import tempfile
import warnings
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from optimizer.errors import QuantityError
from optimizer.trials import photo as photo_file
from optimizer.trials.photo import Box, cut_patches, linear_light, whiteness_from_photo

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

MUNSELL = (9.5, 8.0, 6.5, 5.0, 3.5, 2.0)
CARD = Box(0.05, 0.1, 0.20, 0.9)
FACE = Box(0.40, 0.1, 0.60, 0.9)
OTHER_CARD = Box(0.80, 0.1, 0.95, 0.9)


def _luminance(munsell):
    return float(colour.colorimetry.luminance_ASTMD1535(munsell)) / 100.0


def _lightness(y):
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return float(colour.XYZ_to_Lab(y * colour.xy_to_XYZ(white), white)[0])


def _photo(face, card, exposure=0.9, tint=(1.0, 1.0, 1.0), slope=0.0, noise=0.004):
    """Return a photo of three stripes, card, face and card, by the library's own sRGB encoding."""
    light = np.full((200, 300, 3), card * 1.0)
    light[:, 100:200] = face
    light *= 1.0 + slope * np.linspace(-0.5, 0.5, 300)[None, :, None]
    light *= exposure * np.asarray(tint)
    light += np.random.default_rng(2).normal(0.0, noise, light.shape)
    codes = colour.cctf_encoding(np.clip(light, 0.0, 1.0), function="sRGB")
    return np.round(255.0 * codes).astype(np.uint8)


def _read(photo, *boxes_and_card, **card):
    """Return what is read of a photo from its file, as a caster's is."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "photo.png")
        Image.fromarray(photo).save(path)
        return whiteness_from_photo(path, *boxes_and_card, **card)


def test_linear_light_is_that_of_the_standard():
    """IEC 61966-2-1 by the library `colour`, all 256 codes."""
    codes = np.arange(256) / 255.0
    assert linear_light(codes) == pytest.approx(colour.cctf_decoding(codes, function="sRGB"), abs=1e-6)


@pytest.mark.parametrize("munsell", MUNSELL, ids=lambda value: f"McCamy 1976 gray N{value}")
@pytest.mark.parametrize("exposure", [0.35, 0.6, 0.9])
def test_neutral_row_of_the_chart(munsell, exposure):
    """The whitest patch is the card; every other is found within 1.0 of its L*."""
    card = _luminance(9.5)
    photo = _photo(_luminance(munsell), card, exposure)
    found = _read(photo, FACE, [CARD], card)
    assert found.value == pytest.approx(_lightness(_luminance(munsell)), abs=1.0)
    assert abs(found.value - _lightness(_luminance(munsell))) < found.spread


@pytest.mark.parametrize("tint", [(1.0, 0.85, 0.6), (0.8, 0.9, 1.0)], ids=["lamp light", "shade"])
def test_the_card_takes_the_tint_of_the_light_away(tint):
    found = _read(_photo(0.75, 0.86, tint=tint), FACE, [CARD])
    assert found.value == pytest.approx(_lightness(0.75), abs=0.5)


def test_a_cream_face_by_its_luminance():
    """A warm face in neutral light: the library turns its linear sRGB into Y."""
    cream = np.array([0.82, 0.74, 0.60])
    y = float(colour.RGB_to_XYZ(cream, "sRGB", apply_cctf_decoding=False)[1])
    found = _read(_photo(cream, 0.86), FACE, [CARD])
    assert found.value == pytest.approx(_lightness(y), abs=0.5)


def test_cards_on_both_sides_take_slanting_light_away():
    photo = _photo(0.75, 0.86, exposure=0.8, slope=0.2)
    one, two = (_read(photo, FACE, cards) for cards in ([CARD], [CARD, OTHER_CARD]))
    assert two.value == pytest.approx(_lightness(0.75), abs=0.5)
    assert abs(one.value - _lightness(0.75)) > 2.0
    assert abs(two.value - _lightness(0.75)) < two.spread
    assert any("uneven" in text for text in two.warnings)
    even = _read(_photo(0.75, 0.86, exposure=0.8), FACE, [CARD, OTHER_CARD])
    assert two.spread > 1.5 * even.spread


@pytest.mark.parametrize(("card", "read"), [(0.19, False), (0.2, True), (1.0, True), (1.01, False)])
def test_no_card_reflects_more_than_all_light_and_a_gray_one_is_not_white(card, read):
    if read:
        assert _read(_photo(0.1, 0.2), FACE, [CARD], card).value > 0.0
        return
    with pytest.raises(QuantityError, match=r"from 0\.2 to 1"):
        _read(_photo(0.1, 0.2), FACE, [CARD], card)


@pytest.mark.parametrize(("share", "told"), [(0.004, False), (0.007, True)])
@pytest.mark.parametrize(("code", "words"), [(255, "burned out"), (0, "too dark")])
def test_more_than_half_a_percent_of_pixels_without_detail_is_told(share, told, code, words):
    """Judgement; every so many pixels of the photo one is set, so that each patch has its share of them."""
    photo = _photo(0.75, 0.86, exposure=0.6)
    photo.reshape(-1, 3)[:: round(1.0 / share)] = code
    texts = _read(photo, FACE, [CARD]).warnings
    assert any(words in text for text in texts) == told, texts


def test_an_even_photo_has_no_warnings_and_a_known_spread():
    found = _read(_photo(0.75, 0.86), FACE, [CARD, OTHER_CARD], card_error=0.02)
    assert found.warnings == ()
    # own arithmetic: dL = 116/3 Y^(1/3) dY/Y with 2.3 % card and 2 % phone
    assert found.spread == pytest.approx(
        116.0 / 3.0 * 0.75 ** (1.0 / 3.0) * np.hypot(0.02 / 0.86, 0.02), rel=0.05
    )
    assert _read(_photo(0.75, 0.86), FACE, [CARD], card_error=0.05).spread > found.spread


@pytest.mark.parametrize(
    ("photo", "words"),
    [
        (_photo(0.8, 0.86, exposure=1.3), "burned out"),
        (_photo(0.8, 0.86, exposure=0.1), "too dark"),
        (_photo(0.75, 0.86, slope=0.3, exposure=0.8), "uneven"),
        (_photo(1.1, 0.7, exposure=0.8), "whiter than any white"),
    ],
)
def test_warnings_of_a_bad_photo(photo, words):
    texts = _read(photo, FACE, [CARD]).warnings
    assert any(words in text for text in texts), texts


@pytest.mark.parametrize("ending", ["png", "jpg", "tif"])
def test_files_give_what_their_pixels_give(tmp_path, ending):
    photo = _photo(0.75, 0.86)
    Image.fromarray(photo).save(tmp_path / f"a.{ending}")
    found = whiteness_from_photo(tmp_path / f"a.{ending}", Box(120, 20, 180, 180), [Box(15, 20, 60, 180)])
    assert found.value == pytest.approx(_lightness(0.75), abs=0.5)


def test_a_photo_on_its_side_is_turned_upright(tmp_path):
    turned = Image.fromarray(_photo(0.5, 0.86)).transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112] = 6  # turn by a quarter clockwise to view: Exif 2.3, orientation, from memory
    turned.save(tmp_path / "a.jpg", exif=exif, quality=95)
    found = whiteness_from_photo(tmp_path / "a.jpg", FACE, [CARD])
    assert found.value == pytest.approx(_lightness(0.5), abs=0.7)


@pytest.mark.parametrize("turned", range(1, 9))
def test_a_patch_of_a_turned_photo_is_that_of_the_upright_one(tmp_path, turned):
    """All eight ways a photo may be stored, by Pillow's own turning of the whole photo."""
    stored = Image.fromarray(np.arange(60 * 90 * 3).reshape(60, 90, 3).astype(np.uint8))
    exif = Image.Exif()
    exif[0x0112] = turned
    stored.save(tmp_path / "a.png", exif=exif)
    with Image.open(tmp_path / "a.png") as photo:
        upright = np.asarray(ImageOps.exif_transpose(photo))
    (patch,), _ = cut_patches(tmp_path / "a.png", [Box(5, 10, 25, 50)])
    expected = upright[10:50, 5:25]
    assert sorted(map(tuple, patch.reshape(-1, 3))) == sorted(map(tuple, expected.reshape(-1, 3)))


def test_a_photo_too_large_to_decode_whole_is_decoded_at_half_its_size(tmp_path, monkeypatch):
    photo = np.repeat(np.repeat(_photo(0.75, 0.86, noise=0.0), 2, axis=0), 2, axis=1)
    Image.fromarray(photo).save(tmp_path / "a.jpg", quality=95)
    Image.fromarray(photo).save(tmp_path / "a.png")
    box = Box(250, 40, 350, 360)
    whole = cut_patches(tmp_path / "a.jpg", [box])[0][0]
    monkeypatch.setattr(photo_file, "_MOST_DECODED", photo.shape[0] * photo.shape[1] // 2)
    half = cut_patches(tmp_path / "a.jpg", [box])[0][0]
    assert half.shape == (whole.shape[0] // 2, whole.shape[1] // 2, 3)
    assert half.mean(axis=(0, 1)) == pytest.approx(whole.mean(axis=(0, 1)), abs=1.0)
    with pytest.raises(QuantityError, match="plain JPEG"):
        cut_patches(tmp_path / "a.png", [box])


def test_a_large_patch_is_thinned_and_keeps_its_mean_and_its_burned_share(tmp_path, monkeypatch):
    photo = _photo(0.75, 0.86, exposure=1.1, noise=0.05)
    Image.fromarray(photo).save(tmp_path / "a.png")
    whole = whiteness_from_photo(tmp_path / "a.png", FACE, [CARD])
    monkeypatch.setattr(photo_file, "_MOST_OF_PATCH", 1500)
    (face,), _ = cut_patches(tmp_path / "a.png", [FACE])
    assert face.shape[0] * face.shape[1] <= 1500
    thinned = whiteness_from_photo(tmp_path / "a.png", FACE, [CARD])
    assert thinned.value == pytest.approx(whole.value, abs=0.5)
    assert thinned.warnings == whole.warnings != ()


def test_a_profile_that_cannot_be_read_is_said(tmp_path):
    Image.fromarray(_photo(0.75, 0.86)).save(tmp_path / "a.png", icc_profile=b"nonsense")
    found = whiteness_from_photo(tmp_path / "a.png", FACE, [CARD])
    assert any("color profile" in text for text in found.warnings)


def test_an_srgb_profile_changes_nothing(tmp_path):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(_photo(0.75, 0.86)).save(tmp_path / "a.png", icc_profile=profile)
    found = whiteness_from_photo(tmp_path / "a.png", FACE, [CARD])
    assert (found.value, found.warnings) == (pytest.approx(_lightness(0.75), abs=0.5), ())


@pytest.mark.parametrize("content", [b"", b"no photo at all", b"\x89PNG\r\n\x1a\n cut off"])
def test_files_that_are_no_photo(tmp_path, content):
    (tmp_path / "a.jpg").write_bytes(content)
    with pytest.raises(QuantityError, match="JPEG"):
        whiteness_from_photo(tmp_path / "a.jpg", FACE, [CARD])


def test_a_missing_photo(tmp_path):
    with pytest.raises(QuantityError, match="JPEG"):
        whiteness_from_photo(tmp_path / "no.jpg", FACE, [CARD])


@pytest.mark.parametrize(
    "box", [Box(0, 0, 5, 5), Box(0.5, 0.5, 0.4, 0.9), Box(-0.1, 0, 0.5, 0.5), Box(10, 10, 400, 100)]
)
def test_boxes_outside_the_photo_are_refused(box):
    with pytest.raises(QuantityError, match="inside 300 x 200"):
        _read(_photo(0.75, 0.86), box, [CARD])


@pytest.mark.parametrize(("cards", "reflectance"), [([], 0.86), ([CARD], 0.05), ([CARD], 86.0)])
def test_cards_that_are_none(cards, reflectance):
    with pytest.raises(QuantityError, match="white card"):
        _read(_photo(0.75, 0.86), FACE, cards, reflectance)
