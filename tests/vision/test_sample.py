"""What is sampled of each cell, against the photo itself at the places that the truth tells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scoring.types import EMPTY
from tests.vision.practice import final_board, photo_of, practice, snap
from vision.colour import linear_from_srgb
from vision.find import find_board
from vision.greys import grey_of
from vision.level import level_artwork, plan_of
from vision.read import look
from vision.sample import structure_of
from vision.types import Evidence, Photo

KIND = "hex-pointy"
TALL_MM = 9.0


def light_at(photo: Photo, spot: tuple[float, float]) -> np.ndarray:
    """Median linear RGB (3,) of 9 x 9 px round a spot of the photo."""
    x, y = np.round(spot).astype(int)
    return np.median(linear_from_srgb(photo.pixels[y - 4 : y + 5, x - 4 : x + 5]), axis=(0, 1))


def looked(photo: Photo, height_mm: float) -> Evidence:
    table = practice(KIND).table
    sheet = replace(table.sheet, piece_height_mm=height_mm)
    found = find_board(photo, sheet.lattice, table.artwork, table.marks)
    return look(photo, found, sheet, table.artwork)


def unlike(evidence: Evidence, photo: Photo, tops: dict[str, tuple[float, float]]) -> np.ndarray:
    """Distance of every piece's sample from the photo at its top, linear RGB."""
    ids = [cell.id for cell in practice(KIND).sheet.lattice.cells]
    pairs = [(evidence.samples.top[ids.index(c)], light_at(photo, s)) for c, s in tops.items()]
    return np.array([np.abs(sample - seen).max() for sample, seen in pairs])


def test_samples_of_pieces_are_the_light_on_their_tops() -> None:
    shot = final_board(KIND, 0)
    photo = photo_of(shot)
    evidence = looked(photo, practice(KIND).sheet.piece_height_mm)

    assert unlike(evidence, photo, dict(shot.truth.piece_top_px)).max() < 0.06


def test_tall_pieces_seen_aslant_are_sampled_where_their_tops_are() -> None:
    """At 38 degrees a piece of 9 mm leans over a third of its neighbour."""
    made = practice(KIND)
    tall = replace(made.board, piece_mm=TALL_MM)
    grid = dict(final_board(KIND, 0).truth.labels)
    shot = snap(tall, grid, 70, tilt_deg=38.0, turn_deg=30.0)
    photo, tops = photo_of(shot), dict(shot.truth.piece_top_px)
    minded = unlike(looked(photo, TALL_MM), photo, tops)
    ignored = unlike(looked(photo, 0.0), photo, tops)

    assert np.quantile(minded, 0.9) < 0.08
    assert minded.mean() < 0.5 * ignored.mean()


def test_empty_cells_look_like_themselves_and_pieces_do_not() -> None:
    """Structure is likeness to the very cell of the empty board, whatever the light."""
    shot = final_board(KIND, 1)
    likeness = looked(photo_of(shot), practice(KIND).sheet.piece_height_mm).samples.structure[:, 1]
    empty = np.array([label == EMPTY for label in shot.truth.labels.values()])

    assert 0 < empty.sum() < len(empty)
    assert likeness[empty].min() > likeness[~empty].max()


@pytest.mark.parametrize("gain", [(0.5, 0.5, 0.5), (0.7, 0.6, 0.45)])
def test_the_light_over_the_board_is_told_from_the_board(gain: tuple[float, float, float]) -> None:
    """The same photo through a filter: every cell's light changes by what the filter takes."""
    photo = photo_of(final_board(KIND, 0))
    linear = linear_from_srgb(photo.pixels) * gain
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    filtered = replace(photo, pixels=np.round(255 * coded).astype(np.uint8))
    height = practice(KIND).sheet.piece_height_mm
    found = looked(filtered, height).light.gain / looked(photo, height).light.gain

    np.testing.assert_allclose(found, np.tile(gain, (len(found), 1)), rtol=0.08)


@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.06, 0.0), (-0.03, 0.05)])
def test_a_slope_of_the_light_hides_no_likeness(slope: tuple[float, float]) -> None:
    """As a soft shadow does, the light falls by up to four fifths across one cell of faint print,
    in which NumPy's plain correlation then sees the shadow alone."""
    table = practice(KIND).table
    plan = plan_of(table.sheet.lattice)
    artwork = grey_of(level_artwork(table.artwork, plan)).astype(float)
    middle = len(plan.motif) // 2
    cell = plan.motif[middle]
    rows, columns = np.indices(artwork.shape)
    fall = slope[0] * columns + slope[1] * rows
    shadowed = (artwork + 8.0) * np.exp(fall - fall.ravel()[cell].mean()) - 8.0
    plain = np.corrcoef(np.log(shadowed.ravel()[cell] + 8), np.log(artwork.ravel()[cell] + 8))

    likeness = structure_of(shadowed, artwork, plan)[middle]

    assert (plain[0, 1] > 0.99) == (slope == (0.0, 0.0))
    assert likeness[:2] == pytest.approx((1.0, 1.0), abs=1e-6)
    assert likeness[2] == pytest.approx(0.0, abs=1e-6)
