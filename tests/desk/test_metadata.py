"""Photos that carry a place, a serial number and a name go in; none of it comes out."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
import subprocess
import warnings
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, PngImagePlugin

from desk.metadata import PhotoFormatError, is_stripped, orientation_of, strip_metadata
from vision.decode import load_photo

pillow_heif.register_heif_opener()

GPS_IFD = 0x8825
EXIF_IFD = 0x8769
SECRETS = (b"SERIAL-12345", b"Jo Owner", b"the-place", b"secret-comment")
PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def personal_exif(orientation: int) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Jo Owner"
    exif.get_ifd(EXIF_IFD)[0xA431] = "SERIAL-12345"
    exif.get_ifd(EXIF_IFD)[0x927C] = b"maker SERIAL-12345"
    exif.get_ifd(GPS_IFD).update({1: "N", 2: (48.0, 12.0, 30.0), 27: b"the-place"})
    return exif


def picture() -> Image.Image:
    rng = np.random.default_rng(7)
    return Image.fromarray(rng.integers(0, 256, (48, 64, 3), dtype=np.uint8))


def saved(kind: str, orientation: int = 6, **more: object) -> bytes:
    out = io.BytesIO()
    exif = personal_exif(orientation).tobytes()
    picture().save(out, kind, exif=exif, icc_profile=PROFILE, **more)
    return out.getvalue()


def png_with_text() -> bytes:
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", "secret-comment")
    text.add_itxt("XML:com.adobe.xmp", "secret-comment")
    return saved("PNG", pnginfo=text)


def pixels(data: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(data)) as image:
        return np.asarray(image.convert("RGB"))


def exif_of(data: bytes) -> dict[int, object]:
    with Image.open(io.BytesIO(data)) as image:
        exif = image.getexif()
        assert not exif.get_ifd(GPS_IFD)
        assert not exif.get_ifd(EXIF_IFD)
        return dict(exif)


CASES = {
    "jpeg": lambda: saved("JPEG", comment=b"secret-comment", quality=90),
    "progressive jpeg": lambda: saved("JPEG", progressive=True, quality=90),
    "restart jpeg": lambda: saved("JPEG", restart_marker_blocks=2, quality=90),
    "jpeg with xmp": lambda: saved("JPEG", xmp=b"<x>secret-comment the-place</x>"),
    "png": png_with_text,
    "webp": lambda: saved("WEBP", xmp=b"<x>secret-comment</x>"),
    "lossless webp": lambda: saved("WEBP", lossless=True),
}


@pytest.mark.parametrize("name", CASES)
def test_a_stripped_photo_has_no_place_serial_or_name_and_the_same_pixels(name: str) -> None:
    data = CASES[name]()
    assert any(secret in data for secret in SECRETS)

    clean, _ = strip_metadata(data)

    assert exif_of(clean) == {0x0112: 6}
    assert not [secret for secret in SECRETS if secret in clean]
    np.testing.assert_array_equal(pixels(clean), pixels(data))
    with Image.open(io.BytesIO(clean)) as image:
        assert image.info["icc_profile"] == PROFILE
        assert "xmp" not in image.info


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_way_up_is_kept(kind: str, orientation: int) -> None:
    clean, _ = strip_metadata(saved(kind, orientation))

    assert orientation_of(clean) == orientation


def test_a_second_picture_hidden_behind_a_jpeg_is_dropped() -> None:
    data = saved("JPEG") + saved("JPEG", comment=b"secret-comment")

    clean, suffix = strip_metadata(data)

    assert suffix == ".jpg"
    assert len(re.findall(rb"\xff\xd8\xff", clean)) == 1
    np.testing.assert_array_equal(pixels(clean), pixels(data))


def test_stripping_twice_changes_nothing_more() -> None:
    for make in CASES.values():
        once, suffix = strip_metadata(make())

        assert strip_metadata(once) == (once, suffix)


def test_a_heic_photo_keeps_its_pixels_and_loses_its_metadata() -> None:
    data = saved("HEIF", orientation=1)
    assert b"SERIAL-12345" in data

    clean, suffix = strip_metadata(data)

    assert suffix == ".heic"
    assert not [secret for secret in SECRETS if secret in clean]
    np.testing.assert_array_equal(pixels(clean), pixels(data))
    assert exif_of(clean) == {0x0112: 1}


PERSONAL_TAGS = (
    "-GPSLatitude=48.2",
    "-GPSLatitudeRef=N",
    "-GPSLongitude=11.6",
    "-GPSLongitudeRef=E",
    "-EXIF:SerialNumber=SERIAL-12345",
    "-EXIF:LensSerialNumber=SERIAL-12345",
    "-EXIF:OwnerName=Jo Owner",
    "-EXIF:Artist=Jo Owner",
    "-XMP:Creator=Jo Owner",
    "-XMP:Location=the-place",
)


def exiftool(*words: str) -> str:
    """An independent reader and writer of metadata."""
    program = shutil.which("exiftool")
    if not program:
        pytest.skip("exiftool is not installed (apt-get install libimage-exiftool-perl)")
    ended = subprocess.run([program, *words], capture_output=True, text=True)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout


@pytest.mark.parametrize("kind", ["JPEG", "HEIF", "PNG", "WEBP"])
def test_exiftool_finds_nothing_of_what_it_put_in(kind: str, tmp_path: Path) -> None:
    photo = tmp_path / ("a.heic" if kind == "HEIF" else f"a.{kind.lower()}")
    photo.write_bytes(saved(kind, orientation=1))
    exiftool("-q", "-overwrite_original", *PERSONAL_TAGS, str(photo))
    put_in = exiftool("-G", "-a", "-ee", str(photo))
    assert "SERIAL-12345" in put_in
    assert "GPS Latitude" in put_in
    assert "the-place" in put_in

    clean, suffix = strip_metadata(photo.read_bytes())

    (tmp_path / f"b{suffix}").write_bytes(clean)
    left = exiftool("-G", "-a", "-ee", "-u", str(tmp_path / f"b{suffix}"))
    for personal in ("SERIAL-12345", "GPS", "Jo Owner", "the-place", "Serial"):
        assert personal not in left
    assert is_stripped(clean)
    np.testing.assert_array_equal(pixels(clean), pixels(photo.read_bytes()))


def test_a_heic_photo_whose_metadata_cannot_be_blanked_becomes_a_clean_jpeg(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("desk.metadata.heic_blocks", lambda _: [b"nowhere in the file"])

    clean, suffix = strip_metadata(saved("HEIF", orientation=1))

    assert suffix == ".jpg"
    assert exif_of(clean) == {}
    assert pixels(clean).shape == (48, 64, 3)


def test_what_is_no_photo_is_refused() -> None:
    with pytest.raises(PhotoFormatError, match="not a JPEG, PNG, WebP or HEIC"):
        strip_metadata(b"only some words")


def test_a_size_that_no_photo_has_is_refused() -> None:
    whole = CASES["webp"]()
    bomb = whole[:29] + b"+" + whole[30:]  # 64 by 2,818,096, found by the test below

    with pytest.raises(PhotoFormatError):
        strip_metadata(bomb)


@given(st.binary(min_size=1, max_size=6), st.floats(0, 1), st.sampled_from(list(CASES)))
@settings(max_examples=150, deadline=None)
def test_a_spoiled_file_is_stripped_or_refused_and_nothing_else(
    junk: bytes, where: float, name: str
) -> None:
    whole = CASES[name]()
    at = int(where * len(whole))
    spoiled = whole[:at] + junk + whole[at + len(junk) :]

    with contextlib.suppress(PhotoFormatError), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of spoiled EXIF
        clean, _ = strip_metadata(spoiled)
        assert len(clean) <= len(spoiled) + 64


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_stripped_photo_is_read_as_before(kind: str) -> None:
    pixels = np.random.default_rng(3).integers(0, 256, (30, 40, 3), dtype=np.uint8)
    large = Image.fromarray(pixels).resize((400, 300), Image.Resampling.BICUBIC)
    out = io.BytesIO()
    exif = personal_exif(1 if kind == "HEIF" else 8).tobytes()
    large.save(out, kind, exif=exif, icc_profile=PROFILE)

    before = load_photo(out.getvalue(), "a")
    after = load_photo(strip_metadata(out.getvalue())[0], "a")

    assert after.full_size_px == before.full_size_px
    np.testing.assert_array_equal(after.pixels, before.pixels)
