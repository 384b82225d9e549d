"""Odd photo files: read as they are stored or refused in words, soon, and the same when kept."""

from __future__ import annotations

import time

import numpy as np
import pytest

from desk.metadata import strip_metadata
from tests.odd_files import READABLE, UNREADABLE, many_scans
from tests.vision.files import file_of, scene
from vision.decode import check_photo, load_photo
from vision.errors import PhotoError


@pytest.mark.parametrize("name", READABLE)
def test_what_shows_the_scene_is_read_upright_and_in_its_size(name: str) -> None:
    photo = load_photo(READABLE[name](), name)

    assert photo.full_size_px == (480, 360)
    assert photo.pixels.shape == (360, 480, 3)


@pytest.mark.parametrize("name", READABLE)
def test_what_is_kept_of_an_odd_photo_is_read_as_the_photo_was(name: str) -> None:
    data = READABLE[name]()
    kept, _ = strip_metadata(data)

    assert np.array_equal(load_photo(kept, name).pixels, load_photo(data, name).pixels)


@pytest.mark.parametrize("name", UNREADABLE)
def test_what_cannot_be_read_is_refused_at_once(name: str) -> None:
    data = UNREADABLE[name]()
    started = time.process_time()
    with pytest.raises(PhotoError) as refused:
        load_photo(data, name)

    assert time.process_time() - started < 0.2
    assert str(refused.value) == f"{name}: {refused.value.reason} {refused.value.hint}"


def test_the_picture_that_a_heic_file_names_as_its_own_is_read() -> None:
    photo = load_photo(READABLE["HEIC of several"](), "several.heic")
    shown = np.asarray(scene().rotate(10), np.int16)

    assert np.abs(photo.pixels - shown).mean() < 3


def test_a_picture_of_deep_colour_is_the_picture_of_common_depth() -> None:
    deep = load_photo(READABLE["16-bit PNG"](), "deep.png")

    assert np.array_equal(deep.pixels, load_photo(file_of(scene(), "PNG"), "plain.png").pixels)


def test_as_many_scans_as_cameras_write_are_read() -> None:
    assert load_photo(many_scans(50), "progressive.jpg").full_size_px == (480, 360)


def test_too_many_scans_are_refused_before_they_are_stored() -> None:
    with pytest.raises(PhotoError, match="far too many passes"):
        check_photo(many_scans(1000), "scans.jpg")
