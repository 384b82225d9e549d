"""What each cell shows: its colour in linear light, and how much it looks like the bare board."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import FULL_SCALE, LUMINANCE, linear_from_srgb
from vision.glare import Smoothing, brightening, smoothing_at
from vision.greys import Grey, grey_of
from vision.level import Plan
from vision.rectify import to_decoded
from vision.types import Photo, Samples

Array = NDArray[np.float64]

BODY = (0.15, 0.60)
"""Quantiles of luminance between which a core's pixels are averaged: seams and glare left out."""

DARK = 8.0
"""Added to grey levels before a logarithm, so that the noise of the darkest tells little."""


def sample_cells(
    top: NDArray[np.uint8], board: NDArray[np.uint8], artwork: NDArray[np.uint8], plan: Plan
) -> Samples:
    """Samples of every cell from the level pictures at the pieces' tops and on the board."""
    linear = linear_from_srgb(top).reshape(-1, 3)
    below = linear_from_srgb(board).reshape(-1, 3)
    levels = np.asarray(top).reshape(-1, 3)
    burnt, clipped = levels.min(axis=1) >= FULL_SCALE, levels.max(axis=1) >= FULL_SCALE
    smoothings = _smoothings(plan)
    changes = [brightening(linear[c], s) for c, s in zip(plan.core, smoothings, strict=True)]
    luminance = linear @ LUMINANCE
    unrest = [luminance[c].std() / max(luminance[c].mean(), 1e-4) for c in plan.core]
    return Samples(
        top=np.array([_body(linear[c]) for c in plan.core]),
        board=np.array([_body(below[c]) for c in plan.core]),
        structure=structure_of(grey_of(board), grey_of(artwork), plan),
        unrest=np.array(unrest),
        burnt=np.array([burnt[c].mean() for c in plan.core]),
        clipped=np.array([clipped[c].mean() for c in plan.core]),
        brightening=np.array([change for change, _ in changes]),
        brightening_noise=np.array([noise for _, noise in changes]),
    )


@lru_cache(maxsize=16)
def _smoothings(plan: Plan) -> tuple[Smoothing, ...]:
    """How each cell's core is smoothed; kept from photo to photo."""
    return tuple(smoothing_at(np.stack(np.divmod(c, plan.size_px[0]), axis=1)) for c in plan.core)


def _body(pixels: Array) -> Array:
    """Mean linear RGB (3,) of the pixels (P, 3) of middling luminance."""
    low, high = (round(share * (len(pixels) - 1)) for share in BODY)
    return pixels[np.argsort(pixels @ LUMINANCE)[low : high + 1]].mean(axis=0)


def colour_inside(photo: Photo, outline_px: Array) -> Array:
    """Median linear RGB (3,) inside an outline (K, 2) of full-size px; NaN where it leaves the
    photo."""
    outline = to_decoded(photo, outline_px)
    height, width = photo.pixels.shape[:2]
    if (outline < 0).any() or (outline >= [width, height]).any():
        return np.full(3, np.nan)
    mask = np.zeros((height, width), np.uint8)
    cv2.fillPoly(mask, [np.round(outline * 16).astype(np.int32)], 1, shift=4)
    return np.asarray(np.median(linear_from_srgb(photo.pixels[mask > 0]), axis=0))


def structure_of(board: Grey, artwork: Grey, plan: Plan) -> Array:
    """Likeness (N, 3) of every cell to its own empty self, whatever the light (see ``Samples``).

    ``board`` and ``artwork``: level pictures (H, W). What a slope of the light, or a shadow's soft
    edge, does to a cell as a whole is left out: a plane, fitted to the logarithms.
    """
    seen, known = _logs(board), _logs(artwork)
    rows = []
    for motif, outline in _flattenings(plan):
        around, drawn = outline.flat(seen), outline.flat(known)
        contrast = np.log((around.std() + 0.02) / (drawn.std() + 0.02))
        inside = correlation(motif.flat(seen), motif.flat(known))
        rows.append((inside, correlation(around, drawn), contrast))
    return np.array(rows)


def likeness_of(board: Grey, artwork: Grey, plan: Plan) -> Array:
    """Correlation (N,) of every cell's outline in ``board`` with its printed self in ``artwork``.

    Slopes of the light are left in, unlike in ``structure_of``: where this holds boards with little
    artwork (``on_cells``), 26 of 30 were found, and 25 without slopes.
    """
    seen, known = _logs(board), _logs(artwork)
    return np.array(
        [
            correlation(seen[cell] - seen[cell].mean(), known[cell] - known[cell].mean())
            for cell in plan.outline
        ]
    )


def _logs(picture: Grey) -> Array:
    """Logarithms (H * W,) of a level picture's greys."""
    return np.asarray(np.log(picture.ravel() + DARK))


@dataclass(frozen=True, eq=False)
class _Flattening:
    """Takes the best plane out of the pixels at flat indices ``pixels`` (P,); ``planes`` (P, 3) is
    an orthonormal basis of all planes over them."""

    pixels: NDArray[np.int64]
    planes: Array

    def flat(self, picture: Array) -> Array:
        """The pixels (P,) of a raveled picture, less their best plane."""
        seen = picture[self.pixels]
        return np.asarray(seen - self.planes @ (self.planes.T @ seen))


@lru_cache(maxsize=16)
def _flattenings(plan: Plan) -> tuple[tuple[_Flattening, _Flattening], ...]:
    """Those of every cell's motif and outline; kept from photo to photo."""

    def flattening(pixels: NDArray[np.int64]) -> _Flattening:
        rows, columns = np.divmod(pixels, plan.size_px[0])
        places = np.column_stack([np.ones(len(pixels)), columns, rows])
        return _Flattening(pixels, np.linalg.qr(places)[0])

    pairs = zip(plan.motif, plan.outline, strict=True)
    return tuple((flattening(motif), flattening(outline)) for motif, outline in pairs)


def correlation(a: Array, b: Array) -> float:
    """Normalised correlation of two signals (P,) without their means; 0 of a flat one."""
    return float(a @ b / np.sqrt((a @ a) * (b @ b) + 1e-9))
