"""Finding the board by features of its own printed artwork."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from vision.geometry import homography_between
from vision.greys import grey_of
from vision.rectify import to_full
from vision.view import View

Array = NDArray[np.float64]

LOOKS = ((520, 0.90), (1000, 0.85), (1400, 0.90))
"""Long side (px) and ratio of Lowe's test at which features are matched, one after the other."""

MOST_POINTS = 2000
FEWEST_POINTS = 8


def _root_sift(
    grey: NDArray[np.uint8], mask: NDArray[np.uint8] | None, most: int
) -> tuple[Array, NDArray[np.float32]]:
    """Key points (N, 2) px and RootSIFT descriptors (N, 128).

    Source: Lowe, IJCV 60(2), 2004; Arandjelovic and Zisserman, CVPR 2012 (RootSIFT).
    """
    points, descriptors = cv2.SIFT.create(nfeatures=most, contrastThreshold=0.02).detectAndCompute(
        grey, mask
    )
    if descriptors is None:
        return np.empty((0, 2)), np.empty((0, 128), np.float32)
    rooted = np.sqrt(descriptors / (descriptors.sum(1, keepdims=True) + 1e-7))
    return np.array([p.pt for p in points], np.float64), rooted.astype(np.float32)


@lru_cache(maxsize=16)
def artwork_features(artwork: Artwork) -> tuple[Array, NDArray[np.float32]]:
    """Key points (N, 2) board mm and descriptors of the artwork; kept from photo to photo."""
    points, descriptors = _root_sift(
        grey_of(artwork.pixels), artwork.known.astype(np.uint8) * 255, most=MOST_POINTS
    )
    return artwork.to_mm(points), descriptors


@dataclass(frozen=True, eq=False)
class Features:
    """Key points (N, 2) full-size px of a photo, their RootSIFT descriptors (N, 128), and how many
    full-size px one px of the picture was in which they were found."""

    points_px: Array
    descriptors: NDArray[np.float32]
    step_px: float

    def outside(self, outline_px: Array) -> Features:
        """Those that lie outside a convex polygon (N, 2) px."""
        along = np.roll(outline_px, -1, axis=0) - outline_px
        to = self.points_px[:, None] - outline_px
        side = along[:, 0] * to[..., 1] - along[:, 1] * to[..., 0]
        out = ~((side >= 0).all(axis=1) | (side <= 0).all(axis=1))
        return replace(self, points_px=self.points_px[out], descriptors=self.descriptors[out])


@dataclass(frozen=True, eq=False)
class Match:
    """Homography board mm -> photo px (3, 3), and how many matched features agree with it."""

    homography: Array
    support: int


def photo_features(view: View, long_side_px: int) -> Features:
    """Features of the photo shrunk to ``long_side_px``."""
    grey, k = view.shrunk(long_side_px)
    points, descriptors = _root_sift(grey, None, most=MOST_POINTS)
    return Features(
        to_full(view.photo, (points + 0.5) * k - 0.5), descriptors, k * view.photo.scale
    )


def match_artwork(features: Features, artwork: Artwork, ratio: float) -> Match | None:
    """The homography that most matched features agree on, or None where too few do.

    A match must be mutual, and nearer than its runner-up by ``ratio``.
    """
    places_mm, known = artwork_features(artwork)
    if min(len(features.points_px), len(places_mm)) < FEWEST_POINTS:
        return None
    pairs = _mutual_matches(known, features.descriptors, ratio)
    board_mm, photo_px = places_mm[pairs[:, 0]], features.points_px[pairs[:, 1]]
    tolerance_px = 3.0 * features.step_px
    homography = homography_between(board_mm, photo_px, tolerance_px)
    if homography is None or np.linalg.det(homography) <= 0:
        return None
    there = cv2.perspectiveTransform(board_mm[None], homography)[0]
    agree = np.linalg.norm(there - photo_px, axis=1) < tolerance_px
    return Match(homography, int(agree.sum()))


def _mutual_matches(
    a: NDArray[np.float32], b: NDArray[np.float32], ratio: float
) -> NDArray[np.int64]:
    """Index pairs (M, 2) that are each other's nearest and pass Lowe's ratio test."""
    similar = a @ b.T
    rows = np.arange(len(a))
    forward, backward = similar.argmax(1), np.ascontiguousarray(similar.T).argmax(1)
    nearest = similar[rows, forward]
    similar[rows, forward] = -1
    d1 = np.sqrt(np.clip(2 - 2 * nearest, 0, None))
    d2 = np.sqrt(np.clip(2 - 2 * similar.max(1), 1e-9, None))
    good = (backward[forward] == rows) & (d1 < ratio * d2)
    return np.column_stack([rows[good], forward[good]])
