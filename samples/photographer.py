"""The photographer: takes a practice photo of a board and tells exactly what is on it.

``take_photo`` reads as the list of stages: hold the phone, light the table, lay the pieces,
paint, develop. Nothing here knows how photos are read, so that a reading of these photos proves
something.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from samples.board import Board
from samples.camera import Camera, aim, make_canvas, tip_away, turn_about_z
from samples.conditions import Conditions
from samples.finish import develop, encode
from samples.layers import Patch
from samples.light import hand_cover, make_light
from samples.scene import Scene, covered_share, draw_scene, set_scene
from samples.strip import Strip
from scoring.types import EMPTY

COVERED = "covered"
"""Label of a cell of which an occluder hides more than a third."""

COVERED_SHARE = 1 / 3
PARTLY_COVERED_SHARE = 0.03
SHADED_SHARE = 0.35
"""A cell counts as shaded when a hand takes more than this share of its light."""

GLARE_SHARE = 0.15
"""A piece counts as glaring when its top mirrors more than this share of what white paper sends
out.
"""

Spot = tuple[float, float]


@dataclass(frozen=True)
class Truth:
    """What is in a photo. ``labels``: cell id -> colour, ``empty`` or ``covered``;
    ``under_cover``: what lies below. All points are picture px (x, y), lens included, (0, 0) at
    the centre of the top left pixel of the upright picture. ``piece_top_px`` is the middle of a
    piece's top where the piece really lies; ``strip_px`` the same of the spare pieces on a key
    strip, by colour.
    """

    labels: Mapping[str, str]
    under_cover: Mapping[str, str]
    partly_covered: tuple[str, ...]
    shaded: tuple[str, ...]
    glaring: tuple[str, ...]
    board_corners_px: tuple[Spot, ...]
    cell_centres_px: Mapping[str, Spot]
    piece_top_px: Mapping[str, Spot]
    mark_corners_px: Mapping[int, tuple[Spot, ...]]
    strip_px: Mapping[str, Spot]


@dataclass(frozen=True, eq=False)
class Shot:
    """One practice photo: uint8 sRGB of shape (height, width, 3), upright; its truth; its
    conditions; the camera that took it (for tests of projection).
    """

    pixels: NDArray[np.uint8]
    truth: Truth
    conditions: Conditions
    camera: Camera

    def jpeg(self) -> bytes:
        """Return the file that the phone would save."""
        return encode(self.pixels, self.conditions.jpeg_quality, self.conditions.exif_orientation)


def take_photo(
    board: Board,
    grid: Mapping[str, str],
    conditions: Conditions,
    rng: np.random.Generator,
    strip: Strip | None = None,
) -> Shot:
    """Photograph this grid (cell id -> colour or ``empty``) on this board, a key strip beside it
    where one is given.
    """
    camera = hold_phone(board, conditions, strip)
    light = make_light(conditions, (board.size_mm[0] / 2.0, board.size_mm[1] / 2.0))
    scene = set_scene(board, grid, conditions, light, rng, strip)
    canvas = make_canvas(camera, conditions.supersample)
    picture, mirrored = draw_scene(scene, canvas)
    pixels = develop(picture, canvas, conditions, rng)
    pixels.setflags(write=False)
    truth = tell_truth(scene, camera, grid, mirrored, covered_share(scene, canvas))
    return Shot(pixels, truth, conditions, camera)


def hold_phone(board: Board, conditions: Conditions, strip: Strip | None = None) -> Camera:
    """Return the camera these conditions ask for, near enough that the board fills its reach;
    with a strip, board and strip together.
    """
    corners = np.vstack([board.corners_mm, *(mark.real_corners_mm for mark in board.marks)])
    middle = board.corners_mm.mean(axis=0)
    if strip:
        corners = np.vstack([corners, strip.corners_mm])
        middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    return camera_over(middle, corners, conditions)


def camera_over(
    middle_mm: NDArray[np.float64], corners_mm: NDArray[np.float64], conditions: Conditions
) -> Camera:
    """Return the camera over ``middle_mm``, so near that ``corners_mm`` (N, 2) fill its reach."""
    rotation = (
        turn_about_z(conditions.roll_deg)
        @ tip_away(conditions.tilt_deg)
        @ turn_about_z(conditions.turn_deg)
    )
    long_side = max(conditions.size_px)
    focal = 0.5 * long_side / float(np.tan(np.radians(conditions.fov_deg / 2.0)))
    distance = aim(corners_mm, rotation, focal, conditions.size_px, conditions.reach)
    return Camera(
        rotation,
        middle_mm,
        distance,
        focal,
        conditions.size_px,
        conditions.k1,
        conditions.shift,
    )


def tell_truth(
    scene: Scene,
    camera: Camera,
    grid: Mapping[str, str],
    mirrored: NDArray[np.float64],
    covered: Mapping[str, float],
) -> Truth:
    """Write down what the photo shows and where."""
    board = scene.board
    hidden = {cell for cell, share in covered.items() if share > COVERED_SHARE}
    centres = np.array([place.centre_mm for place in board.places])
    seen = dict(
        zip([place.id for place in board.places], spots(camera.project(centres)), strict=True)
    )
    tops, spares = (
        {
            name: spots(camera.project(slab.outline_mm.mean(0)[None], slab.top_mm))[0]
            for name, slab in slabs.items()
        }
        for slabs in (scene.pieces, scene.spares)
    )
    return Truth(
        labels={cell: COVERED if cell in hidden else grid[cell] for cell in seen},
        under_cover={cell: grid[cell] for cell in seen if cell in hidden},
        partly_covered=tuple(
            c for c, share in covered.items() if PARTLY_COVERED_SHARE < share <= COVERED_SHARE
        ),
        shaded=tuple(
            cell
            for cell, share in zip(seen, shade_at(scene, centres), strict=True)
            if share > SHADED_SHARE
        ),
        glaring=tuple(
            c for c, share in zip(scene.pieces, mirrored, strict=True) if share > GLARE_SHARE
        ),
        board_corners_px=tuple(spots(camera.project(board.corners_mm))),
        cell_centres_px=seen,
        piece_top_px=tops,
        mark_corners_px={
            mark.id: tuple(spots(camera.project(mark.real_corners_mm, board.mark_height_mm(mark))))
            for mark in board.marks
        },
        strip_px=spares,
    )


def shade_at(scene: Scene, centres_mm: NDArray[np.float64]) -> list[float]:
    """Return the share of all light that hands take at each cell's centre."""
    lamps = sum(lamp.share for lamp in scene.light.lamps)
    share = lamps + 0.35 * scene.light.ambient
    taken = []
    for x, y in centres_mm:
        spot = Patch((x - 1.0, y - 1.0, x + 1.0, y + 1.0), 0.0, 1.0)
        taken.append(share * float(hand_cover(scene.light, spot).mean()))
    return taken


def spots(points: NDArray[np.float64]) -> list[Spot]:
    """Return rows of shape (N, 2) as pairs rounded to a hundredth of a px."""
    return [(round(float(x), 2), round(float(y), 2)) for x, y in points]


def empty_grid(board: Board) -> dict[str, str]:
    """Return the grid of a board with nothing on it."""
    return {place.id: EMPTY for place in board.places}
