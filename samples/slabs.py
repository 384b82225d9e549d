"""Slabs: pieces, dice, fingers and the board itself, as prisms with walls, a bevelled top and
some gloss.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samples.camera import Canvas
from samples.conditions import Lamp
from samples.layers import Bounds, Field, Patch, lay, sharpness
from samples.light import COARSE_PX_PER_MM, Light, Ways, lights_on, unit, ways_to

Array = NDArray[np.float64]
FRESNEL = 0.04
"""Share of light that a polished non-metal mirrors straight on (refractive index 1.5)."""


@dataclass(frozen=True, eq=False)
class Slab:
    """One prism: outline (N, 2) in board mm, its bottom and top heights (mm), paint (16,), gloss
    0 to 1, bevel (mm), lean of the top as (x, y) slope, spots (x, y, radius) in mm printed dark
    on top.
    """

    outline_mm: Array
    base_mm: float
    top_mm: float
    paint: Array
    gloss: float = 0.25
    bevel_mm: float = 0.6
    lean: tuple[float, float] = (0.0, 0.0)
    spots_mm: tuple[tuple[float, float, float], ...] = ()
    walls: bool = True


def bounds_of(slabs: Sequence[Slab], room_mm: float = 1.0) -> Bounds:
    """Return (x0, y0, x1, y1) in board mm round all slabs."""
    corners = np.concatenate([slab.outline_mm for slab in slabs])
    x0, y0 = corners.min(axis=0) - room_mm
    x1, y1 = corners.max(axis=0) + room_mm
    return float(x0), float(y0), float(x1), float(y1)


def draw_slabs(picture: Field, canvas: Canvas, light: Light, slabs: Sequence[Slab]) -> Array:
    """Draw slabs of one height onto the canvas in place: all walls, far ones first, then all tops.

    Tops of one height never hide one another, and no wall hides a top, so this order is exact.
    Returns for each slab the mean light that its top mirrors, white paper being 1.
    """
    if not slabs:
        return np.zeros(0)
    bounds, top = bounds_of(slabs), slabs[0].top_mm
    patch = Patch(bounds, top, sharpness(canvas, bounds, top))
    eye = canvas.camera.eye_mm
    far_first = sorted(
        slabs, key=lambda slab: -float(np.hypot(*(slab.outline_mm.mean(0) - eye[:2])))
    )
    amounts = lights_on(light, patch)
    for slab in far_first:
        if slab.walls:
            draw_walls(picture, canvas, light, slab, sample(patch, amounts, slab))
    tops, mirrored = paint_tops(patch, eye, light, slabs, amounts)
    lay(picture, canvas, patch, tops)
    return mirrored


def sample(patch: Patch, amounts: list[Field], slab: Slab) -> list[float]:
    """Return each light's amount at the middle of one slab."""
    at = (slab.outline_mm.mean(0) - patch.bounds_mm[:2]) / (
        np.array(patch.bounds_mm[2:]) - patch.bounds_mm[:2]
    )
    picked = []
    for amount in amounts:
        rows, columns = amount.shape
        picked.append(float(amount[int(at[1] * (rows - 1)), int(at[0] * (columns - 1))]))
    return picked


def draw_walls(
    picture: Field, canvas: Canvas, light: Light, slab: Slab, amounts: list[float]
) -> None:
    """Fill the walls that face the eye, darker toward the foot."""
    outline = slab.outline_mm
    after = np.roll(outline, -1, axis=0)
    out = outward(outline)
    colours = [colour[0] for colour in light.colours([slab.paint])]
    eye = canvas.camera.eye_mm[:2]
    levels = slab.base_mm + (slab.top_mm - slab.base_mm) * np.array([1.0, 0.55, 0.2, 0.0])
    rings = [canvas.place(outline, level) for level in levels]
    for i in np.flatnonzero(((eye - outline) * out).sum(1) > 0):
        j = (i + 1) % len(outline)
        shade = wall_light(light, colours, amounts, 0.5 * (outline[i] + after[i]), out[i])
        for upper, lower, dim in zip(rings, rings[1:], (1.0, 0.8, 0.55), strict=False):
            quad = np.round(np.stack([upper[i], upper[j], lower[j], lower[i]]) * 16).astype(
                np.int32
            )
            cv2.fillConvexPoly(picture, quad, (shade * dim).tolist(), cv2.LINE_8, 4)


def outward(outline: Array) -> Array:
    """Return the outward normal of each side, shape (N, 2)."""
    along = np.roll(outline, -1, axis=0) - outline
    side = np.column_stack([along[:, 1], -along[:, 0]])
    side /= np.linalg.norm(side, axis=1, keepdims=True).clip(1e-9)
    area = (
        outline[:, 0] * np.roll(outline[:, 1], -1) - np.roll(outline[:, 0], -1) * outline[:, 1]
    ).sum()
    return side if area > 0 else -side


def wall_light(
    light: Light, colours: list[NDArray], amounts: list[float], spot_mm: Array, out: Array
) -> Array:
    """Return the linear light (3,) of a wall: lamps by the cosine, the ambient by half."""
    total = 0.55 * amounts[-1] * colours[-1].astype(float)
    for lamp, colour, amount in zip(light.lamps, colours, amounts, strict=False):
        way = np.array(lamp.position_mm) - [*(spot_mm - light.middle_mm), 0.0]
        total += amount * max(0.0, float(way[:2] @ out)) / way[2] * colour
        total += 0.06 * amount * colour
    return total


def paint_tops(
    patch: Patch, eye: Array, light: Light, slabs: Sequence[Slab], amounts: list[Field]
) -> tuple[Field, Array]:
    """Return the tops as a layer (H, W, 4) and the mean mirrored light of each slab."""
    labels, alpha = number_slabs(patch, slabs)
    normals = top_normals(patch, slabs, labels, alpha)
    colours = light.colours([slab.paint for slab in slabs])
    dull = dullness(patch, slabs)
    gloss = np.array([slab.gloss for slab in slabs], np.float32)[labels]
    view = eye_ways(patch, eye)
    veil = patch.fit(amounts[-1] * schlick(view[2])) * gloss
    out = colours[-1][labels] * (patch.fit(amounts[-1]) * dull)[..., None]
    out += veil[..., None] * light.whites()[-1]
    mirror = np.zeros(patch.shape, np.float32)
    for index, lamp in enumerate(light.lamps):
        way = ways_to(lamp, patch.at(COARSE_PX_PER_MM), light.middle_mm)
        level = patch.fit(amounts[index])
        glint = level * gloss * lobe(patch, lamp, way, view, normals)
        out += colours[index][labels] * (level * dull * facing(patch, way, normals))[..., None]
        out += glint[..., None] * light.whites()[index]
        mirror += glint
    cover = alpha.astype(np.float32)[..., None] / 255.0
    layer = np.concatenate([out * cover, cover], axis=2)
    return layer, mean_by_slab(labels, alpha, mirror, len(slabs))


def facing(patch: Patch, way: Ways, normals: tuple[Field, Field]) -> Field:
    """Return how squarely a lamp meets the tops, 1 where the top is level."""
    nx, ny = normals
    level = np.maximum(0.0, patch.fit(way[0] / way[2]) * nx + patch.fit(way[1] / way[2]) * ny + 1.0)
    return np.asarray(level / np.sqrt(1.0 + nx**2 + ny**2), np.float32)


def number_slabs(patch: Patch, slabs: Sequence[Slab]) -> tuple[NDArray[np.intp], NDArray[np.uint8]]:
    """Return which slab each px belongs to (rims included) and how much of the px it covers, 0
    to 255.
    """
    labels = np.zeros(patch.shape, np.uint16)
    alpha = np.zeros(patch.shape, np.uint8)
    outlines = [np.round(patch.to_px(slab.outline_mm) * 16).astype(np.int32) for slab in slabs]
    for number, outline in enumerate(outlines):
        cv2.polylines(labels, [outline], True, number, 3, cv2.LINE_8, 4)
        cv2.fillPoly(labels, [outline], number, cv2.LINE_8, 4)
    for outline in outlines:
        cv2.fillPoly(alpha, [outline], 255, cv2.LINE_AA, 4)
    return labels.astype(np.intp), alpha


def top_normals(
    patch: Patch, slabs: Sequence[Slab], labels: NDArray[np.intp], alpha: NDArray[np.uint8]
) -> tuple[Field, Field]:
    """Return the slopes (x, y) of the normal: each slab's lean, and its bevel near the rim."""
    inside = (alpha > 127).astype(np.uint8)
    same = np.minimum(inside, 1 - _between(labels))
    rim_mm = cv2.distanceTransform(same, cv2.DIST_L2, 5) / patch.px_per_mm
    bevel = np.array([slab.bevel_mm for slab in slabs], np.float32)[labels]
    round_off = np.minimum(rim_mm / bevel, 1.0)
    smooth = cv2.GaussianBlur(bevel * round_off * (2 - round_off) * 0.5, (0, 0), 0.8)
    lean = np.array([slab.lean for slab in slabs], np.float32)[labels]
    slope = patch.px_per_mm / 8.0
    nx = lean[..., 0] - cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3) * slope
    ny = lean[..., 1] - cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3) * slope
    return np.asarray(nx, np.float32), np.asarray(ny, np.float32)


def _between(labels: NDArray[np.intp]) -> NDArray[np.uint8]:
    """Return 1 where a px touches another slab's px."""
    edge = np.zeros(labels.shape, np.uint8)
    edge[:, 1:] |= labels[:, 1:] != labels[:, :-1]
    edge[1:] |= labels[1:] != labels[:-1]
    return edge


def dullness(patch: Patch, slabs: Sequence[Slab]) -> Field:
    """Return how bright the tops' print is: mottling of a few per cent, and the spots of dice."""
    rng = np.random.default_rng(round(sum(slab.outline_mm.sum() for slab in slabs) * 100) % 2**32)
    rows, columns = patch.shape
    coarse = rng.normal(0, 0.02, (rows // 9 + 2, columns // 9 + 2)).astype(np.float32)
    field = 1.0 + cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_LINEAR)
    for x, y, radius in (spot for slab in slabs for spot in slab.spots_mm):
        at = np.round(patch.to_px(np.array([[x, y]]))[0] * 16).astype(int).tolist()
        cv2.circle(field, at, round(radius * patch.px_per_mm * 16), 0.12, -1, cv2.LINE_8, 4)
    return np.asarray(field, np.float32)


def eye_ways(patch: Patch, eye: Array) -> Ways:
    """Return the unit way (x, y, up) to the eye, coarsely over the patch."""
    x, y = patch.at(COARSE_PX_PER_MM).grid_mm()
    dx, dy, dz = float(eye[0]) - x, float(eye[1]) - y, float(eye[2]) - patch.height_mm
    return unit(dx, dy, dz)


def lobe(patch: Patch, lamp: Lamp, way: Ways, view: Ways, normals: tuple[Field, Field]) -> Field:
    """Return the mirrored light per unit of the lamp's: a Gaussian lobe as wide as lamp and
    roughness.

    A mirrored lamp is as bright as the lamp itself, so the peak is Fresnel's share times pi over
    the solid angle that lamp and roughness fill (white paper sends a pi-th of what reaches it
    each way).
    """
    size = float(np.hypot(lamp.radius_mm / np.linalg.norm(lamp.position_mm), 2 * ROUGHNESS))
    half = [w + v for w, v in zip(way, view, strict=True)]
    long = np.sqrt(half[0] ** 2 + half[1] ** 2 + half[2] ** 2)
    hx, hy, hz = (patch.fit(part / long) for part in half)
    nx, ny = normals
    cosine = (hx * nx + hy * ny + hz) / np.sqrt(1.0 + nx**2 + ny**2)
    peak = patch.fit(schlick(view[2]) / size**2)
    return np.asarray(peak * np.exp((cosine - 1.0) * (8.0 / size**2)), np.float32)


ROUGHNESS = 0.06
"""Spread of the micro-facets of a worn, lacquered top, in radians."""


def schlick(cosine: Field) -> Field:
    """Return the mirrored share at this cosine of the angle of view (Schlick's approximation)."""
    return np.asarray(FRESNEL + (1.0 - FRESNEL) * (1.0 - np.clip(cosine, 0, 1)) ** 5, np.float32)


def mean_by_slab(
    labels: NDArray[np.intp], alpha: NDArray[np.uint8], field: Field, number: int
) -> Array:
    """Return the mean of a field over each slab's own px."""
    own = alpha > 200
    total = np.bincount(labels[own], weights=field[own], minlength=number)
    return total / np.bincount(labels[own], minlength=number).clip(1)
