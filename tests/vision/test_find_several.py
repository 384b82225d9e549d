"""Several boards of one table in a photo: each found, left to right, or the photo is refused."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibrate.types import Table
from samples.photographer import Shot
from tests.vision.practice import final_board, from_pixels, practice, snap
from vision.errors import BoardNotFound
from vision.find import find_board, find_boards
from vision.read import read_boards
from vision.types import Photo

KINDS = ("square", "hex-pointy")
"""The first table has no marks; the second has the same four on every board."""


def side_by_side(*shots: Shot) -> Photo:
    """One photo of these boards next to each other, the second a little lower."""
    tall = max(shot.pixels.shape[0] for shot in shots) + 40
    width = sum(shot.pixels.shape[1] for shot in shots)
    table = np.full((tall, width, 3), 96, np.uint8)
    left = 0
    for number, shot in enumerate(shots):
        height, across = shot.pixels.shape[:2]
        table[20 * number : 20 * number + height, left : left + across] = shot.pixels
        left += across
    return from_pixels(table)


def boards_in(photo: Photo, table: Table, expected: int) -> list[np.ndarray]:
    found = find_boards(photo, table.sheet.lattice, table.artwork, table.marks, expected)
    corners = np.array([[0, 0], table.sheet.lattice.board_size_mm], float)
    return [registration.project(corners) for registration in found]


@pytest.mark.parametrize("kind", KINDS)
def test_two_boards_are_found_left_to_right(kind: str) -> None:
    table, left, right = practice(kind).table, final_board(kind, 0), final_board(kind, 1)
    found = boards_in(side_by_side(left, right), table, 2)

    for corners, shot, moved in zip(found, (left, right), ([0, 0], [800, 20]), strict=True):
        true = np.array(shot.truth.board_corners_px)[[0, 2]] + moved
        np.testing.assert_allclose(corners, true, atol=4)


def test_three_boards_are_read_left_to_right() -> None:
    made = practice("square")
    shots = [final_board("square", seed) for seed in (1, 0, 2)]
    readings = read_boards(side_by_side(*shots), made.table, 3)

    assert len(readings) == 3
    for reading, shot in zip(readings, shots, strict=True):
        wrong = [
            cell
            for cell, belief in reading.cells.items()
            if belief.doubt is None and belief.colour != shot.truth.labels[cell]
        ]
        assert wrong == []
    assert [reading.registration.method for reading in readings] == ["artwork"] * 3


@pytest.mark.parametrize("kind", KINDS)
def test_two_boards_where_one_is_expected_are_refused(kind: str) -> None:
    table = practice(kind).table
    photo = side_by_side(final_board(kind, 0), final_board(kind, 1))
    with pytest.raises(BoardNotFound) as refused:
        find_board(photo, table.sheet.lattice, table.artwork, table.marks)

    assert str(refused.value) == (
        "made.png: two boards of this table are in the photo. "
        "Snap each board by itself, or say how many are in the photo."
    )


@pytest.mark.parametrize(
    ("shown", "expected", "words"),
    [
        (1, 2, "only 1 of 2 boards could be proven to be in the photo."),
        (3, 2, "more than 2 boards of this table are in the photo."),
        (0, 2, "no board of this table could be proven to be in the photo."),
    ],
)
def test_another_number_of_boards_than_expected_is_refused(
    shown: int, expected: int, words: str
) -> None:
    table = practice("square").table
    shots = [final_board("square", seed) for seed in range(shown)]
    bare = from_pixels(cv2.resize(np.full((9, 12, 3), 90, np.uint8), (1200, 900)))
    photo = side_by_side(*shots) if shots else speckled(bare)
    with pytest.raises(BoardNotFound) as refused:
        boards_in(photo, table, expected)

    assert refused.value.reason == words
    assert refused.value.hint.endswith((".", "(--corners)."))


def speckled(photo: Photo) -> Photo:
    noise = np.random.default_rng(4).normal(0, 25, photo.pixels.shape)
    return from_pixels((photo.pixels + noise).clip(0, 255).astype(np.uint8))


def test_a_board_of_another_printing_beside_it_is_no_second_board() -> None:
    made, other = practice("square"), practice("diamond")
    beside = snap(other.board, dict(other.layout), 3)
    photo = side_by_side(final_board("square", 0), beside)
    table = made.table
    found = find_board(photo, table.sheet.lattice, table.artwork, table.marks)

    true = np.array(final_board("square", 0).truth.board_corners_px)[0]
    np.testing.assert_allclose(found.project(np.zeros((1, 2)))[0], true, atol=4)
