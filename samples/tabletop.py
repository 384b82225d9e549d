"""What boards lie on: table-tops as uint8 sRGB pictures of ``TABLETOP_MM`` square, one per kind
and seed.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

TABLETOP_MM = 720.0
TABLETOP_PX_PER_MM = 3.0
_SIDE = round(TABLETOP_MM * TABLETOP_PX_PER_MM)

Picture = NDArray[np.uint8]
Field = NDArray[np.float32]


def clouds(rng: np.random.Generator, cell_px: tuple[int, int]) -> Field:
    """Return smooth noise of spread 1 over the whole table-top, grains of (height, width) px."""
    coarse = rng.normal(size=(_SIDE // cell_px[0] + 3, _SIDE // cell_px[1] + 3)).astype(np.float32)
    return np.asarray(cv2.resize(coarse, (_SIDE, _SIDE), interpolation=cv2.INTER_CUBIC), np.float32)


def stain(base: tuple[int, int, int], shade: Field) -> Picture:
    """Return the base ink made lighter or darker by ``shade`` (0 leaves it)."""
    return np.clip(np.array(base, np.float32) * (1.0 + shade[..., None]), 0, 255).astype(np.uint8)


def wood(rng: np.random.Generator) -> Picture:
    """Planks of one timber, with grain along them, pores and dark joints."""
    timber = ((120, 82, 52), (166, 124, 82), (92, 66, 50), (186, 154, 116))[rng.integers(4)]
    wide = round(rng.uniform(55, 130) * TABLETOP_PX_PER_MM)
    plank = (np.arange(_SIDE) + rng.integers(wide)) // wide
    tone = rng.normal(0, 0.07, plank.max() + 1)[plank].astype(np.float32)[:, None]
    rings = np.sin(clouds(rng, (26, 700)) * 6.0 + np.arange(_SIDE, dtype=np.float32)[:, None] / 9.0)
    pores = clouds(rng, (2, 90))
    shade = tone + 0.05 * rings + 0.05 * clouds(rng, (7, 260)) - 0.06 * (pores > 1.3)
    joint = (np.diff(plank, prepend=plank[0]) > 0).astype(np.float32)
    joint = cv2.GaussianBlur(joint[:, None], (1, 9), 1.2) * 2.2
    return stain(timber, np.asarray(shade - 0.6 * np.minimum(joint, 1.0), np.float32))


def linen(rng: np.random.Generator) -> Picture:
    """A woven cloth: threads both ways, each a little thick or thin."""
    base = ((176, 166, 146), (96, 112, 128), (150, 96, 88), (206, 204, 198))[rng.integers(4)]
    across = rng.normal(0, 0.07, (1, _SIDE)).astype(np.float32)
    along = rng.normal(0, 0.07, (_SIDE, 1)).astype(np.float32)
    pixel = np.arange(_SIDE, dtype=np.float32)
    weave = 0.05 * np.sin(pixel * 2.1)[:, None] * np.sin(pixel * 2.1)[None, :]
    blur_x = cv2.GaussianBlur(across, (5, 1), 1.0)
    blur_y = cv2.GaussianBlur(along, (1, 5), 1.0)
    folds = 0.03 * clouds(rng, (300, 300))
    return stain(base, np.asarray(blur_x + blur_y + weave + folds, np.float32))


def checked(rng: np.random.Generator) -> Picture:
    """A café cloth of checks: two crossing stripes over linen."""
    cloth = linen(rng).astype(np.float32)
    ink = np.array(((150, 40, 40), (40, 70, 130), (50, 100, 60))[rng.integers(3)], np.float32)
    wide = rng.uniform(14, 30) * TABLETOP_PX_PER_MM
    stripe = ((np.arange(_SIDE) / wide).astype(int) % 2).astype(np.float32)
    cover = 0.42 * (stripe[:, None] + stripe[None, :])[..., None]
    return np.clip(cloth * (1 - cover) + ink * cover, 0, 255).astype(np.uint8)


def felt(rng: np.random.Generator) -> Picture:
    """A play mat: one dark colour with fine fuzz."""
    base = ((44, 58, 52), (42, 46, 62), (58, 40, 48), (52, 52, 54))[rng.integers(4)]
    return stain(base, 0.08 * clouds(rng, (2, 2)) + 0.05 * clouds(rng, (90, 90)))


def plain(rng: np.random.Generator) -> Picture:
    """A painted table-top with hardly anything on it."""
    base = ((208, 202, 192), (132, 138, 140), (90, 86, 84), (170, 150, 128))[rng.integers(4)]
    return stain(base, 0.015 * clouds(rng, (3, 3)) + 0.03 * clouds(rng, (400, 400)))


def printed(rng: np.random.Generator) -> Picture:
    """An oilcloth with large dots and rings: much to mistake for a board."""
    picture = stain(
        ((36, 62, 92), (222, 214, 196), (84, 46, 60))[rng.integers(3)], 0.02 * clouds(rng, (4, 4))
    )
    inks = rng.integers(40, 230, (4, 3))
    for _ in range(60):
        x, y = rng.integers(0, _SIDE, 2).tolist()
        radius, width = int(rng.integers(20, 90)), int(rng.choice([-1, 8, 14]))
        cv2.circle(picture, (x, y), radius, inks[rng.integers(4)].tolist(), width, cv2.LINE_AA)
    return picture


TABLETOPS: dict[str, Callable[[np.random.Generator], Picture]] = {
    "wood": wood,
    "linen": linen,
    "checked": checked,
    "felt": felt,
    "plain": plain,
    "printed": printed,
}
"""Kinds of table-top by name."""


@lru_cache(maxsize=3)
def tabletop(kind: str, seed: int) -> Picture:
    """Return the table-top of this kind and seed; treat it as read-only."""
    return TABLETOPS[kind](np.random.default_rng([seed, 0x7AB]))
