"""Patches of the learned artwork, and where they lie in a photo."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from calibrate.types import Artwork
from vision.greys import grey_of
from vision.types import Registration
from vision.view import View

Array = NDArray[np.float64]
Soft = NDArray[np.float32]
Values = NDArray[np.floating]

PATCH_PX = 27
"""Side of a patch, artwork px (the board is 1000 long)."""

PATCHES_ACROSS = 18

PLAINEST = 1.5
"""Spread of grey levels below which a patch shows noise and grain only (by hand)."""

FEW_PLACES = 3
"""Patches that are sought so many px about or less are all sought at once."""

STRAIGHT = 0.15
"""Gradients along an edge, as a share of those across it, below which a patch shows that edge only
(by hand)."""

FLAT = 1.0
"""Sum of squared deviations, grey levels, below which a picture of a patch shows nothing."""

FEWEST_PATCHES = 10
"""Patches seen below which a registration is not refined on them."""

SHRINK = 2
"""Patches are sought in pictures this many times smaller than the artwork: correlation places them
to a tenth of a px, which is 0.04 mm on a board of 200 mm, and costs a quarter."""


@dataclass(frozen=True, eq=False)
class Patches:
    """The artwork's telling places: ``small`` (H, W), the artwork in grey, softened and shrunk;
    ``centres`` (N, 2) px of it, the ``templates`` (N, S, S) cut from it there, and ``unit``: those
    again, each with mean 0 and length 1. ``along`` (N, 2): the unit vector along the one straight
    edge that a patch shows, which can be anywhere along it; 0 where it shows more."""

    small: Soft
    centres: NDArray[np.int64]
    templates: Soft
    unit: Soft
    along: Array


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
    column, row = (at - half).T
    templates = sliding_window_view(small, (2 * half + 1,) * 2)[row, column]
    centred = templates - templates.mean(axis=(1, 2), keepdims=True)
    length = np.sqrt(np.maximum((centred**2).sum(axis=(1, 2), keepdims=True), FLAT))
    unit = np.asarray(centred / length, np.float32)
    return Patches(small, at, templates, unit, _along(templates))


def _along(templates: Soft) -> Array:
    """For each template (N, S, S) the direction (2,) in which it hardly varies, or 0.

    Source: Foerstner and Guelch, 1987 (the eigenvalues of the gradients' second moments).
    """
    down, right = np.gradient(templates, axis=(1, 2))
    gradients = np.stack([right, down], axis=-1).reshape(len(templates), -1, 2)
    strengths, directions = np.linalg.eigh(gradients.swapaxes(1, 2) @ gradients)
    straight = strengths[:, 0] < STRAIGHT * strengths[:, 1]
    return np.where(straight[:, None], directions[:, :, 0], 0.0)


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


def best_scores(
    view: View,
    registration: Registration,
    artwork: Artwork,
    reach_px: int,
    wanted: NDArray[np.bool_],
) -> Array:
    """Highest correlation (M,) of each ``wanted`` patch of (N,) within ``reach_px`` artwork px of
    its place, though it be at the rim of the search, as along a straight edge."""
    seen = level_small(view, registration, artwork).astype(np.float32)
    patches = patches_of(artwork)
    taken = replace(
        patches,
        centres=patches.centres[wanted],
        templates=patches.templates[wanted],
        unit=patches.unit[wanted],
        along=patches.along[wanted],
    )
    surfaces = _surfaces(seen, taken, max(2, -(-reach_px // SHRINK)))
    return surfaces.max(axis=(1, 2), initial=0).astype(np.float64)


def level_small(view: View, registration: Registration, artwork: Artwork) -> NDArray[np.uint8]:
    """Grey (H, W) of the board's plane, px for px as ``Patches.small``."""
    origin = artwork.to_mm(np.full(2, (SHRINK - 1) / 2))
    height, width = patches_of(artwork).small.shape
    scale = artwork.px_per_mm / SHRINK
    return view.level(registration, (float(origin[0]), float(origin[1])), scale, (width, height))


def _sought(seen: Soft, patches: Patches, reach: int) -> tuple[Array, Array]:
    """Offset (N, 2) and correlation (N,) of each template's best place within ``reach`` px."""
    surfaces = _surfaces(seen, patches, reach)
    offsets, scores = _peaks(surfaces)
    return offsets - reach, scores


def _surfaces(seen: Soft, patches: Patches, reach: int) -> Soft:
    """Each template's correlation (N, 2 reach + 1, 2 reach + 1) with what is seen about its place.

    OpenCV takes one template at a time, and a fixed time for each: over few places it is quicker to
    take all templates at one place after the other.
    """
    half = PATCH_PX // SHRINK // 2
    padded = cv2.copyMakeBorder(seen, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    column, row = (patches.centres - half).T
    side, templates = 2 * half + 1, patches.templates
    windows = sliding_window_view(padded, (side + 2 * reach,) * 2)[row, column]
    if reach > FEW_PLACES:
        mode = cv2.TM_CCOEFF_NORMED
        found = [cv2.matchTemplate(w, t, mode) for w, t in zip(windows, templates, strict=True)]
        return np.array(found, np.float32)
    span = 2 * reach + 1
    products = np.empty((len(templates), span, span), np.float32)
    for y, x in np.ndindex(span, span):
        shown = windows[:, y : y + side, x : x + side]
        products[:, y, x] = np.einsum("nij,nij->n", shown, patches.unit)
    sums, squares = (
        # Whole numbers, as the grey levels are, and below 2**24: exact in float32.
        sliding_window_view(box_sum(padded, -1, (side, side), None, (0, 0), False), (span, span))[
            row, column
        ].astype(np.float64)
        for box_sum in (cv2.boxFilter, cv2.sqrBoxFilter)
    )
    return products / np.sqrt(np.maximum(squares - sums * sums / side**2, FLAT))


def _peaks(surfaces: Soft) -> tuple[Array, Array]:
    """Sub-pixel (x, y) of each surface's highest value (N, 2), by parabolas through its neighbours,
    and the value (N,): 0 where it lies at the rim, for the true place may lie beyond."""
    span = surfaces.shape[1]
    n, best = np.arange(len(surfaces)), surfaces.reshape(len(surfaces), -1).argmax(axis=1)
    row, column = np.divmod(best, span)
    inner = (np.minimum(row, column) > 0) & (np.maximum(row, column) < span - 1)
    row, column = np.clip(row, 1, span - 2), np.clip(column, 1, span - 2)
    top = surfaces[n, row, column]
    x = column + parabola_top(surfaces[n, row, column - 1], top, surfaces[n, row, column + 1])
    y = row + parabola_top(surfaces[n, row - 1, column], top, surfaces[n, row + 1, column])
    return np.stack([x, y], axis=1), np.where(inner, top, 0.0)


def parabola_top(before: Values, top: Values, after: Values) -> Array:
    """How far beside the middle one of three values the parabola through them is highest; 0 where
    it has no top."""
    bend = before - 2 * top + after
    return np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1.0), 0.0)
