"""The key strip beside the board: one spare piece of each colour under today's light.

Its geometry is stated here once; ``desk/printing`` prints it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scoring.lattice import pitch_mm
from scoring.sheet import GameSheet
from vision.colour import lab_from_linear
from vision.geometry import homography_between, registration_from
from vision.marks import marks_beside
from vision.sample import colour_inside
from vision.types import Photo

Array = NDArray[np.float64]

MARK_MM, QUIET_MM = 12.0, 4.0
BLOCK_MM = MARK_MM + 2 * QUIET_MM
ROOM_MM = 146.0
"""Width left for slots between the marks, on A4 and on Letter alike."""

LABEL_MM = 6.0
LAST_MARK = 49
USUAL_IDS = (40, 41)

CORE = 0.24
"""Radius of what is sampled, in shares of a slot's width."""

BARE = 7.0
"""CIELAB difference from the strip's paper up to which a slot may be empty."""

SHADES = 33
DEEPEST = 0.5
"""So many shades of the paper are tried, from this share of its darkest label: a hand takes no
more of the light, and a grey piece is darker than the paper by more."""


@dataclass(frozen=True)
class StripPlan:
    """Where things lie on a strip, mm from its top left: ids and top left corners of its two marks,
    size, width of a slot, and the middle of each colour's slot."""

    marks_mm: Mapping[int, tuple[float, float]]
    size_mm: tuple[float, float]
    slot_mm: float
    slots_mm: Mapping[str, tuple[float, float]]


def strip_plan(sheet: GameSheet) -> StripPlan:
    """The strip of a sheet; its marks are none of the sheet's own."""
    slot = max(14.0, pitch_mm(sheet.lattice) + 4)
    across = min(len(sheet.colours), int(ROOM_MM // slot))
    rows = -(-len(sheet.colours) // across)
    wide = 2 * BLOCK_MM + across * slot
    free = [i for i in (*USUAL_IDS, *range(LAST_MARK, -1, -1)) if i not in sheet.marks]
    first, second = list(dict.fromkeys(free))[:2]
    slots = {
        colour.name: (
            BLOCK_MM + (i % across + 0.5) * slot,
            (i // across) * (slot + LABEL_MM) + 0.5 * slot,
        )
        for i, colour in enumerate(sheet.colours)
    }
    return StripPlan(
        marks_mm={first: (QUIET_MM, QUIET_MM), second: (wide - BLOCK_MM + QUIET_MM, QUIET_MM)},
        size_mm=(wide, max(BLOCK_MM, rows * (slot + LABEL_MM))),
        slot_mm=slot,
        slots_mm=slots,
    )


def read_strip(
    photo: Photo, plan: StripPlan, piece_height_mm: float, board_px: Array | None = None
) -> tuple[tuple[str, ...], Array, Array]:
    """Colours with a piece on their slot, its linear RGB (N, 3) and its middle (N, 2), photo px.

    ``board_px``: corners (4, 2) of a board that lies beside it. Nothing where not both marks are
    seen. A slot that may show the strip's bare paper is left out, an empty one as well as a piece
    of the paper's own colour.
    """
    seen = marks_beside(photo, board_px)
    none = ((), np.zeros((0, 3)), np.zeros((0, 2)))
    if not set(plan.marks_mm) <= set(seen):
        return none
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * MARK_MM
    known = np.vstack([square + corner for corner in plan.marks_mm.values()])
    h = homography_between(known, np.vstack([seen[i] for i in plan.marks_mm]), 3.0)
    if h is None:
        return none
    lies = registration_from(h, photo.full_size_px, "strip")
    middles = np.array(list(plan.slots_mm.values()))
    ring = np.array([[np.cos(a), np.sin(a)] for a in np.linspace(0, 2 * np.pi, 24)])
    tops, floors = (
        np.array([colour_inside(photo, lies.project(at + CORE * plan.slot_mm * ring, high))
                  for at in middles]) for high in (piece_height_mm, 0.0)
    )  # fmt: skip
    papers = np.array([colour_inside(photo, lies.project(at + _label(plan))) for at in middles])
    laid = [i for i in range(len(middles))
            if np.isfinite(tops[i]).all() and not _bare(floors[i], papers[i], papers)]  # fmt: skip
    names = tuple(name for i, name in enumerate(plan.slots_mm) if i in laid)
    return names, tops[laid], lies.project(middles, piece_height_mm)[laid]


def _label(plan: StripPlan) -> Array:
    """The box (4, 2) of a slot's label, mm from the slot's middle: paper with a little ink."""
    half, rim = plan.slot_mm / 2 - 1, 0.5
    low, high = plan.slot_mm / 2 + rim, plan.slot_mm / 2 + LABEL_MM - rim
    return np.array([[-half, low], [half, low], [half, high], [-half, high]])


def _bare(floor: Array, paper: Array, papers: Array) -> bool:
    """Whether a slot's floor (3,) may be the paper beside it, in any light that falls on the strip.

    A shadow's edge may run between slot and label, so that the floor may be darker than all labels,
    ``papers`` (N, 3).
    """
    seen = papers[np.isfinite(papers).all(axis=1)]
    if not np.isfinite(floor).all() or not np.isfinite(paper).all():
        return True
    bright = seen.sum(axis=1) / paper.sum()
    shades = np.geomspace(DEEPEST * bright.min(), bright.max(), SHADES)
    apart = lab_from_linear(shades[:, None] * paper) - lab_from_linear(floor)
    return bool(np.linalg.norm(apart, axis=1).min() < BARE)
