"""The cell of a lattice at pitch 1, and which step of the lattice a place lies at."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from scoring.regular import Shape, piece_outline, place_outline

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CellShape:
    """A lattice's cell at pitch 1: outline (K, 2) about its middle, its area, and the vectors
    ``across`` (2,) of one u and ``down`` (2,) of one v; whether every step (u, v) is a cell, and
    whether the lattice looks the same after a quarter turn."""

    outline: Array
    area: float
    across: Array
    down: Array
    every_step: bool
    quarter_turns: bool

    def nearest(self, offsets: Array) -> tuple[NDArray[np.int64], Array]:
        """Steps (M, 2) nearest to offsets (M, 2) in pitches, and how far off they are (M,)."""
        u, v = offsets[:, 0] / self.across[0], offsets[:, 1] / self.down[1]
        tries = []
        for du, dv in ((0, 0), (-1, 0), (1, 0), (0, -1), (0, 1)):
            step = np.column_stack([np.round(u) + du, np.round(v) + dv])
            off = np.linalg.norm(step * [self.across[0], self.down[1]] - offsets, axis=1)
            exists = self.every_step | (step.sum(axis=1) % 2 == 0)
            tries.append((step, np.where(exists, off, np.inf)))
        best = np.argmin([off for _, off in tries], axis=0)
        rows = np.arange(len(offsets))
        steps = np.stack([step for step, _ in tries])[best, rows]
        return steps.astype(np.int64), np.stack([off for _, off in tries])[best, rows]


def cell_shape(like: str, tall: float = 1.0) -> CellShape:
    """The cell of a lattice; ``tall`` is a course's height over its width."""
    shape = Shape((1,), 1.0, row_pitch_mm=tall if like == "courses" else None)
    middles = {s: np.array(place_outline(like, shape, s)) for s in ((0, 0), (2, 0), (0, 2))}
    at = {s: (o.min(axis=0) + o.max(axis=0)) / 2 for s, o in middles.items()}
    outline = np.array(piece_outline(like, shape, (0, 0))) - at[0, 0]
    return CellShape(
        outline=outline,
        area=float(cv2.contourArea(outline.astype(np.float32))),
        across=(at[2, 0] - at[0, 0]) / 2,
        down=(at[0, 2] - at[0, 0]) / 2,
        every_step=like == "square",
        quarter_turns=like in ("square", "diamond"),
    )
