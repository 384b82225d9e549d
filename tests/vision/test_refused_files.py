"""Files that are no photo, or no longer one, are refused in words that say what to do."""

from __future__ import annotations

import time

import pytest

from samples.penmarrow import PHOTOS
from tests.odd_files import blank_png
from tests.vision.files import file_of, scene
from vision.decode import load_photo
from vision.errors import PhotoError


def refusal(data: bytes) -> PhotoError:
    with pytest.raises(PhotoError) as refused:
        load_photo(data, "photo.jpg")
    return refused.value


@pytest.mark.parametrize("tenth", range(1, 10))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_file_cut_short_is_refused_wherever_it_ends(kind: str, tenth: int) -> None:
    data = file_of(scene(), kind)
    refused = refusal(data[: len(data) * tenth // 10])

    assert refused.hint == "Send the original photo again, or take a new one."
    assert_says_what_and_what_to_do(refused)


def test_a_jpeg_without_its_last_bytes_is_refused_and_shows_nothing_of_another() -> None:
    whole = (PHOTOS / "game" / "isla.jpg").read_bytes()
    load_photo((PHOTOS / "empty-1.jpg").read_bytes(), "another.jpg")

    assert str(refusal(whole[:-2])) == (
        "photo.jpg: the photo is cut short or damaged. "
        "Send the original photo again, or take a new one."
    )


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\0",
        b"This is a shopping list.\n" * 50,
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"%PDF-1.4\n",
        b"\xff\xd8\xff",
        b"\x89PNG\r\n\x1a\n",
        b"\0\0\0\x18ftypheic" + bytes(100),
        b"\0\0\0\x18ftypmp42" + bytes(100),
        bytes(range(256)) * 40,
    ],
)
def test_what_is_no_photo_is_refused_whatever_its_name(data: bytes) -> None:
    refused = refusal(data)

    assert str(refused) == (
        "photo.jpg: this is not a photo that can be read (JPEG, PNG, WebP or HEIC). "
        "Send the original photo again, or take a new one."
    )


def test_a_thumbnail_is_refused_with_its_size() -> None:
    refused = refusal(file_of(scene(200, 150), "JPEG"))

    assert str(refused) == (
        "photo.jpg: the picture is only 200 x 150 pixels. Send the original, not a thumbnail."
    )


@pytest.mark.parametrize(("width", "height"), [(12_500, 10_000), (20_000, 10_000)])
def test_a_picture_of_too_many_pixels_is_refused_without_decoding_it(
    width: int, height: int
) -> None:
    data = blank_png(width, height)
    started = time.process_time()
    refused = refusal(data)
    spent = time.process_time() - started

    assert len(data) < 2_000_000
    assert spent < 0.1
    assert "pixels" in refused.reason
    assert_says_what_and_what_to_do(refused)


def test_a_picture_as_large_as_the_largest_phones_take_is_read_without_a_warning() -> None:
    photo = load_photo(blank_png(12_000, 9_000), "photo")

    assert photo.full_size_px == (12_000, 9_000)
    assert photo.scale == 4


def test_a_file_of_too_many_bytes_is_refused() -> None:
    refused = refusal(b"\xff\xd8\xff" + bytes(80_000_000))

    assert refused.reason == "the file is over 80 MB."
    assert_says_what_and_what_to_do(refused)


def assert_says_what_and_what_to_do(refused: PhotoError) -> None:
    """Names the photo, says what is wrong and then what to do, each a sentence."""
    assert str(refused) == f"{refused.photo}: {refused.reason} {refused.hint}"
    assert refused.photo == "photo.jpg"
    assert refused.reason.endswith(".")
    assert refused.hint[0].isupper()
    assert refused.hint.endswith(".")
