"""Boards with hardly any artwork are found by what pieces cannot cover, and by their edges."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from samples.photographer import Shot, take_photo
from scoring.lattice import cell_centres_mm
from tests.bench.folders import local_pitch, worst_off_mm
from tests.bench.plain import plain_kit
from tests.bench.sweep import STAND, Bench, calibrated_bench
from tests.vision.practice import from_pixels, photo_of
from vision.errors import BoardNotFound
from vision.find import find_board, from_corners
from vision.geometry import refine_registration, registration_from
from vision.on_cells import refined_on_cells
from vision.proof import beside_cells, has_little_artwork
from vision.types import Photo, Registration
from vision.view import view_of

SEED = 503


@cache
def bench() -> Bench:
    return calibrated_bench(plain_kit(SEED), SEED)


@cache
def final(tilt_deg: float = 18.0) -> Shot:
    kit, rng = bench().kit, np.random.default_rng(7)
    stand = replace(STAND, tilt_deg=tilt_deg, turn_deg=160.0, tabletop="checked", loose=4)
    return take_photo(kit.board, kit.final_board(kit.open_box(), rng), stand, rng)


def found_in(photo: Photo, **given: np.ndarray) -> Registration:
    made = bench()
    height = made.table.sheet.piece_height_mm
    return find_board(photo, made.kit.lattice, made.table.artwork, {}, piece_mm=height, **given)


def worst_share(found: Registration, shot: Shot) -> float:
    """Largest distance of a cell's centre from the truth, in shares of the pitch there."""
    lattice = bench().kit.lattice
    true = np.array([shot.truth.cell_centres_px[cell.id] for cell in lattice.cells])
    off = np.linalg.norm(found.project(np.array(cell_centres_mm(lattice))) - true, axis=1)
    return float((off / local_pitch(true)).max())


def test_a_full_board_with_nothing_but_a_title_is_found_without_taps() -> None:
    made, shot = bench(), final()
    lattice = made.kit.lattice
    true = np.array([shot.truth.cell_centres_px[cell.id] for cell in lattice.cells])
    found = found_in(photo_of(shot))

    assert has_little_artwork(lattice, made.table.artwork)
    assert worst_share(found, shot) < 0.03
    assert worst_off_mm(found, np.array(cell_centres_mm(lattice)), true) <= found.error_mm < 1.5


def test_seen_aslant_its_pieces_do_not_pull_it_aside() -> None:
    """Their tops lie 7 % of the pitch beside their cells there."""
    shot = final(30.0)

    assert worst_share(found_in(photo_of(shot)), shot) < 0.02


def test_a_selfie_of_it_is_refused_as_one() -> None:
    pixels = np.ascontiguousarray(photo_of(final()).pixels[:, ::-1])

    with pytest.raises(BoardNotFound, match="mirror"):
        found_in(from_pixels(pixels))


def test_a_place_half_a_cell_beside_does_not_hold() -> None:
    made, shot = bench(), final()
    lattice, artwork = made.kit.lattice, made.table.artwork
    photo = photo_of(shot)
    true = np.array(shot.truth.board_corners_px)
    beside = 0.5 * (true[1] - true[0]) / 8
    start = from_corners(photo, lattice, true + beside)
    telling = np.zeros_like(beside_cells(lattice, artwork))
    height = made.table.sheet.piece_height_mm

    assert refined_on_cells(view_of(photo), start, lattice, artwork, height, telling, (3,)) is None


def test_its_title_covered_it_is_refused_for_nothing_tells_which_way_round_it_lies() -> None:
    made, shot = bench(), final()
    photo = photo_of(shot)
    found = found_in(photo)
    width = made.kit.lattice.board_size_mm[0]
    low = min(float(np.array(cell.polygon_mm)[:, 1].min()) for cell in made.kit.lattice.cells)
    strip = np.array([[0.15 * width, 0.5], [0.85 * width, 0.5], [0.85 * width, low - 3.5],
                      [0.15 * width, low - 3.5]])  # fmt: skip
    pixels = photo.pixels.copy()
    card = np.round(found.project(strip)).astype(np.int32)
    cv2.fillPoly(pixels, [card], (200, 196, 180), cv2.LINE_AA)

    with pytest.raises(BoardNotFound):
        found_in(from_pixels(pixels))


def test_pairs_that_tell_one_direction_only_are_fitted_across_their_edges() -> None:
    """Each slides along its own edge by up to 30 px; four directions leave one homography."""
    rng = np.random.default_rng(3)
    homography = np.array([[5.2, -0.7, 300.0], [0.4, 4.9, 200.0], [2e-4, 1e-4, 1.0]])
    true = registration_from(homography, (1600, 1200), "corners", k1=0.02)
    board_mm = rng.uniform(0, 180, (60, 2))
    angle = rng.choice(np.radians([0, 90, 35, 120]), 60)
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    seen_px = true.project(board_mm) + rng.uniform(-30, 30, (60, 1)) * along
    across = np.eye(2) - along[:, :, None] * along[:, None, :]
    start = registration_from(homography @ np.array([[1, 0, 2.0], [0, 1, -3.0], [0, 0, 1]]),
                              (1600, 1200), "corners")  # fmt: skip
    found = refine_registration(start, board_mm, seen_px, (1600, 1200), board_mm, across)

    np.testing.assert_allclose(found.project(board_mm), true.project(board_mm), atol=0.05)
