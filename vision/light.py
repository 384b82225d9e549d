"""Today's light over the board, against the light of the calibration."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from vision.colour import FROM_INTENSITY_CHROMA, FULL_SCALE, INTENSITY_CHROMA, linear_from_srgb
from vision.level import Plan, level_artwork
from vision.smooth import Kernel, weights
from vision.types import Light

Array = NDArray[np.float64]

DARK = 0.004
"""Added to linear values before a logarithm: sensor noise and stray light, share of full scale."""

INTENSITY_KERNEL: Kernel = ((3.0, np.inf), (0.5, 80.0), (0.15, 15.0))
CHROMA_KERNEL: Kernel = ((1.0, np.inf), (0.15, 80.0), (0.03, 15.0))
"""Log intensity and the two log chromas: one level, slow changes, edges of shadows (by hand)."""

INTENSITY_NOISE = 0.10
CHROMA_NOISE = 0.04
"""Standard deviations of one block's log ratios."""

BLOCKS_ACROSS = 26

LEAST_TOLD = 0.25
"""Share of a block's bare px that must lie below full scale for the block to tell of the light."""

FEWEST_BLOCKS = 12
"""With fewer blocks below full scale, all tell what they can. Both by hand."""


def light_over(level: NDArray[np.uint8], artwork: Artwork, plan: Plan) -> Light:
    """The light in a level picture against the artwork's, at every cell."""
    ratios, told = _ratios(level, artwork, plan)
    carried = _over_cells(plan) if told.all() else _carried(plan.centres_mm, _blocks(plan), told)
    low, high = np.percentile(ratios[:, 1:], [16, 84], axis=0) if len(ratios) else np.zeros((2, 2))
    return Light(_gain(carried, ratios), (high - low) / 2)


def gain_at(places_mm: Array, level: NDArray[np.uint8], artwork: Artwork, plan: Plan) -> Array:
    """Factors (N, 3) by which ``level`` is brighter than ``artwork`` at places (N, 2), linear RGB.

    Blocks of bare board give log ratios, where they are not at full scale; a Gaussian process
    carries them over the board.
    """
    ratios, told = _ratios(level, artwork, plan)
    return _gain(_carried(places_mm, _blocks(plan), told), ratios)


def _gain(carried: tuple[Array, Array], ratios: Array) -> Array:
    intensity, chroma = carried
    logs = np.column_stack([intensity @ ratios[:, :1], chroma @ ratios[:, 1:]])
    return np.exp(logs @ FROM_INTENSITY_CHROMA.T)


def _carried(places_mm: Array, blocks: Blocks, told: NDArray[np.bool_]) -> tuple[Array, Array]:
    """What the intensity, and the chromas, of each block that ``told`` (M,) count at places: (N, K)
    twice."""
    seen_mm = blocks.centres_mm[told]
    still = np.ones(len(seen_mm))
    return (
        weights(places_mm, seen_mm, INTENSITY_NOISE * still, INTENSITY_KERNEL),
        weights(places_mm, seen_mm, CHROMA_NOISE * still, CHROMA_KERNEL),
    )


@lru_cache(maxsize=16)
def _over_cells(plan: Plan) -> tuple[Array, Array]:
    """``_carried`` to the plan's cells from all blocks; kept from photo to photo."""
    blocks = _blocks(plan)
    return _carried(plan.centres_mm, blocks, np.ones(len(blocks.here), bool))


@dataclass(frozen=True, eq=False)
class Blocks:
    """The blocks of ``step`` px, as ``_in_blocks`` counts them, that are mostly bare board: their
    numbers ``here`` (M,), which of their px are ``bare`` (M, step * step), ``centres_mm`` (M, 2).
    """

    step: int
    here: NDArray[np.int64]
    bare: NDArray[np.bool_]
    centres_mm: Array


@lru_cache(maxsize=16)
def _blocks(plan: Plan) -> Blocks:
    """The plan's blocks of bare board."""
    step = max(4, max(plan.bare.shape) // BLOCKS_ACROSS)
    bare = _in_blocks(plan.bare, step)
    area = _in_blocks(np.ones_like(plan.bare), step).sum(axis=1)
    here = np.flatnonzero(bare.sum(axis=1) >= area / 2)
    columns = _blocks_along(plan.bare.shape[1], step)
    centres = np.stack([here % columns, here // columns], axis=1) * step + step / 2
    return Blocks(step, here, bare[here], centres / plan.px_per_mm)


def _ratios(
    level: NDArray[np.uint8], artwork: Artwork, plan: Plan
) -> tuple[Array, NDArray[np.bool_]]:
    """Median log intensity and chromas (K, 3) of the level picture against the artwork's, in each
    block of bare board that tells them; which (M,) do."""
    blocks = _blocks(plan)
    seen, (known, known_logs) = _softened(level), _known(artwork, plan)
    below = np.maximum(seen, known).max(axis=2) < FULL_SCALE
    counted = _in_blocks(below, blocks.step)[blocks.here] & blocks.bare
    told = counted.sum(axis=1) >= LEAST_TOLD * blocks.bare.sum(axis=1)
    if told.sum() < FEWEST_BLOCKS:
        counted, told = blocks.bare, np.ones_like(told)
    ratio = _log_intensity_chroma(seen) - known_logs
    here = blocks.here[told]
    medians = [
        _medians(_in_blocks(ratio[:, :, k], blocks.step)[here], counted[told]) for k in range(3)
    ]
    return np.stack(medians, axis=1), told


@lru_cache(maxsize=4)
def _known(artwork: Artwork, plan: Plan) -> tuple[NDArray[np.uint8], Array]:
    """The level artwork softened, and its log intensity and chromas (H, W, 3); kept from photo to
    photo, of few tables only, for the logs take 24 bytes a px."""
    softened = _softened(level_artwork(artwork, plan))
    return softened, _log_intensity_chroma(softened)


def _blocks_along(length_px: int, step: int) -> int:
    """How many blocks there are in a row or column; one that is cut to less than half is none."""
    return len(range(0, length_px - step // 2, step))


def _in_blocks(picture: NDArray, step: int) -> NDArray:
    """A picture (H, W) as (blocks, step * step), row by row; zero beyond its edges."""
    rows, columns = (_blocks_along(length, step) for length in picture.shape)
    whole = np.zeros((rows * step, columns * step), picture.dtype)
    held = picture[: rows * step, : columns * step]
    whole[: held.shape[0], : held.shape[1]] = held
    return whole.reshape(rows, step, columns, step).swapaxes(1, 2).reshape(rows * columns, -1)


def _medians(values: Array, counted: NDArray[np.bool_]) -> Array:
    """Median of the counted values in each row, at least one."""
    ordered = np.sort(np.where(counted, values, np.inf), axis=1)
    number = counted.sum(axis=1)
    row = np.arange(len(ordered))
    return (ordered[row, (number - 1) // 2] + ordered[row, number // 2]) / 2


def _softened(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.0), np.uint8)


def _log_intensity_chroma(picture: NDArray[np.uint8]) -> Array:
    return np.log(linear_from_srgb(picture) + DARK) @ INTENSITY_CHROMA.T
