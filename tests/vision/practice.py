"""Small practice tables of several lattices, photographed for the tests, and what is true of them.

The photographer paints straight from the truth and shares no code with the reading.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from PIL import Image

from calibrate.learn import calibrate
from calibrate.types import Table
from samples.board import Board
from samples.conditions import Conditions, Lamp
from samples.grids import known_layout
from samples.invent import invent_board
from samples.penmarrow import PHOTOS
from samples.photographer import Shot, empty_grid, take_photo
from scoring.lattice import cells_at_edge, regular_lattice, with_anchors
from scoring.regular import Shape
from scoring.sheet import GameSheet
from scoring.types import Colour, Grid, Lattice
from vision.decode import load_photo
from vision.types import Photo

APART = ("sky", "sun", "fern", "berry", "tar")
"""Colours that are told apart in any light."""

SHAPES = {
    "square": Shape((5, 5, 5, 5), 20.0, 1.0, (19.0, 19.0)),
    "hex-pointy": Shape((5, 4, 5, 4), 20.0, 1.0, (19.0, 19.0)),
    "diamond": Shape((5, 4, 5, 4, 5), 19.0, 1.0, (19.0, 19.0)),
}

KIND_LIGHT = Conditions(
    size_px=(800, 600),
    tilt_deg=8.0,
    reach=0.9,
    lamps=(Lamp("daylight", 0.6, (-420.0, -520.0, 1500.0), 200.0),),
    ambient=("daylight", 0.4),
    gloss=0.1,
    exposure_ev=-0.35,
    wear=0.02,
    loose=0,
    supersample=1.0,
)
"""A bright day near a window."""


@dataclass(frozen=True, eq=False)
class Practice:
    """A board, its sheet, the layout it was calibrated with, and the table learned."""

    board: Board
    sheet: GameSheet
    layout: Grid
    table: Table


def committed(name: str) -> Photo:
    """One of the committed practice photos of Penmarrow."""
    return load_photo((PHOTOS / name).read_bytes(), name)


def photo_of(shot: Shot, name: str = "photo.jpg") -> Photo:
    """The shot as it comes back from the file that the phone saves."""
    return load_photo(shot.jpeg(), name)


def repainted(photo: Photo, pixels: np.ndarray, name: str = "changed.png") -> Photo:
    """Other pixels, once through a file, under another name; no size is changed by decoding."""
    assert photo.scale == 1
    return from_pixels(pixels, name)


def from_pixels(pixels: np.ndarray, name: str = "made.png") -> Photo:
    """The photo that a PNG file of these uint8 RGB pixels holds."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG", compress_level=1)
    return load_photo(out.getvalue(), name)


def lattice_of(kind: str) -> Lattice:
    bare = regular_lattice(kind, SHAPES[kind])
    return with_anchors(bare, cells_at_edge(bare, "bottom"))


def sheet_of(board: Board, lattice: Lattice) -> GameSheet:
    """A sheet without rules: none are needed to read a board."""
    return GameSheet(
        name=board.title,
        lattice=lattice,
        colours=tuple(Colour(name, chr(65 + i)) for i, name in enumerate(board.paints)),
        cards=(),
        rules=(),
        piece_height_mm=board.piece_mm,
        marks={mark.id: mark.corners_mm for mark in board.marks},
    )


def snap(
    board: Board, grid: dict[str, str], seed: int, light: Conditions = KIND_LIGHT, **changes: object
) -> Shot:
    """A photo from a stand of its own, drawn from the seed, but for what ``changes`` says."""
    rng = np.random.default_rng([seed, 0x5EE])
    stand = {
        "tilt_deg": float(rng.uniform(2, 24)),
        "turn_deg": float(rng.normal(0, 10)),
        "roll_deg": float(rng.normal(0, 4)),
        "k1": float(rng.normal(0, 0.01)),
    }
    return take_photo(board, grid, replace(light, **(stand | changes)), rng)


@cache
def practice(kind: str) -> Practice:
    """The small table of this lattice; the one of hexagons has printed corner marks."""
    lattice = lattice_of(kind)
    board = invent_board(lattice, 40, colours=APART, marks=kind == "hex-pointy")
    sheet = sheet_of(board, lattice)
    layout = known_layout(lattice, APART, np.random.default_rng(6), share=0.8)
    empty = snap(board, empty_grid(board), 1, tilt_deg=4.0, k1=0.01)
    laid = [snap(board, layout, seed) for seed in (2, 3)]
    corners = None if sheet.marks else np.array(empty.truth.board_corners_px)
    table = calibrate(
        kind,
        sheet,
        [photo_of(empty, "empty.jpg")],
        [(photo_of(shot, "layout.jpg"), Grid(layout)) for shot in laid],
        corners,
    )
    return Practice(board, sheet, Grid(layout), table)


@cache
def final_board(kind: str, seed: int) -> Shot:
    """A photo of a finished board of this table, with a few gaps in it."""
    made = practice(kind)
    rng = np.random.default_rng([seed, 0xF1])
    cells = [cell.id for cell in made.sheet.lattice.cells]
    grid = {cell: str(rng.choice(APART)) for cell in cells}
    grid |= dict.fromkeys([str(c) for c in rng.choice(cells, 3, replace=False)], "empty")
    return snap(made.board, grid, 100 + seed)
