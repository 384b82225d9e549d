"""Finding the board by its own printed artwork, and aligning to it below a pixel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from vision.geometry import homography_between
from vision.rectify import rectify, to_full
from vision.types import Photo, Registration

Array = NDArray[np.float64]

LOOKS = ((700, 0.90), (1000, 0.85), (1400, 0.90))
"""Long side (px) and ratio of Lowe's test at which features are matched, one after the other."""

MOST_POINTS = 2000
FEWEST_POINTS = 8
PATCH_PX = 27
PATCHES_ACROSS = 18


def grey_of(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Grey (H, W) uint8 of an RGB picture."""
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)


def soft_grey(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Grey (H, W) float32 of an RGB picture, blurred by one px so that noise counts less."""
    grey = grey_of(pixels).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 1.0), np.float32)


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


@dataclass(frozen=True, eq=False)
class Match:
    """Homography board mm -> photo px (3, 3), and how many matched features agree with it."""

    homography: Array
    support: int


def photo_features(photo: Photo, long_side_px: int) -> Features:
    """Features of the photo shrunk to ``long_side_px``."""
    grey = grey_of(photo.pixels)
    k = max(grey.shape) / long_side_px
    if k > 1:
        grey = np.asarray(
            cv2.resize(grey, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA), np.uint8
        )
    k = max(k, 1.0)
    points, descriptors = _root_sift(grey, None, most=MOST_POINTS)
    return Features(to_full(photo, (points + 0.5) * k - 0.5), descriptors, k * photo.scale)


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
    best_two = np.partition(similar, -2, axis=1)[:, -2:]
    forward, backward = similar.argmax(1), similar.argmax(0)
    rows = np.arange(len(a))
    d1 = np.sqrt(np.clip(2 - 2 * best_two[:, 1], 0, None))
    d2 = np.sqrt(np.clip(2 - 2 * best_two[:, 0], 1e-9, None))
    good = (backward[forward] == rows) & (d1 < ratio * d2)
    return np.column_stack([rows[good], forward[good]])


@lru_cache(maxsize=16)
def artwork_patches(artwork: Artwork) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Softened grey artwork (H, W), and centres (N, 2) px of its most telling patches."""
    grey = soft_grey(artwork.pixels)
    strength = cv2.cornerMinEigenVal(grey, PATCH_PX)
    half = PATCH_PX // 2 + 1
    allowed = cv2.erode(artwork.known.astype(np.uint8), np.ones((PATCH_PX + 2, PATCH_PX + 2)))
    allowed[:half], allowed[-half:], allowed[:, :half], allowed[:, -half:] = 0, 0, 0, 0
    strength = np.where(allowed > 0, strength, -1)
    step = max(grey.shape) // PATCHES_ACROSS
    centres = []
    for top in range(0, grey.shape[0], step):
        for left in range(0, grey.shape[1], step):
            block = strength[top : top + step, left : left + step]
            row, column = np.unravel_index(int(block.argmax()), block.shape)
            if block[row, column] > 0:
                centres.append((left + column, top + row))
    return grey, np.array(centres, np.int64).reshape(-1, 2)


def align_patches(
    photo: Photo, registration: Registration, artwork: Artwork, reach_px: int
) -> tuple[Array, Array, Array]:
    """Where each artwork patch lies in the photo, near where ``registration`` expects it.

    Returns board mm (N, 2), photo px (N, 2) and the zero-mean normalised cross-correlation there
    (N,), 0 at the rim of the search. ``reach_px`` is the search radius in artwork px.
    Source: J. P. Lewis, "Fast normalized cross-correlation", 1995 (as OpenCV's matchTemplate).
    """
    grey, centres = artwork_patches(artwork)
    level = rectify(
        photo, registration, artwork.origin_mm, artwork.px_per_mm, (grey.shape[1], grey.shape[0])
    )
    seen = soft_grey(level)
    half = PATCH_PX // 2
    padded = cv2.copyMakeBorder(seen, reach_px, reach_px, reach_px, reach_px, cv2.BORDER_REPLICATE)
    offsets, scores = np.zeros((len(centres), 2)), np.zeros(len(centres))
    for i, (x, y) in enumerate(centres):
        patch = grey[y - half : y + half + 1, x - half : x + half + 1]
        window = padded[
            y - half : y + half + 1 + 2 * reach_px, x - half : x + half + 1 + 2 * reach_px
        ]
        offsets[i], scores[i] = _peak(
            np.asarray(cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED), np.float32)
        )
    offsets -= reach_px
    at_mm = artwork.to_mm(centres + offsets)
    return artwork.to_mm(centres.astype(float)), registration.project(at_mm), scores


def _peak(surface: NDArray[np.float32]) -> tuple[tuple[float, float], float]:
    """Sub-pixel (x, y) of the highest value, by parabolas through its neighbours, and the value."""
    _, top, _, (x, y) = cv2.minMaxLoc(surface)
    dx = dy = 0.0
    if 0 < x < surface.shape[1] - 1 and 0 < y < surface.shape[0] - 1:
        dx = _parabola(surface[y, x - 1], top, surface[y, x + 1])
        dy = _parabola(surface[y - 1, x], top, surface[y + 1, x])
    else:
        top = 0.0
    return (x + dx, y + dy), top


def _parabola(before: float, top: float, after: float) -> float:
    bend = before - 2 * top + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0
