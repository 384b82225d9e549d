"""Patches of the learned artwork, and where they lie in a photo."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from vision.types import Registration
from vision.view import View, grey_of

Array = NDArray[np.float64]
Soft = NDArray[np.float32]

PATCH_PX = 27
"""Side of a patch, artwork px (the board is 1000 long)."""

PATCHES_ACROSS = 18

PLAINEST = 1.5
"""Spread of grey levels below which a patch shows noise and grain only (by hand)."""

FEWEST_PATCHES = 10
"""Patches seen below which a registration is not refined on them."""

SHRINK = 2
"""Patches are sought in pictures this many times smaller than the artwork: correlation places them
to a tenth of a px, which is 0.04 mm on a board of 200 mm, and costs a quarter."""


@dataclass(frozen=True, eq=False)
class Patches:
    """The artwork's telling places: ``small`` (H, W), the artwork in grey, softened and shrunk;
    ``centres`` (N, 2) px of it, and the templates cut from it there."""

    small: Soft
    centres: NDArray[np.int64]
    templates: tuple[Soft, ...]


def softened(grey: NDArray[np.uint8]) -> Soft:
    """Grey (H, W) float32, blurred by one px so that noise counts less."""
    return np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0), np.float32)


@lru_cache(maxsize=16)
def patches_of(artwork: Artwork) -> Patches:
    """The patches of an artwork; kept from photo to photo."""
    grey = softened(grey_of(artwork.pixels))
    centres = _telling_places(grey, artwork.known)
    height, width = (side // SHRINK for side in grey.shape)
    whole = grey[: height * SHRINK, : width * SHRINK]
    small = np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), np.float32)
    half = PATCH_PX // SHRINK // 2
    at = np.clip(centres // SHRINK, half, np.array([width, height]) - half - 1)
    templates = tuple(
        np.ascontiguousarray(small[y - half : y + half + 1, x - half : x + half + 1]) for x, y in at
    )
    return Patches(small, at, templates)


def _telling_places(grey: Soft, known: NDArray[np.bool_]) -> NDArray[np.int64]:
    """The most corner-like known place (N, 2) px of each block of the artwork that shows any."""
    strength = cv2.cornerMinEigenVal(grey, PATCH_PX)
    inner = (PATCH_PX // 2, PATCH_PX // 2)
    mean, square = (cv2.blur(power, inner) for power in (grey, grey * grey))
    strength[square - mean * mean < PLAINEST**2] = -1
    half = PATCH_PX // 2 + 1
    allowed = cv2.erode(known.astype(np.uint8), np.ones((PATCH_PX + 2, PATCH_PX + 2)))
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
    return np.array(centres, np.int64).reshape(-1, 2)


def align_patches(
    view: View, registration: Registration, artwork: Artwork, reach_px: int
) -> tuple[Array, Array, Array]:
    """Where each artwork patch lies in the photo, near where ``registration`` expects it.

    Returns board mm (N, 2), photo px (N, 2) and the zero-mean normalised cross-correlation there
    (N,), 0 at the rim of the search. ``reach_px`` is the search radius in artwork px.
    Source: J. P. Lewis, "Fast normalized cross-correlation", 1995 (as OpenCV's matchTemplate).
    """
    patches, off = patches_of(artwork), (SHRINK - 1) / 2
    seen = level_small(view, registration, artwork).astype(np.float32)
    offsets, scores = _sought(seen, patches, max(2, -(-reach_px // SHRINK)))
    places = patches.centres.astype(float)
    at_mm = artwork.to_mm((places + offsets) * SHRINK + off)
    return artwork.to_mm(places * SHRINK + off), registration.project(at_mm), scores


def best_scores(view: View, registration: Registration, artwork: Artwork, reach_px: int) -> Array:
    """Highest correlation (N,) of each patch within ``reach_px`` artwork px of its place, though
    it be at the rim of the search, as along a straight edge."""
    seen = level_small(view, registration, artwork).astype(np.float32)
    surfaces = _surfaces(seen, patches_of(artwork), max(2, -(-reach_px // SHRINK)))
    return np.array([float(surface.max()) for surface in surfaces])


def level_small(view: View, registration: Registration, artwork: Artwork) -> NDArray[np.uint8]:
    """Grey (H, W) of the board's plane, px for px as ``Patches.small``."""
    origin = artwork.to_mm(np.full(2, (SHRINK - 1) / 2))
    height, width = patches_of(artwork).small.shape
    scale = artwork.px_per_mm / SHRINK
    return view.level(registration, (float(origin[0]), float(origin[1])), scale, (width, height))


def _sought(seen: Soft, patches: Patches, reach: int) -> tuple[Array, Array]:
    """Offset (N, 2) and correlation (N,) of each template's best place within ``reach`` px."""
    count = len(patches.templates)
    offsets, scores = np.zeros((count, 2)), np.zeros(count)
    for i, surface in enumerate(_surfaces(seen, patches, reach)):
        offsets[i], scores[i] = _peak(surface)
    return offsets - reach, scores


def _surfaces(seen: Soft, patches: Patches, reach: int) -> Iterator[Soft]:
    """Each template's correlation (2 reach + 1, 2 reach + 1) with what is seen about its place."""
    half = PATCH_PX // SHRINK // 2
    padded = cv2.copyMakeBorder(seen, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    span = 2 * half + 1 + 2 * reach
    corners = (patches.centres - half).tolist()
    for (x, y), template in zip(corners, patches.templates, strict=True):
        window = padded[y : y + span, x : x + span]
        yield np.asarray(cv2.matchTemplate(window, template, cv2.TM_CCOEFF_NORMED), np.float32)


def _peak(surface: Soft) -> tuple[tuple[float, float], float]:
    """Sub-pixel (x, y) of the highest value, by parabolas through its neighbours, and the value."""
    _, top, _, (x, y) = cv2.minMaxLoc(surface)
    if not (0 < x < surface.shape[1] - 1 and 0 < y < surface.shape[0] - 1):
        return (x, y), 0.0
    (_, up, _), (left, _, right), (_, down, _) = surface[y - 1 : y + 2, x - 1 : x + 2].tolist()
    return (x + _parabola(left, top, right), y + _parabola(up, top, down)), top


def _parabola(before: float, top: float, after: float) -> float:
    bend = before - 2 * top + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0
