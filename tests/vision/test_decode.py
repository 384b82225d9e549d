"""Photo files as phones send them: real files made with Pillow and OpenCV, never pretended ones."""

from __future__ import annotations

import hashlib
import io
from types import ModuleType

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms, ImageOps

from samples.penmarrow import PHOTOS
from tests.vision.files import file_of, scene
from tests.vision.profiles import display_p3_profile
from vision.decode import load_photo
from vision.rectify import to_decoded, to_full

pillow_heif.register_heif_opener()

LOSSLESS = {"PNG": {}, "WEBP": {"lossless": True}}
LOSSY = {
    "JPEG": {"quality": 95, "subsampling": 0},
    "WEBP": {"quality": 90},
    "HEIF": {"quality": 90},
}


def by_pillow(data: bytes) -> np.ndarray:
    return np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"), int)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_every_orientation_comes_out_as_pillow_turns_it(kind: str, orientation: int) -> None:
    """Exif 2.32, tag 0x0112. A HEIC file turns by its own boxes alone (ISO/IEC 23008-12)."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = file_of(scene(), kind, exif=exif, **(LOSSLESS | LOSSY)[kind])
    photo = load_photo(data, "photo")
    sides = (360, 480) if orientation >= 5 and kind != "HEIF" else (480, 360)

    assert photo.full_size_px == sides == photo.pixels.shape[1::-1]
    assert np.abs(photo.pixels - by_pillow(data)).max() <= 2


def test_all_orientations_of_one_scene_give_one_upright_picture() -> None:
    """Stored the way a phone held so would store it, the eight files show the same thing."""
    undo = {
        2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }  # fmt: skip
    for orientation, way in undo.items():
        exif = Image.Exif()
        exif[0x0112] = orientation
        data = file_of(scene().transpose(way), "JPEG", quality=95, subsampling=0, exif=exif)

        assert np.abs(load_photo(data, "photo").pixels - np.asarray(scene(), int)).mean() < 1.5


@pytest.mark.parametrize("kind", LOSSLESS)
def test_what_is_stored_without_loss_comes_out_exactly(kind: str) -> None:
    photo = load_photo(file_of(scene(), kind, **LOSSLESS[kind]), "photo")

    np.testing.assert_array_equal(photo.pixels, np.asarray(scene()))
    assert photo.pixels.dtype == np.uint8
    assert photo.scale == 1


@pytest.mark.parametrize("kind", LOSSY)
def test_what_is_stored_with_loss_comes_out_as_pillow_reads_it(kind: str) -> None:
    data = file_of(scene(), kind, **LOSSY[kind])

    assert np.abs(load_photo(data, "photo").pixels - by_pillow(data)).max() <= 4


def test_a_progressive_jpeg_reads_like_a_plain_one() -> None:
    data = file_of(scene(), "JPEG", quality=92, progressive=True)

    assert np.abs(load_photo(data, "photo").pixels - by_pillow(data)).mean() < 1


def test_a_phone_file_that_holds_two_pictures_gives_the_first() -> None:
    data = file_of(scene(), "MPO", save_all=True, append_images=[scene(240, 320)])

    assert load_photo(data, "photo").full_size_px == (480, 360)


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "LA", "1"])
def test_any_kind_of_png_becomes_rgb(mode: str) -> None:
    made = scene().quantize(64) if mode == "P" else scene().convert(mode)
    photo = load_photo(file_of(made, "PNG"), "photo")

    np.testing.assert_array_equal(photo.pixels, np.asarray(made.convert("RGB")))


def test_a_png_of_16_bits_keeps_its_upper_eight() -> None:
    deep = np.asarray(scene(), np.uint16) * 256 + 77
    data = cv2.imencode(".png", deep[..., ::-1])[1].tobytes()

    assert np.abs(load_photo(data, "photo").pixels - np.asarray(scene(), int)).max() <= 1


def test_a_cmyk_jpeg_shows_what_pillow_shows() -> None:
    data = file_of(scene().convert("CMYK"), "JPEG", quality=95)

    assert np.abs(load_photo(data, "photo").pixels - by_pillow(data)).mean() < 2


def test_a_photo_knows_its_file_and_cannot_be_painted_over() -> None:
    data = (PHOTOS / "empty-1.jpg").read_bytes()
    photo = load_photo(data, "empty-1.jpg")

    assert photo.name == "empty-1.jpg"
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert photo.decode_ms > 0
    with pytest.raises(ValueError, match="read-only"):
        photo.pixels[0, 0] = 0


def p3_patches() -> np.ndarray:
    """Large patches of Display P3 colours that sRGB has too, uint8 of shape (6 * 60, 8 * 60, 3)."""
    small = np.random.default_rng(4).integers(70, 190, (6, 8, 3)).astype(np.uint8)
    return np.repeat(np.repeat(small, 60, axis=0), 60, axis=1)


def as_srgb(pixels: np.ndarray, colour_science: ModuleType) -> np.ndarray:
    spaces = colour_science.RGB_COLOURSPACES
    converted = colour_science.RGB_to_RGB(
        pixels / 255,
        spaces["Display P3"],
        spaces["sRGB"],
        apply_cctf_decoding=True,
        apply_cctf_encoding=True,
    )
    return np.clip(255 * converted, 0, 255)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_display_p3_is_converted_as_colour_science_converts_it(
    kind: str, colour_science: ModuleType
) -> None:
    profile = display_p3_profile(colour_science)
    options = (LOSSY | LOSSLESS)[kind] | {"icc_profile": profile}
    photo = load_photo(file_of(Image.fromarray(p3_patches()), kind, **options), "photo")
    middles = np.s_[30::60, 30::60]
    expected = as_srgb(p3_patches(), colour_science)[middles]

    assert np.abs(expected - p3_patches()[middles]).max() > 12
    assert np.abs(photo.pixels[middles] - expected).max() < (2 if kind in LOSSLESS else 6)


def test_greys_of_display_p3_stay_grey(colour_science: ModuleType) -> None:
    greys = np.repeat(np.linspace(0, 255, 480).astype(np.uint8)[None, :, None], 3, axis=2)
    picture = Image.fromarray(np.repeat(greys, 300, axis=0))
    data = file_of(picture, "PNG", icc_profile=display_p3_profile(colour_science))

    assert np.abs(load_photo(data, "photo").pixels - np.asarray(picture, int)).max() <= 1


def test_an_srgb_profile_changes_nothing() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    photo = load_photo(file_of(scene(), "PNG", icc_profile=profile), "photo")

    np.testing.assert_array_equal(photo.pixels, np.asarray(scene()))


def test_a_broken_profile_is_taken_for_srgb() -> None:
    photo = load_photo(file_of(scene(), "PNG", icc_profile=b"no profile at all"), "photo")

    np.testing.assert_array_equal(photo.pixels, np.asarray(scene()))


DOTS = ((401.5, 301.5), (3602.0, 200.0), (2000.0, 600.0), (100.0, 690.0))


def dotted(width: int) -> Image.Image:
    """Soft white dots on black, where ``DOTS`` says in a picture of 4000 x 800."""
    share = width / 4000
    picture = np.zeros((round(800 * share), width, 3), np.uint8)
    reach = round(60 * share)
    for x, y in np.array(DOTS) * share:
        left, top = int(x) - reach, int(y) - reach
        rows, columns = np.ogrid[top : top + 2 * reach, left : left + 2 * reach]
        dot = np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * (10.0 * share) ** 2))
        picture[top : top + 2 * reach, left : left + 2 * reach] = np.round(255 * dot)[..., None]
    return Image.fromarray(picture)


@pytest.mark.parametrize(
    ("kind", "width", "scale"),
    [("JPEG", 1600, 1), ("JPEG", 4000, 2), ("JPEG", 6400, 4), ("PNG", 3200, 2), ("HEIF", 3200, 2)],
)
def test_a_large_photo_is_decoded_smaller_and_points_still_lie_where_they_are(
    kind: str, width: int, scale: int
) -> None:
    height = dotted(width).height
    options = {"compress_level": 1} if kind == "PNG" else {"quality": 92}
    photo = load_photo(file_of(dotted(width), kind, **options), "photo")
    found = to_full(photo, _peaks(photo.pixels[:, :, 0].astype(float), photo.scale, width))

    assert photo.scale == scale
    assert photo.full_size_px == (width, height)
    assert photo.pixels.shape == (height // scale, width // scale, 3)
    np.testing.assert_allclose(found, np.array(DOTS) * width / 4000, atol=0.25)


def _peaks(grey: np.ndarray, scale: int, width: int) -> np.ndarray:
    """Centres of mass (4, 2) of the dots, decoded px."""
    reach, found = round(50 * width / 4000 / scale), []
    for x, y in np.round(np.array(DOTS) * width / 4000 / scale).astype(int):
        left, top = max(x - reach, 0), max(y - reach, 0)
        part = grey[top : y + reach + 1, left : x + reach + 1]
        rows, columns = np.indices(part.shape)
        found.append(((columns * part).sum(), (rows * part).sum()) / part.sum() + [left, top])
    return np.array(found)


def test_decoded_and_full_size_points_are_each_others_inverse() -> None:
    photo = load_photo(file_of(dotted(4000), "JPEG"), "photo")
    points = np.array([[0.0, 0.0], [17.25, 900.5]])

    np.testing.assert_allclose(to_decoded(photo, to_full(photo, points)), points)
    # Full-size px 0 and 1 make decoded px 0, whose middle lies between theirs.
    np.testing.assert_allclose(to_full(photo, np.zeros((1, 2))), [[0.5, 0.5]])


def test_a_turned_large_photo_counts_its_sides_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    photo = load_photo(file_of(scene(3300, 2500), "JPEG", exif=exif), "photo")

    assert photo.full_size_px == (2500, 3300)
    assert photo.pixels.shape == (1650, 1250, 3)
