"""Pictures of a reading: a person must see what was read, and where the doubts are."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scoring.types import EMPTY
from tests.vision.practice import final_board, photo_of, practice
from vision.draw import CROP_PX, DOUBT, crop, letters_of, overlay, write_words
from vision.read import read_photo
from vision.rectify import to_decoded
from vision.types import ODD, CellReading, Photo, Reading

KIND = "hex-pointy"
CELL = "C3"


@pytest.fixture(scope="module")
def photo() -> Photo:
    return photo_of(final_board(KIND, 0))


@pytest.fixture(scope="module")
def reading(photo: Photo) -> Reading:
    """A reading of the photo in which every cell is certain."""
    found = read_photo(photo, practice(KIND).table)
    truth = final_board(KIND, 0).truth.labels
    return replace(found, cells={c: CellReading(truth[c], (truth[c],)) for c in found.cells})


def doubted(reading: Reading, cell: str) -> Reading:
    colour = reading.cells[cell].colour
    unsure = CellReading(colour, (colour, "tar"), "in this light it may be either")
    return replace(reading, cells={**reading.cells, cell: unsure})


def changed(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return (one != other).any(axis=2)


def place_of(cell: str, photo: Photo, reading: Reading, grown: float = 1.0) -> np.ndarray:
    """Where (H, W) a cell lies in the decoded photo, its outline scaled about its middle."""
    outline = np.array(
        next(c.polygon_mm for c in practice(KIND).sheet.lattice.cells if c.id == cell)
    )
    grown_mm = outline.mean(axis=0) + grown * (outline - outline.mean(axis=0))
    corners = to_decoded(photo, reading.registration.project(grown_mm))
    mask = np.zeros(photo.pixels.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(corners).astype(np.int32)], 1)
    return mask.astype(bool)


def test_an_overlay_is_the_photo_with_something_drawn_on_every_cell(
    photo: Photo, reading: Reading
) -> None:
    drawn = overlay(photo, reading, practice(KIND).sheet)

    assert drawn.shape == photo.pixels.shape
    assert drawn.dtype == np.uint8
    for cell in reading.cells:
        assert changed(drawn, photo.pixels)[place_of(cell, photo, reading)].mean() > 0.05


def test_nothing_is_drawn_away_from_the_board(photo: Photo, reading: Reading) -> None:
    drawn = overlay(photo, reading, practice(KIND).sheet)
    near = np.zeros(photo.pixels.shape[:2], bool)
    for cell in reading.cells:
        near |= place_of(cell, photo, reading, 1.6)

    assert not changed(drawn, photo.pixels)[~near].any()


def test_drawing_leaves_the_photo_as_it_was(photo: Photo, reading: Reading) -> None:
    before = photo.pixels.copy()
    overlay(photo, reading, practice(KIND).sheet)
    crop(photo, reading, practice(KIND).sheet, CELL)

    np.testing.assert_array_equal(photo.pixels, before)


def test_a_doubtful_cell_looks_different_and_only_there(photo: Photo, reading: Reading) -> None:
    sheet = practice(KIND).sheet
    certain, unsure = overlay(photo, reading, sheet), overlay(photo, doubted(reading, CELL), sheet)
    differs = changed(certain, unsure)
    here = place_of(CELL, photo, reading, 1.7)

    assert differs[here].mean() > 0.05
    assert not differs[~here].any()


def test_a_doubtful_outline_is_broken_and_in_a_colour_of_its_own(
    photo: Photo, reading: Reading
) -> None:
    sheet = practice(KIND).sheet
    certain, unsure = overlay(photo, reading, sheet), overlay(photo, doubted(reading, CELL), sheet)
    rim = place_of(CELL, photo, reading, 1.25) & ~place_of(CELL, photo, reading, 0.75)

    assert changed(certain, unsure)[rim].mean() > 0.05
    assert not (certain == DOUBT).all(axis=2).any()
    assert (unsure == DOUBT).all(axis=2)[rim].mean() > 0.01
    assert not (unsure == DOUBT).all(axis=2)[~place_of(CELL, photo, reading, 1.7)].any()


def test_doubt_shows_without_telling_colours_apart(photo: Photo, reading: Reading) -> None:
    """In grey as well: a person who sees no colours sees which cells are asked."""
    sheet = practice(KIND).sheet
    certain = cv2.cvtColor(overlay(photo, reading, sheet), cv2.COLOR_RGB2GRAY).astype(int)
    unsure = cv2.cvtColor(overlay(photo, doubted(reading, CELL), sheet), cv2.COLOR_RGB2GRAY)
    here = place_of(CELL, photo, reading, 1.2)

    assert (np.abs(certain - unsure)[here] > 60).mean() > 0.03


def test_another_colour_is_another_letter(photo: Photo, reading: Reading) -> None:
    sheet = practice(KIND).sheet
    pictures = []
    for name in [*(colour.name for colour in sheet.colours), ODD]:
        cells = {**reading.cells, CELL: CellReading(name, (name,))}
        pictures.append(overlay(photo, replace(reading, cells=cells), sheet))

    for i, one in enumerate(pictures):
        for other in pictures[:i]:
            assert changed(one, other)[place_of(CELL, photo, reading)].mean() > 0.01


def test_every_label_has_a_mark_of_its_own() -> None:
    sheet = practice(KIND).sheet
    marks = letters_of(sheet)

    assert set(marks) == {*(colour.name for colour in sheet.colours), EMPTY, ODD}
    assert len(set(marks.values())) == len(marks)


def test_a_crop_shows_its_cell_in_the_middle(photo: Photo, reading: Reading) -> None:
    sheet = practice(KIND).sheet
    for cell, spot in final_board(KIND, 0).truth.piece_top_px.items():
        picture = crop(photo, reading, sheet, cell)
        x, y = np.round(to_decoded(photo, np.array([spot]))[0]).astype(int)
        middle = picture[CROP_PX // 2 - 8 : CROP_PX // 2 + 8, CROP_PX // 2 - 8 : CROP_PX // 2 + 8]
        expected = photo.pixels[y - 1 : y + 2, x - 1 : x + 2]

        assert picture.shape == (CROP_PX, CROP_PX, 3)
        assert np.abs(middle.mean(axis=(0, 1)) - expected.mean(axis=(0, 1))).max() < 40


def test_a_crop_of_a_cell_at_the_photos_rim_is_whole(photo: Photo, reading: Reading) -> None:
    """Moved so that the cell's middle lies on the rim, half the crop has nothing to show."""
    where = reading.registration.project(np.array([[0.0, 0.0]]))[0]
    pushed = np.array([[1, 0, -where[0]], [0, 1, -where[1]], [0, 0, 1.0]])
    moved = replace(reading.registration, homography=pushed @ reading.registration.homography)
    picture = crop(photo, replace(reading, registration=moved), practice(KIND).sheet, "A1")

    assert picture.shape == (CROP_PX, CROP_PX, 3)


@pytest.mark.parametrize("middle", [(60.0, 30.0), (2.0, 3.0), (118.0, 58.0), (-40.0, 30.0)])
def test_words_have_a_rim_of_another_colour_and_may_lie_over_the_edge(
    middle: tuple[float, float],
) -> None:
    plain = np.full((60, 120, 3), (200, 40, 40), np.uint8)
    picture = plain.copy()
    write_words(picture, "C4", np.array(middle), 0.8, (0, 0, 0), (255, 255, 255))
    left = ~changed(picture, plain)

    assert left[:, -1].any()
    if middle == (60.0, 30.0):
        ink, rim = (picture < 40).all(axis=2), (picture > 220).all(axis=2)
        assert 0.2 < ink.sum() / rim.sum() < 2
        around = cv2.dilate(ink.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
        assert not (around & left).any(), "a letter touches the picture"
