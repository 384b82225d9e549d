"""Invent a board to photograph: paints for its colours, marks for its corners, art for its
print.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from samples.artwork import draw_board
from samples.board import Board, Corners, Mark, Place
from samples.spectra import paint, srgb_to_linear
from scoring.sheet import GameSheet
from scoring.types import Lattice

PAINTS: dict[str, str] = {
    "slate": "#5a6c80", "moss": "#5b7a3a", "rust": "#9d452c", "copper": "#ae5b36",
    "straw": "#dcb964", "plum": "#70405f", "chalk": "#dedbd0", "tar": "#2a2a2e",
    "sea": "#3f8f98", "brick": "#a63d33", "sand": "#cdb083", "indigo": "#35407e",
    "rose": "#d9858c", "fern": "#3f7f45", "sun": "#e9c22f", "flame": "#e0672a",
    "violet": "#8468b0", "mint": "#8fcbab", "bone": "#e7dfc4", "coal": "#3b3835",
    "sky": "#74aede", "berry": "#b02a55", "olive": "#857f35", "walnut": "#6d4a33",
    "lichen": "#c3c27e",
}  # fmt: skip
"""Day-light sRGB of paints by plain name; a colour with another name gets one of them."""

TITLES = ("Orlow Wharf", "Nine Gardens", "Tamber Hollow", "Quillmere", "Saltgate", "The Low Kiln")


def paints_for(names: Sequence[str], rng: np.random.Generator) -> dict[str, NDArray[np.float64]]:
    """Return a reflectance for each colour name, each with its own small metameric ripple."""
    spare = [name for name in PAINTS if name not in names]
    chosen = {name: name if name in PAINTS else str(rng.choice(spare)) for name in names}
    return {
        name: paint(linear(PAINTS[of]), rng.uniform(-0.06, 0.06)) for name, of in chosen.items()
    }


def linear(hexadecimal: str) -> NDArray[np.float64]:
    """Return linear sRGB of shape (3,) from ``#rrggbb``."""
    return srgb_to_linear(np.array([int(hexadecimal[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0)


def invent_colours(rng: np.random.Generator, number: int) -> tuple[str, ...]:
    """Return that many colour names in no particular order."""
    return tuple(str(name) for name in rng.permutation(list(PAINTS))[:number])


def corner_marks(size_mm: tuple[float, float], room_mm: float) -> tuple[Mark, ...]:
    """Return marks 0 to 3 clockwise from the top left, as large as a frame of ``room_mm``
    allows.
    """
    side = round(min(0.62 * room_mm, 16.0), 1)
    gap = side / 6 + 0.6
    width, height = size_mm
    lefts = (gap, width - gap - side, width - gap - side, gap)
    tops = (gap, gap, height - gap - side, height - gap - side)
    return tuple(
        Mark(i, _square(x, y, side)) for i, (x, y) in enumerate(zip(lefts, tops, strict=True))
    )


def card_marks(size_mm: tuple[float, float], rng: np.random.Generator) -> tuple[Mark, ...]:
    """Return marks 0 to 3 of 18 mm on cards laid by hand, under 1 mm off, left and right of the
    board.
    """
    width, height = size_mm
    spots = [(-25.0, 6.0), (width + 7.0, 6.0), (width + 7.0, height - 24.0), (-25.0, height - 24.0)]
    marks = []
    for number, (x, y) in enumerate(spots):
        wanted = np.array(_square(x, y, 18.0))
        lies = wanted + rng.uniform(-0.6, 0.6, 2) + rng.uniform(-0.15, 0.15, (1, 2))
        placed = tuple((float(a), float(b)) for a, b in lies)
        marks.append(Mark(number, _square(x, y, 18.0), "card", placed))
    return tuple(marks)


def invent_board(
    game: GameSheet | Lattice,
    seed: int,
    *,
    colours: Sequence[str] | int = 6,
    marks: Sequence[Mark] | bool | None = None,
    title: str | None = None,
) -> Board:
    """Invent the board of a game sheet, or of a bare lattice, from a seed.

    ``colours`` (of a bare lattice) names the pieces' colours, or says how many to invent.
    ``marks``: None prints what the sheet says (a bare lattice: none), False none, True our own
    in the corners (the frame must be at least 12 mm wide), or the marks themselves.
    """
    if isinstance(game, GameSheet):
        names = tuple(colour.name for colour in game.colours)
        printed = _marks_of(marks, game.lattice, sheet_marks(game))
        heading = title or game.name
        return _make(game.lattice, seed, names, printed, (heading, game.piece_height_mm))
    rng = np.random.default_rng([seed, 0xB0A])
    names = invent_colours(rng, colours) if isinstance(colours, int) else tuple(colours)
    heading = title or str(rng.choice(TITLES))
    return _make(game, seed, names, _marks_of(marks, game, ()), (heading, 0.0))


def sheet_marks(sheet: GameSheet) -> tuple[Mark, ...]:
    """Return the marks that a sheet declares."""
    return tuple(
        Mark(id, corners, sheet.marks_on.get(id, "board")) for id, corners in sheet.marks.items()
    )


def _make(
    lattice: Lattice,
    seed: int,
    names: Sequence[str],
    marks: tuple[Mark, ...],
    cut: tuple[str, float],
) -> Board:
    """Make the board; ``cut`` is its title and its pieces' height in mm (0: invent one)."""
    rng = np.random.default_rng([seed, 0xB0B])
    title, tall = cut
    places = tuple(Place(cell.id, cell.polygon_mm, cell.anchor) for cell in lattice.cells)
    return Board(
        title=title,
        size_mm=lattice.board_size_mm,
        places=places,
        paints=paints_for(names, rng),
        marks=marks,
        art=draw_board(title.upper(), lattice.board_size_mm, places, marks, seed),
        piece_mm=tall or round(float(rng.uniform(2.0, 4.0)), 1),
    )


def _marks_of(
    marks: Sequence[Mark] | bool | None, lattice: Lattice, own: tuple[Mark, ...]
) -> tuple[Mark, ...]:
    if marks is None:
        return own
    if not isinstance(marks, bool):
        return tuple(marks)
    return corner_marks(lattice.board_size_mm, frame_mm(lattice)) if marks else ()


def frame_mm(lattice: Lattice) -> float:
    """Return the width of the narrowest side of the frame round the cells, in mm."""
    corners = np.concatenate([np.asarray(cell.polygon_mm) for cell in lattice.cells])
    beyond = np.array(lattice.board_size_mm) - corners.max(axis=0)
    return float(min(corners.min(), beyond.min()))


def _square(x: float, y: float, side: float) -> Corners:
    return ((x, y), (x + side, y), (x + side, y + side), (x, y + side))
