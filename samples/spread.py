"""Loose pieces spread out on a table and photographed, some of them touching.

There is no board: the pieces lie on the table-top, any way round, never one on another.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from samples.board import inset, soften, turn
from samples.camera import Camera, Canvas, make_canvas
from samples.conditions import Conditions
from samples.finish import develop
from samples.layers import Field, Patch, lay, sharpness
from samples.light import Light, cast, lights_on, make_light, shine
from samples.photographer import Spot, camera_over, spots
from samples.scene import ROOM, opaque, printed_light, worn_paint
from samples.slabs import Slab, draw_slabs
from samples.tabletop import TABLETOP_MM, TABLETOP_PX_PER_MM, tabletop

Array = NDArray[np.float64]

CLEAR_MM = 2.0
"""Pieces that are not meant to touch lie at least this far apart."""


@dataclass(frozen=True, eq=False)
class SpreadShot:
    """The photo, uint8 sRGB (height, width, 3); each piece's colour, where its top's middle is
    seen (px), and with how many others it touches.
    """

    pixels: NDArray[np.uint8]
    colours: tuple[str, ...]
    spots_px: tuple[Spot, ...]
    touching: tuple[int, ...]


def take_spread(
    outline_mm: Array,
    piece_mm: float,
    paints: Mapping[str, NDArray],
    pieces: Sequence[str],
    conditions: Conditions,
    rng: np.random.Generator,
    *,
    touch: float = 0.2,
) -> SpreadShot:
    """Photograph pieces of these colours; a share of ``touch`` is pushed against another."""
    laid, near = scatter(outline_mm, len(pieces), rng, touch)
    return take_laid(laid, near, piece_mm, paints, pieces, conditions, rng)


def take_row(
    outline_mm: Array,
    piece_mm: float,
    paints: Mapping[str, NDArray],
    pieces: Sequence[str],
    conditions: Conditions,
    rng: np.random.Generator,
) -> SpreadShot:
    """Photograph pieces of these colours laid by hand in a row, from left to right."""
    piece = soften(inset(outline_mm, 0.15))
    piece = piece - piece.min(axis=0)
    step = 1.35 * float(piece.max(axis=0)[0])
    laid = [
        turn(piece, rng.normal(0, 4)) + np.array([number * step, rng.uniform(0, 4)])
        for number in range(len(pieces))
    ]
    return take_laid(laid, [0] * len(pieces), piece_mm, paints, pieces, conditions, rng)


def take_laid(
    laid: Sequence[Array],
    near: Sequence[int],
    piece_mm: float,
    paints: Mapping[str, NDArray],
    pieces: Sequence[str],
    conditions: Conditions,
    rng: np.random.Generator,
) -> SpreadShot:
    """Photograph pieces that lie on the table with these outlines (board mm)."""
    size = np.max([o.max(axis=0) for o in laid], axis=0)
    slabs = [
        Slab(
            outline,
            0.0,
            piece_mm,
            worn_paint(paints[colour], conditions.wear, rng),
            conditions.gloss,
            0.7,
            tuple(rng.normal(0, 0.012, 2)),
        )
        for outline, colour in zip(laid, pieces, strict=True)
    ]
    camera = stand_over(size, conditions)
    light = make_light(conditions, (float(size[0]) / 2, float(size[1]) / 2))
    canvas = make_canvas(camera, conditions.supersample)
    width, height = canvas.size_px
    picture: Field = np.full((height, width, 3), ROOM, np.float32)
    draw_ground(picture, canvas, light, conditions, slabs)
    draw_slabs(picture, canvas, light, slabs)
    pixels = develop(picture, canvas, conditions, rng)
    middles = np.array([slab.outline_mm.mean(axis=0) for slab in slabs])
    seen = spots(camera.project(middles, piece_mm))
    return SpreadShot(pixels, tuple(pieces), tuple(seen), tuple(near))


def scatter(
    outline_mm: Array, number: int, rng: np.random.Generator, touch: float
) -> tuple[list[Array], list[int]]:
    """Return outlines that do not overlap, and with how many others each touches."""
    piece = soften(inset(outline_mm, 0.15))
    piece = piece - piece.mean(axis=0)
    reach = 2 * float(np.linalg.norm(piece, axis=1).max())
    room = np.array([1.35, 1.0]) * reach * 1.15 * np.sqrt(number / 1.35)
    laid: list[Array] = []
    near: list[int] = []
    while len(laid) < number:
        if laid and rng.uniform() < touch:
            one = pushed(piece, laid[rng.integers(len(laid))], rng)
        else:
            one = turn(piece, rng.uniform(0, 360)) + rng.uniform(0, room)
        middles = np.array([other.mean(axis=0) for other in laid]).reshape(-1, 2)
        beside = np.flatnonzero(np.linalg.norm(middles - one.mean(axis=0), axis=1) < 1.3 * reach)
        gaps = {int(i): apart_mm(one, laid[i]) for i in beside}
        close = [i for i, gap in gaps.items() if gap < CLEAR_MM]
        if any(gap < 0 for gap in gaps.values()) or any(gaps[i] > 0.35 for i in close):
            continue
        for i in close:
            near[i] += 1
        laid.append(one)
        near.append(len(close))
    low = np.min([o.min(axis=0) for o in laid], axis=0)
    return [o - low for o in laid], near


def pushed(piece: Array, other: Array, rng: np.random.Generator) -> Array:
    """Return the piece pushed against another from some side until they all but touch."""
    angle = rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(angle), np.sin(angle)])
    one = turn(piece, rng.uniform(0, 360)) + other.mean(axis=0)
    near, far = 0.0, 4 * float(np.ptp(piece, axis=0).max())
    for _ in range(24):
        middle = 0.5 * (near + far)
        if apart_mm(one + middle * way, other) < 0.1:
            near = middle
        else:
            far = middle
    return np.asarray(one + far * way)


def apart_mm(one: Array, other: Array) -> float:
    """Return the gap between two convex outlines, below 0 where they overlap (an under-estimate
    beside corners: the widest gap along a side's normal).
    """
    gaps = [_gap(a, b) for a, b in ((one, other), (other, one))]
    return float(max(gaps))


def _gap(one: Array, other: Array) -> float:
    along = np.roll(one, -1, axis=0) - one
    out = np.column_stack([along[:, 1], -along[:, 0]])
    out /= np.linalg.norm(out, axis=1, keepdims=True).clip(1e-9)
    x, y = one[:, 0], one[:, 1]
    if (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() < 0:
        out = -out
    away = ((other[None] - one[:, None]) * out[:, None]).sum(axis=2)
    return float(away.min(axis=1).max())


def stand_over(size_mm: Array, conditions: Conditions) -> Camera:
    """Return the camera over the middle of the spread."""
    w, h = size_mm
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], float)
    return camera_over(corners.mean(axis=0), corners, conditions)


def draw_ground(
    picture: Field,
    canvas: Canvas,
    light: Light,
    conditions: Conditions,
    slabs: Sequence[Slab],
) -> None:
    """Lay the table-top with the shadows of the pieces, in place."""
    corners = np.concatenate([slab.outline_mm for slab in slabs])
    low, high = corners.min(axis=0) - 10, corners.max(axis=0) + 10
    middle, half = (low + high) / 2, TABLETOP_MM / 2.0
    x, y = middle.tolist()
    inner = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    finest = sharpness(canvas, inner, 0.0, TABLETOP_PX_PER_MM)
    patch = Patch((x - half, y - half, x + half, y + half), 0.0, finest)
    flat = printed_light(tabletop(conditions.tabletop, conditions.tabletop_seed), patch)
    shades = patch.at(2.5)
    tall = slabs[0].top_mm
    left = cast(light, shades, [slab.outline_mm for slab in slabs], tall)
    amounts = [
        shades.fit(amount) * shade
        for amount, shade in zip(lights_on(light, patch), left, strict=True)
    ]
    layer = opaque(shine(light, patch, flat, amounts))
    lay(picture, canvas, patch, layer)
