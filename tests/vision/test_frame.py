"""The first photo's frame comes from the printed cells: lens, sloppy taps, loose cards and all."""

from __future__ import annotations

import numpy as np
import pytest

from samples.photographer import Shot, empty_grid
from scoring.lattice import cell_centres_mm
from tests.vision.practice import final_board, from_pixels, photo_of, practice, snap
from vision.find import from_corners
from vision.frame import frame_on_cells
from vision.geometry import px_per_mm
from vision.types import Photo, Registration


def tapped(photo: Photo, shot: Shot, kind: str, seed: int) -> Registration:
    """The registration of four taps up to 5 px off."""
    true = np.array(shot.truth.board_corners_px)
    taps = true + np.random.default_rng(seed).uniform(-5, 5, true.shape)
    return from_corners(photo, practice(kind).sheet.lattice, taps)


def off_mm(found: Registration, shot: Shot, kind: str) -> np.ndarray:
    """Distances (N,) of cell centres from the truth along x or y, mm."""
    lattice = practice(kind).sheet.lattice
    places = np.array(cell_centres_mm(lattice))
    true = np.array([shot.truth.cell_centres_px[cell.id] for cell in lattice.cells])
    return np.abs(found.project(places) - true).max(axis=1) / px_per_mm(found, places)


@pytest.mark.parametrize(("kind", "k1"), [("square", -0.05), ("hex-pointy", 0.05)])
def test_the_printed_cells_mend_taps_and_lens(kind: str, k1: float) -> None:
    """Cells come within 2 % of the 20 mm between them, and within the interval claimed."""
    board = practice(kind).board
    shot = snap(board, empty_grid(board), 21, k1=k1, tilt_deg=12.0, size_px=(1200, 900))
    photo = photo_of(shot)
    start = tapped(photo, shot, kind, 3)
    refined = frame_on_cells(photo, start, practice(kind).sheet.lattice)
    before, after = (off_mm(found, shot, kind) for found in (start, refined))

    assert after.max() < 0.4 < before.max()
    assert (after < refined.error_mm).all()
    assert refined.error_mm < 1
    assert np.sign(refined.k1) == np.sign(k1)


def test_no_cell_is_taken_for_its_neighbour() -> None:
    """From taps a whole cell off, nothing is locked onto: the frame stays as tapped."""
    made = practice("square")
    shot = snap(made.board, empty_grid(made.board), 22)
    photo = photo_of(shot)
    true = np.array(shot.truth.board_corners_px)
    places = np.array([shot.truth.cell_centres_px[cell] for cell in ("A1", "A2")])
    beside = from_corners(photo, made.sheet.lattice, true + 0.5 * (places[1] - places[0]))

    assert frame_on_cells(photo, beside, made.sheet.lattice) is beside


def test_noise_leaves_the_frame_as_it_was() -> None:
    made, shot = practice("square"), final_board("square", 0)
    noise = np.random.default_rng(1).integers(0, 256, shot.pixels.shape).astype(np.uint8)
    photo = from_pixels(noise)
    start = tapped(photo, shot, "square", 4)

    assert frame_on_cells(photo, start, made.sheet.lattice) is start
