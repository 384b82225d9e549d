"""A printed key strip that lies on the table beside the board, a spare piece on each slot.

Its measures are stated here anew, as a ruler finds them on the printed page, and not taken from
what reads it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samples.artwork import draw_mark
from samples.board import ART_PX_PER_MM, Mark

MARK_MM, BLOCK_MM, LABEL_MM = 12.0, 20.0, 6.0
"""Sides of a mark and of the field round it, and the height of a label below a slot."""

ACROSS_MM = 146.0
"""Slots go on in a second row beyond this."""

PAPER_MM = 0.2
FIELD = (205, 205, 205)
GAP_MM = 12.0
"""Between the board's lower edge and the strip, about."""


@dataclass(frozen=True, eq=False)
class Strip:
    """One strip: its print (uint8 sRGB at ``ART_PX_PER_MM``), its size, the middle of each
    colour's slot (mm from its own top left), the ids of its two marks, where its top left lies
    (board mm) and how far it is turned there (degrees).
    """

    art: NDArray[np.uint8]
    size_mm: tuple[float, float]
    slots_mm: Mapping[str, tuple[float, float]]
    ids: tuple[int, int]
    at_mm: tuple[float, float]
    turn_deg: float

    def on_table(self, points_mm: NDArray) -> NDArray[np.float64]:
        """Return points (N, 2) of the strip in board mm."""
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.asarray(points_mm, float) @ np.array([[c, s], [-s, c]]) + self.at_mm

    @property
    def corners_mm(self) -> NDArray[np.float64]:
        """Where its corners lie, shape (4, 2), in board mm."""
        wide, tall = self.size_mm
        return self.on_table(np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]]))


def lay_strip(
    colours: Sequence[str],
    pitch_mm: float,
    board_mm: tuple[float, float],
    taken: Sequence[int],
    rng: np.random.Generator,
) -> Strip:
    """Print the strip of these colours and lay it below a board of this size by hand.

    ``taken`` are the ids of the board's own marks.
    """
    slot = max(14.0, pitch_mm + 4.0)
    across = min(len(colours), int(ACROSS_MM / slot))
    rows = int(np.ceil(len(colours) / across))
    size = (2 * BLOCK_MM + across * slot, max(BLOCK_MM, rows * (slot + LABEL_MM)))
    slots = {
        name: (BLOCK_MM + (i % across + 0.5) * slot, (i // across) * (slot + LABEL_MM) + slot / 2)
        for i, name in enumerate(colours)
    }
    first, second = [i for i in (40, 41, *range(49, -1, -1)) if i not in taken][:2]
    left = 0.5 * (board_mm[0] - size[0]) + float(rng.uniform(-15, 15))
    top = board_mm[1] + GAP_MM + float(rng.uniform(0, 6))
    art = print_strip(size, slot, slots, (first, second))
    return Strip(art, size, slots, (first, second), (left, top), float(rng.normal(0, 2.0)))


def print_strip(
    size_mm: tuple[float, float],
    slot_mm: float,
    slots_mm: Mapping[str, tuple[float, float]],
    ids: tuple[int, int],
) -> NDArray[np.uint8]:
    """Return the print: a grey field, two marks, thin frames and each colour's name."""
    wide, tall = (round(side * ART_PX_PER_MM) for side in size_mm)
    art = np.full((tall, wide, 3), FIELD, np.uint8)
    rim = (BLOCK_MM - MARK_MM) / 2
    for mark, x in zip(ids, (rim, size_mm[0] - BLOCK_MM + rim), strict=True):
        draw_mark(art, mark_at(mark, x, rim), FIELD[0])
    half = slot_mm / 2
    for name, (x, y) in slots_mm.items():
        low, high = (x - half + 1, y - half + 1), (x + half - 1, y + half - 1)
        ends = [tuple(round(part * ART_PX_PER_MM) for part in corner) for corner in (low, high)]
        cv2.rectangle(art, ends[0], ends[1], (40, 40, 40), 2)
        foot = (round((x - half + 4) * ART_PX_PER_MM), round((y + half + 4) * ART_PX_PER_MM))
        cv2.putText(art, name, foot, cv2.FONT_HERSHEY_SIMPLEX, 0.8, (20, 20, 20), 2, cv2.LINE_AA)
    return art


def mark_at(number: int, x: float, y: float) -> Mark:
    """Return a mark of the strip, its top left in mm from the strip's."""
    side = MARK_MM
    return Mark(number, ((x, y), (x + side, y), (x + side, y + side), (x, y + side)))
