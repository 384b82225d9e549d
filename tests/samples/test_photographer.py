from dataclasses import replace
from functools import cache
from io import BytesIO

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from samples.board import Board, Mark
from samples.camera import make_canvas
from samples.conditions import Conditions, HandShadow
from samples.invent import PAINTS, card_marks, invent_board, linear
from samples.light import make_light
from samples.photographer import COVERED, Shot, empty_grid, hold_phone, take_photo
from samples.scene import covered_share, set_scene
from samples.spectra import srgb_to_linear
from scoring.lattice import cells_at_edge, regular_lattice, with_anchors
from scoring.regular import Shape
from scoring.types import Lattice

STRONG = ("flame", "sky", "fern", "sun", "violet", "berry")
SHAPES = {
    "square": Shape((5, 5, 5, 5), 20.0, 1.0, (18.0, 18.0)),
    "courses": Shape((5, 4, 5, 4), 22.0, 1.0, (18.0, 18.0), row_pitch_mm=18.0, round_lower=True),
    "hex-pointy": Shape((5, 4, 5, 4), 20.0, 1.0, (18.0, 18.0)),
    "hex-flat": Shape((5, 5, 5), 20.0, 1.0, (18.0, 18.0)),
    "diamond": Shape((5, 4, 5, 4), 18.0, 1.0, (18.0, 18.0)),
}


def lattice(kind: str) -> Lattice:
    bare = regular_lattice(kind, SHAPES[kind])
    return with_anchors(bare, cells_at_edge(bare, "bottom"))


@cache
def board_of(kind: str = "square", marks: bool | tuple[Mark, ...] = False) -> Board:
    return invent_board(lattice(kind), 3, colours=STRONG, marks=marks)


def striped(board: Board) -> dict[str, str]:
    return {place.id: STRONG[i % len(STRONG)] for i, place in enumerate(board.places)}


def snap(board: Board, grid: dict[str, str], conditions: Conditions, seed: int = 0) -> Shot:
    return take_photo(board, grid, conditions, np.random.default_rng(seed))


def look(shot: Shot, spot: tuple[float, float]) -> np.ndarray:
    """Mean linear light of 5 x 5 px round a spot."""
    x, y = np.round(spot).astype(int)
    return srgb_to_linear(shot.pixels[y - 2 : y + 3, x - 2 : x + 3] / 255.0).mean(axis=(0, 1))


def unlike(seen: np.ndarray, colour: str) -> float:
    """How unlike two colours are, brightness aside."""
    known = linear(PAINTS[colour])
    return float(np.linalg.norm(seen / np.linalg.norm(seen) - known / np.linalg.norm(known)))


@pytest.mark.parametrize("kind", sorted(SHAPES))
def test_in_a_clean_photo_the_top_of_every_piece_has_its_colour(kind: str) -> None:
    board = board_of(kind)
    grid = striped(board)
    shot = snap(board, grid, Conditions.clean())
    named = {
        cell: min(STRONG, key=lambda colour, spot=spot: unlike(look(shot, spot), colour))
        for cell, spot in shot.truth.piece_top_px.items()
    }

    assert named == grid == shot.truth.labels


@pytest.mark.parametrize(("tilt", "turn"), [(20.0, 0.0), (45.0, 110.0), (45.0, 200.0)])
def test_pieces_are_where_the_truth_says_from_every_side(tilt: float, turn: float) -> None:
    board = board_of()
    grid = striped(board)
    pose = replace(Conditions.clean((800, 600)), tilt_deg=tilt, turn_deg=turn, k1=-0.04)
    shot = snap(board, grid, pose)

    for cell, spot in shot.truth.piece_top_px.items():
        assert min(STRONG, key=lambda c, s=spot: unlike(look(shot, s), c)) == grid[cell]


@pytest.mark.parametrize("marks", ["board", "card"])
def test_opencv_finds_the_marks_where_the_truth_says(marks: str) -> None:
    size = lattice("square").board_size_mm
    printed = card_marks(size, np.random.default_rng(1)) if marks == "card" else True
    board = board_of(marks=printed)
    pose = replace(Conditions.clean((1200, 900)), tilt_deg=25.0, turn_deg=30.0, k1=0.03)
    shot = snap(board, empty_grid(board), pose)
    finder = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), _subpixel()
    )
    corners, ids, _ = finder.detectMarkers(cv2.cvtColor(shot.pixels, cv2.COLOR_RGB2GRAY))
    found = dict(zip(np.ravel(ids).tolist(), [c.reshape(4, 2) for c in corners], strict=True))

    assert sorted(found) == [0, 1, 2, 3]
    for number, spots in shot.truth.mark_corners_px.items():
        assert np.abs(found[number] - spots).max() < 1.0


def _subpixel() -> cv2.aruco.DetectorParameters:
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return settings


def test_the_same_seed_takes_the_same_picture_and_another_does_not() -> None:
    board = board_of()
    hard = replace(Conditions.random(np.random.default_rng(4), 0.8), size_px=(400, 300))
    one, again, other = (snap(board, striped(board), hard, seed) for seed in (1, 1, 2))

    assert one.jpeg() == again.jpeg()
    assert one.truth == again.truth
    assert one.jpeg() != other.jpeg()


def test_an_arm_makes_cells_dark_and_the_truth_says_which() -> None:
    board = board_of()
    grid = striped(board)
    arm = HandShadow(tip_mm=(10.0, 0.0), from_deg=0.0, depth=0.8)
    clean = Conditions.clean()
    light, dark = snap(board, grid, clean), snap(board, grid, replace(clean, shadows=(arm,)))
    spots = light.truth.piece_top_px
    # The phone lifts the exposure of the darker picture, so brightness counts against a lit cell.
    lit = look(dark, spots["A1"]).sum() / look(light, spots["A1"]).sum()

    assert "C4" in dark.truth.shaded
    assert "A1" not in dark.truth.shaded
    for cell in dark.truth.shaded:
        kept = look(dark, spots[cell]).sum() / look(light, spots[cell]).sum()
        assert kept / lit < 0.75


def test_a_die_covers_what_lies_below_and_the_truth_keeps_both() -> None:
    board = board_of()
    grid = striped(board)
    shots = [snap(board, grid, replace(Conditions.clean(), dice=1), seed) for seed in range(2)]

    for shot in shots:
        under = dict(shot.truth.under_cover)
        assert under == {c: grid[c] for c, label in shot.truth.labels.items() if label == COVERED}
        assert under or shot.truth.partly_covered


def test_a_hand_that_reaches_past_the_camera_covers_what_it_lies_over() -> None:
    """Against the hand point by point, each seen by itself where it lies before the camera."""
    board = board_of()
    past = 0
    for seed in range(12):
        low = replace(
            Conditions.clean(), fingers=1, tilt_deg=40.0, turn_deg=90.0 * seed, fov_deg=75.0
        )
        camera = hold_phone(board, low)
        canvas, light = make_canvas(camera, 1.0), make_light(low, (0.0, 0.0))
        scene = set_scene(board, striped(board), low, light, np.random.default_rng(seed))
        hand = scene.occluders[0]
        outline = hand.outline_mm.astype(np.float32)
        (x0, y0), (x1, y1) = outline.min(axis=0), outline.max(axis=0)
        spots = np.mgrid[x0:x1:2, y0:y1:2].reshape(2, -1).T
        inside = np.array([cv2.pointPolygonTest(outline, s.tolist(), False) > 0 for s in spots])
        depth = np.column_stack([spots, np.ones(len(spots))]) @ camera.plane(hand.top_mm)[2]
        past += bool((depth[inside] < 0).any())
        seen = canvas.place(spots[inside & (depth > 1.0)], hand.top_mm)
        for cell, share in covered_share(scene, canvas).items():
            piece = scene.pieces[cell]
            top = canvas.place(piece.outline_mm, piece.top_mm).astype(np.float32)
            hit = any(cv2.pointPolygonTest(top, spot.tolist(), False) > 0 for spot in seen)
            assert hit or share < 0.1, (seed, cell)
            assert share > 0 or not hit, (seed, cell)
    assert past


def test_a_stored_picture_turns_upright_again() -> None:
    board = board_of()
    for orientation in (3, 6, 8):
        pose = replace(Conditions.clean((300, 400)), exif_orientation=orientation)
        shot = snap(board, striped(board), pose)
        stored = Image.open(BytesIO(shot.jpeg()))
        upright = np.asarray(ImageOps.exif_transpose(stored), int)

        assert stored.size == ((400, 300) if orientation in (6, 8) else (300, 400))
        assert np.abs(upright - shot.pixels).mean() < 6


def test_gloss_under_a_lamp_glares_and_the_truth_says_where() -> None:
    board = board_of()
    grid = striped(board)
    clean = Conditions.clean()
    # Straight above, a lamp beside the phone mirrors itself in the pieces below.
    lamp = replace(clean.lamps[0], position_mm=(60.0, 0.0, 400.0), radius_mm=30.0)
    dull = snap(board, grid, replace(clean, lamps=(lamp,), gloss=0.0))
    shiny = snap(board, grid, replace(clean, lamps=(lamp,), gloss=1.0))

    assert dull.truth.glaring == ()
    assert 0 < len(shiny.truth.glaring) < len(board.places)


@pytest.mark.parametrize("difficulty", [0.0, 0.5, 1.0])
def test_random_conditions_are_always_within_what_was_asked(difficulty: float) -> None:
    rng = np.random.default_rng(9)
    drawn = [Conditions.random(rng, difficulty) for _ in range(40)]

    assert all(0 <= c.tilt_deg <= 45 and 55 <= c.fov_deg <= 75 for c in drawn)
    assert all(0.99 < sum(x.share for x in c.lamps) + c.ambient[1] < 1.01 for c in drawn)
