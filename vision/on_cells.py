"""A board with little artwork: its registration from what its pieces cannot cover, and their edges.

Where most of the print lies under pieces, the pieces' edges pass for it, a piece's height beside
it. So only patches that no piece can cover are aligned, a straight one across its edge only; and
the outlines of bare cells and of the pieces' tops, which lie askew, are fitted along with them at a
tenth of their weight, to hold the board where too few patches would.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.lattice import cell_centres_mm, pitch_mm
from scoring.types import Lattice
from vision.geometry import can_be, px_per_mm, refine_registration
from vision.greys import grey_of
from vision.level import level_artwork, plan_of
from vision.patches import align_patches, patches_of
from vision.rivals import SEEN
from vision.sample import likeness_of
from vision.sightings import CLEAR, sighted
from vision.types import Registration
from vision.view import View

Array = NDArray[np.float64]

INSETS = (0.76, 0.82, 0.88, 0.94, 1.0)
"""Sizes at which outlines are sought, in shares of the cell: pieces are smaller than cells."""

CELL_ROUNDS = ((0.22, 40), (0.10, 56))
"""Search radius in shares of the pitch, and px of the levelled picture from a cell to the next."""

MOST_CELLS = 60
"""Of more cells than this, every second, third or so is sought."""

BARE = 0.5
PIECE = 0.3
"""Correlation of a cell's outline with its printed self from which it counts as bare, and up to
which it counts as a piece; what lies between is left out."""

CELL_TRUST = 0.1
"""What a cell's outline counts to a printed patch: pieces lie askew, and show their sides."""

NEAR = 0.07
OF_CLEAR, OF_ALL = 0.6, 0.3
"""A registration holds where so large a share of the clear cells, and of all, lies as far off its
place as most do, within ``NEAR`` of the pitch: under a tilt all pieces show more of one side."""

CELLS_OFF, ENOUGH = 0.03, 24
"""By so much of the pitch the edges of all pieces alike may seem to lie beside them; by more, in
inverse proportion, where fewer than so many patches hold the board."""

FEWEST = 12
"""Patches and cells together below which nothing is fitted. All by hand."""


def refined_on_cells(
    view: View,
    start: Registration,
    lattice: Lattice,
    artwork: Artwork,
    piece_mm: float,
    telling: NDArray[np.bool_],
    reaches_px: Sequence[int],
) -> Registration | None:
    """``start`` refined on the ``telling`` patches (N,) and the outlines of the cells.

    ``piece_mm``: height of the pieces. ``reaches_px``: the patches' search radii, artwork px. None
    where too little of both is seen, or where the cells do not lie where they should then.
    """
    places = np.array(cell_centres_mm(lattice))
    found = start
    cells_mm, cells_px = np.empty((0, 2)), np.empty((0, 2))
    for number, reach_px in enumerate(reaches_px):
        if number < len(CELL_ROUNDS):
            cells_mm, cells_px = cells_seen(view, found, lattice, artwork, piece_mm, number)
        board_mm, photo_px, scores = align_patches(view, found, artwork, reach_px)
        good = telling & (scores >= SEEN)
        if good.sum() + len(cells_mm) < FEWEST:
            return None
        told = _across_edges(found, board_mm, patches_of(artwork).along)[good]
        held = np.tile(CELL_TRUST * np.eye(2), (len(cells_mm), 1, 1))
        found = refine_registration(
            found,
            np.concatenate([board_mm[good], cells_mm]),
            np.concatenate([photo_px[good], cells_px]),
            view.photo.full_size_px,
            places,
            np.concatenate([told, held]),
        )
        if not can_be(found):
            return None
    cells_mm, cells_px = cells_seen(view, found, lattice, artwork, piece_mm, 1)
    off_px = found.project(cells_mm) - cells_px
    askew_px = np.linalg.norm(off_px - np.median(off_px, axis=0), axis=1)
    near = int((askew_px < NEAR * pitch_mm(lattice) * px_per_mm(found, cells_mm)).sum())
    if near < max(OF_CLEAR * len(cells_mm), OF_ALL * len(places) / _every(lattice)):
        return None
    off_mm = CELLS_OFF * pitch_mm(lattice) * max(1.0, ENOUGH / max(int(good.sum()), 1))
    return replace(found, error_mm=float(np.hypot(found.error_mm, off_mm)))


def _every(lattice: Lattice) -> int:
    """Of so many cells one is sought."""
    return -(-len(lattice.cells) // MOST_CELLS)


def _across_edges(registration: Registration, board_mm: Array, along: Array) -> Array:
    """Projections (N, 2, 2), photo px, that leave out what lies along each patch's edge."""
    way = registration.project(board_mm + along) - registration.project(board_mm)
    way = way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    return np.asarray(np.eye(2) - way[:, :, None] * way[:, None, :])


def cells_seen(
    view: View,
    registration: Registration,
    lattice: Lattice,
    artwork: Artwork,
    piece_mm: float,
    number: int,
) -> tuple[Array, Array]:
    """Centres (N, 2) mm of the cells whose outlines are clear, and px where they lie.

    A piece's outline is sought at the height of its top, and taken down to the board.
    ``number``: of the round in ``CELL_ROUNDS``.
    """
    reach, pitch_px = CELL_ROUNDS[number]
    places, plan = np.array(cell_centres_mm(lattice)), plan_of(lattice)
    board = view.level(registration, plan.origin_mm, plan.px_per_mm, plan.size_px)
    likeness = likeness_of(board, grey_of(level_artwork(artwork, plan)), plan)
    places_mm, places_px = [np.empty((0, 2))], [np.empty((0, 2))]
    wanted = np.zeros(len(places), bool)
    wanted[:: _every(lattice)] = True
    for here, z_mm in (
        (wanted & (likeness >= BARE), 0.0),
        (wanted & (likeness <= PIECE), piece_mm),
    ):
        outlines = [
            np.array(cell.polygon_mm)
            for cell, taken in zip(lattice.cells, here, strict=True)
            if taken
        ]
        if not outlines:
            continue
        scale, reach_px = pitch_px / pitch_mm(lattice), round(reach * pitch_px)
        seen = sighted(view, registration, outlines, INSETS, scale, reach_px, z_mm)
        clear, at = seen.clear >= CLEAR, places[here]
        tops = registration.project(at + seen.offsets_mm, z_mm)
        fallen = registration.project(at) - registration.project(at, z_mm)
        places_mm.append(at[clear])
        places_px.append((tops + fallen)[clear])
    return np.concatenate(places_mm), np.concatenate(places_px)
