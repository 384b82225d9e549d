"""What the table under loose pieces looks like: its colours and the room beyond it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.outlines import Patch, Seen

Small = NDArray[np.float32]
Mask = NDArray[np.bool_]

TABLE_COLOURS = 10

LIKE_TABLE = 12.0
"""CIELAB difference (L at half weight) within which a colour may be the table's."""

DARKER = 15.0
"""The room beyond a table is darker than the table by so much CIELAB L."""

LARGER = 6.0
"""The room shows larger than so many pieces."""


@dataclass(frozen=True, eq=False)
class Ground:
    """The table: ``side``, the root of a piece's area, px; its ``colours`` (K, 3), CIELAB with L at
    half weight; where the picture shows the room ``beyond`` it (H, W)."""

    side: float
    colours: Small
    beyond: Mask


def ground_of(seen: Seen, whole: Sequence[Patch], side: float) -> Ground:
    """The table as it shows well away from these pieces.

    The dark room beyond its edge is none of it: dark pieces would pass for the table.
    """
    near = np.zeros(seen.slope.shape, np.uint8)
    for patch in whole:
        x, y = np.round(patch.middle).astype(int).tolist()
        cv2.circle(near, (x, y), round(1.1 * side), 1, -1)
    bare = seen.known & (near == 0)
    beyond = _beyond_table(seen, bare, side)
    return Ground(side, _colours(seen, bare & ~beyond), beyond)


def _beyond_table(seen: Seen, bare: Mask, side: float) -> Mask:
    """The dark regions at the picture's border that are larger than any heap of pieces."""
    if not bare.any():
        return np.zeros(bare.shape, bool)
    light = float(np.median(seen.lab[bare][:, 0]))
    dark = np.asarray(bare & (seen.lab[..., 0] < light - DARKER), np.uint8)
    rim = cv2.erode(seen.known.astype(np.uint8), np.ones((9, 9)), borderValue=0) == 0
    _, labels, stats, _ = cv2.connectedComponentsWithStats(dark)
    at_rim = np.unique(labels[rim & (dark > 0)])
    large = [i for i in at_rim if i and stats[i, cv2.CC_STAT_AREA] > LARGER * side**2]
    room = np.isin(labels, large).astype(np.uint8)
    return np.asarray(cv2.dilate(room, np.ones((7, 7))) > 0)


def _colours(seen: Seen, bare: Mask) -> Small:
    """CIELAB (K, 3), L at half weight, of the bare table."""
    pixels = half(seen.lab)[bare][:: max(1, int(bare.sum() // 20000))]
    if len(pixels) < TABLE_COLOURS:
        return np.full((1, 3), 1e6, np.float32)
    rule = (cv2.TERM_CRITERIA_MAX_ITER + cv2.TERM_CRITERIA_EPS, 25, 0.5)
    cv2.setRNGSeed(1)
    _, label, centres = cv2.kmeans(
        np.ascontiguousarray(pixels),
        TABLE_COLOURS,
        None,
        rule,
        1,
        cv2.KMEANS_PP_CENTERS,  # type: ignore[call-overload]
    )
    common = np.bincount(np.asarray(label).ravel(), minlength=TABLE_COLOURS) > 0.01 * len(pixels)
    return np.asarray(centres[common], np.float32)


def half(lab: Small) -> Small:
    """CIELAB (..., 3) with L at half weight: a table's light changes more than its hue."""
    return lab * np.array([0.5, 1, 1], np.float32)


def from_table(lab: Small, table: Small) -> Small:
    """Difference of colours (..., 3), L at half weight, from the nearest colour of the table."""
    return np.asarray(
        np.min([np.linalg.norm(lab - colour, axis=-1) for colour in table], axis=0), np.float32
    )
