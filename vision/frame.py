"""The frame of a new table: the first photo's registration, refined on the board's printed cells.

Marks on loose cards lie a millimetre off, taps a few px, and neither shows the lens. The outlines
of the cells do: each bare cell is sought near where it is expected, and a homography with one
radial term is fitted to all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scoring.lattice import cell_centres_mm, pitch_mm
from scoring.types import Lattice
from vision.geometry import can_be, refine_registration
from vision.sightings import CLEAR, sighted
from vision.types import Photo, Registration
from vision.view import view_of

Array = NDArray[np.float64]

INSETS: Sequence[float] = (0.76, 0.8, 0.84, 0.88, 0.92, 0.96, 1.0, 1.04)
"""Sizes at which outlines are sought, in shares of the cell: a print may leave a rim of its own."""

ROUNDS = ((0.22, 48), (0.10, 72), (0.08, 72))
"""Search radius in shares of the pitch, and px of the levelled picture from a cell to the next:
less than half a cell, so that no cell is ever taken for its neighbour."""

ENOUGH_CLEAR = 0.6
"""Share of the cells that must be clear, and fit; fewer leave the frame as it was."""

PRINT_OFF = 0.025
"""By so much of the pitch all cells alike may be printed beside their outlines, rounded ends for
one; no photo of the board alone can tell. 1.8 % is the most seen."""

FITS = 0.04
"""Largest residual of a cell that counts as fitting, in shares of the pitch. All by hand."""


def frame_on_cells(photo: Photo, start: Registration, lattice: Lattice) -> Registration:
    """``start`` refined on the outlines of all cells of a bare board, lens included.

    ``error_mm`` is then the half width of a 95 % interval of a cell centre; it stays infinite, and
    the registration as it was, where too few outlines are clear or they do not agree.
    """
    places, pitch = np.array(cell_centres_mm(lattice)), pitch_mm(lattice)
    outlines = [np.array(cell.polygon_mm) for cell in lattice.cells]
    view, found, insets = view_of(photo), start, INSETS
    for reach, pitch_px in ROUNDS:
        px_per_mm = pitch_px / pitch
        seen = sighted(view, found, outlines, insets, px_per_mm, round(reach * pitch_px))
        insets = (seen.inset,)
        good = seen.clear >= CLEAR
        if good.mean() < ENOUGH_CLEAR or good.sum() < 8:
            return start
        there = found.project(places + seen.offsets_mm)
        found = refine_registration(found, places[good], there[good], photo.full_size_px, places)
        if not can_be(found):
            return start
    # What is left over between the last sighting and the fit to it.
    left_px = np.linalg.norm(found.project(places) - there, axis=1)
    beside = found.project(places + np.array([pitch, 0]))
    side_px = np.linalg.norm(beside - found.project(places), axis=1)
    fitting = good & (left_px < FITS * side_px)
    if fitting.mean() < ENOUGH_CLEAR:
        return start
    error_mm = float(np.hypot(found.error_mm, PRINT_OFF * pitch))
    return replace(found, error_mm=error_mm)
