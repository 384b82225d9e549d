"""The scene: table-top, board, pieces and what should not be there, painted onto the canvas
layer by layer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from samples.artwork import draw_card
from samples.board import ART_PX_PER_MM, Board, Mark, inset, soften, turn
from samples.camera import Canvas
from samples.conditions import Conditions
from samples.layers import Bounds, Field, Patch, lay, sharpness
from samples.light import Light, cast, lights_on, shine
from samples.occluders import make_occluders
from samples.slabs import Slab, draw_slabs, draw_walls
from samples.spectra import paint, srgb_to_linear
from samples.strip import PAPER_MM, Strip
from samples.tabletop import TABLETOP_MM, TABLETOP_PX_PER_MM, tabletop
from scoring.types import EMPTY

CAST_PX_PER_MM = 2.5
"""Resolution of the shadows that slabs throw."""

NEAREST_MM = 30.0
"""Of what reaches past the camera, the part nearer to its plane than this is left out."""

ROOM = 0.035
"""Linear light of the dark room beyond the edge of the table."""


@dataclass(frozen=True, eq=False)
class Scene:
    """What is drawn: pieces by cell id, loose pieces on the table, occluders over the board, a
    key strip beside it and its spare pieces by colour.
    """

    board: Board
    conditions: Conditions
    light: Light
    pieces: Mapping[str, Slab]
    loose: tuple[Slab, ...]
    occluders: tuple[Slab, ...]
    strip: Strip | None
    spares: Mapping[str, Slab]


def set_scene(
    board: Board,
    grid: Mapping[str, str],
    conditions: Conditions,
    light: Light,
    rng: np.random.Generator,
    strip: Strip | None = None,
) -> Scene:
    """Lay every piece by hand: a little off, a little turned, each a little worn."""
    pieces = {
        place.id: lay_piece(board, np.asarray(place.polygon_mm), grid[place.id], conditions, rng)
        for place in board.places
        if grid[place.id] != EMPTY
    }
    loose = tuple(drop_piece(board, conditions, rng, strip) for _ in range(conditions.loose))
    occluders = make_occluders(board, conditions, rng)
    spares = lay_spares(board, strip, conditions, rng) if strip else {}
    return Scene(board, conditions, light, pieces, loose, occluders, strip, spares)


def lay_spares(
    board: Board, strip: Strip, conditions: Conditions, rng: np.random.Generator
) -> dict[str, Slab]:
    """Return a spare piece on each slot of the strip, by colour."""
    outline = np.asarray(board.places[0].polygon_mm)
    outline = outline - (outline.min(axis=0) + outline.max(axis=0)) / 2
    base = PAPER_MM - board.board_mm
    laid = {
        colour: lay_piece(board, strip.on_table(outline + middle), colour, conditions, rng)
        for colour, middle in strip.slots_mm.items()
    }
    return {
        colour: replace(slab, base_mm=base, top_mm=base + board.piece_mm)
        for colour, slab in laid.items()
    }


def lay_piece(
    board: Board, polygon_mm: NDArray, colour: str, conditions: Conditions, rng: np.random.Generator
) -> Slab:
    """Return one piece in its cell."""
    outline = soften(inset(polygon_mm, 0.15))
    turned = turn(outline, rng.normal(0, conditions.jitter_deg))
    shift = np.clip(
        rng.normal(0, conditions.jitter_mm, 2), -2 * conditions.jitter_mm, 2 * conditions.jitter_mm
    )
    lean = rng.normal(0, 0.012, 2) * (conditions.jitter_mm > 0)
    worn = worn_paint(board.paints[colour], conditions.wear, rng)
    return Slab(
        turned + shift, 0.0, board.piece_mm, worn, conditions.gloss, 0.7, (lean[0], lean[1])
    )


def worn_paint(fresh: NDArray, wear: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return the paint a little darker or lighter, a little faded toward grey and off in tint."""
    fade = abs(rng.normal(0, wear))
    tint = 1.0 + rng.normal(0, 0.4 * wear) * np.linspace(-1, 1, len(fresh))
    worn = fresh * (1.0 + rng.normal(0, wear)) * tint
    return np.clip((1 - fade) * worn + fade * 0.5 * (fresh.mean() + 0.4), 0.01, 0.98)


def drop_piece(
    board: Board, conditions: Conditions, rng: np.random.Generator, strip: Strip | None
) -> Slab:
    """Return one spare piece on the table beside the board, any way round."""
    outline = soften(inset(np.asarray(board.places[0].polygon_mm), 0.15))
    where = beside(board, rng, float(np.ptp(outline, axis=0).max()), strip)
    colour = str(rng.choice(sorted(board.paints)))
    turned = turn(outline, rng.uniform(0, 360))
    worn = worn_paint(board.paints[colour], conditions.wear, rng)
    base = -board.board_mm
    return Slab(
        turned - turned.mean(0) + where, base, base + board.piece_mm, worn, conditions.gloss, 0.7
    )


def beside(
    board: Board, rng: np.random.Generator, room_mm: float, strip: Strip | None
) -> NDArray[np.float64]:
    """Return a spot on the table that is clear of the board and the strip by ``room_mm``."""
    size = np.array(board.size_mm)
    while True:
        spot = rng.uniform(-90 - room_mm, size + 90 + room_mm)
        clear = ((spot < -room_mm) | (spot > size + room_mm)).any()
        if clear and (strip is None or off_strip_mm(strip, spot) > room_mm):
            return np.asarray(spot)


def off_strip_mm(strip: Strip, spot_mm: NDArray) -> float:
    """Return how far a spot lies outside the strip, in mm, below 0 inside."""
    rim = strip.corners_mm.astype(np.float32)
    return -cv2.pointPolygonTest(rim, [float(part) for part in spot_mm], measureDist=True)


def draw_scene(scene: Scene, canvas: Canvas) -> tuple[Field, NDArray[np.float64]]:
    """Return the canvas in linear light, and how much each piece mirrors (in the order of the
    pieces).
    """
    width, height = canvas.size_px
    picture = np.full((height, width, 3), ROOM, np.float32)
    draw_table(picture, canvas, scene)
    for mark in scene.board.marks:
        if mark.on == "card":
            draw_mark_card(picture, canvas, scene, mark)
    if scene.strip:
        draw_strip(picture, canvas, scene, scene.strip)
    for slab in scene.loose:
        draw_slabs(picture, canvas, scene.light, [slab])
    draw_rim(picture, canvas, scene)
    draw_print(picture, canvas, scene)
    mirrored = draw_slabs(picture, canvas, scene.light, list(scene.pieces.values()))
    for occluder in scene.occluders:
        draw_slabs(picture, canvas, scene.light, [occluder])
    return picture, mirrored


def draw_rim(picture: Field, canvas: Canvas, scene: Scene) -> None:
    """Draw the cut sides of the cardboard under the print."""
    board = scene.board
    core = paint(np.array([0.42, 0.36, 0.28]))
    slab = Slab(board.corners_mm, -board.board_mm, 0.0, core)
    amounts = [lamp.share for lamp in scene.light.lamps] + [scene.light.ambient]
    draw_walls(picture, canvas, scene.light, slab, amounts)


def draw_table(picture: Field, canvas: Canvas, scene: Scene) -> None:
    """Lay the table-top with the shadows of the board and the loose pieces."""
    board = scene.board
    middle = np.array(board.size_mm) / 2.0
    half = TABLETOP_MM / 2.0
    around = (
        float(middle[0] - half),
        float(middle[1] - half),
        float(middle[0] + half),
        float(middle[1] + half),
    )
    finest = sharpness(canvas, (0.0, 0.0, *board.size_mm), -board.board_mm, TABLETOP_PX_PER_MM)
    patch = Patch(around, -board.board_mm, finest)
    flat = printed_light(tabletop(scene.conditions.tabletop, scene.conditions.tabletop_seed), patch)
    amounts = lights_on(scene.light, patch)
    coarse = patch.at(1.0)
    standing = [board.corners_mm] + [slab.outline_mm for slab in scene.loose]
    left = cast(scene.light, coarse, standing, board.board_mm)
    amounts = [coarse.fit(amount) * shade for amount, shade in zip(amounts, left, strict=True)]
    lay(picture, canvas, patch, opaque(shine(scene.light, patch, flat, amounts)))


def draw_print(picture: Field, canvas: Canvas, scene: Scene) -> None:
    """Lay the board's print with the shadows of the pieces and of what lies over them."""
    board = scene.board
    bounds: Bounds = (0.0, 0.0, *board.size_mm)
    patch = Patch(bounds, 0.0, sharpness(canvas, bounds, 0.0, ART_PX_PER_MM))
    flat = printed_light(board.art, patch)
    coarse = patch.at(min(CAST_PX_PER_MM, patch.px_per_mm))
    amounts = [coarse.fit(amount) for amount in lights_on(scene.light, patch)]
    for slabs, tall in (
        (list(scene.pieces.values()), board.piece_mm),
        (list(scene.occluders), 13.0),
    ):
        if slabs:
            left = cast(scene.light, coarse, [slab.outline_mm for slab in slabs], tall)
            amounts = [amount * shade for amount, shade in zip(amounts, left, strict=True)]
    lay(picture, canvas, patch, opaque(shine(scene.light, patch, flat, amounts)))


def draw_mark_card(picture: Field, canvas: Canvas, scene: Scene, mark: Mark) -> None:
    """Lay one card with a mark flat on the table."""
    card, side = draw_card(mark)
    x, y = (mark.real_corners_mm.mean(axis=0) - side / 2.0).tolist()
    height = scene.board.mark_height_mm(mark)
    patch = Patch((x, y, x + side, y + side), height, len(card) / side)
    flat = srgb_to_linear(card / 255.0).astype(np.float32)
    lay(
        picture,
        canvas,
        patch,
        opaque(shine(scene.light, patch, flat, lights_on(scene.light, patch))),
    )


def draw_strip(picture: Field, canvas: Canvas, scene: Scene, strip: Strip) -> None:
    """Lay the key strip on the table, its spare pieces with their shadows on it."""
    slabs = list(scene.spares.values())
    height = PAPER_MM - scene.board.board_mm
    patch, flat, cover = turned_print(canvas, strip.art, strip.corners_mm, height)
    coarse = patch.at(min(CAST_PX_PER_MM, patch.px_per_mm))
    left = cast(scene.light, coarse, [slab.outline_mm for slab in slabs], scene.board.piece_mm)
    lit = zip(lights_on(scene.light, patch), left, strict=True)
    layer = opaque(shine(scene.light, patch, flat, [coarse.fit(a) * shade for a, shade in lit]))
    lay(picture, canvas, patch, layer * cover[..., None])
    draw_slabs(picture, canvas, scene.light, slabs)


def turned_print(
    canvas: Canvas, art: NDArray[np.uint8], corners_mm: NDArray, height_mm: float
) -> tuple[Patch, Field, Field]:
    """Return the patch round a print that lies turned, its corners (4, 2) from its own top left,
    the print on it in linear light, and how far it covers each px (0 to 1).
    """
    x0, y0 = np.floor(corners_mm.min(axis=0)).tolist()
    x1, y1 = np.ceil(corners_mm.max(axis=0)).tolist()
    bounds: Bounds = (x0, y0, x1, y1)
    patch = Patch(bounds, height_mm, sharpness(canvas, bounds, height_mm))
    rows, columns = art.shape[:2]
    ends = np.array([[-0.5, -0.5], [columns - 0.5, -0.5], [columns - 0.5, rows - 0.5]], np.float32)
    move = cv2.getAffineTransform(ends, patch.to_px(corners_mm[:3]).astype(np.float32))
    size = patch.shape[::-1]
    soft = cv2.GaussianBlur(art, (0, 0), 0.4 * ART_PX_PER_MM / patch.px_per_mm)
    flat = srgb_to_linear(cv2.warpAffine(soft, move, size) / 255.0).astype(np.float32)
    cover = cv2.warpAffine(np.full((rows, columns), 255, np.uint8), move, size)
    return patch, flat, np.asarray(cover / np.float32(255.0))


def printed_light(picture: NDArray[np.uint8], patch: Patch) -> Field:
    """Return a print of uint8 sRGB as linear sRGB, sampled as finely as the patch."""
    rows, columns = patch.shape
    if picture.shape[:2] != (rows, columns):
        picture = cv2.resize(picture, (columns, rows), interpolation=cv2.INTER_AREA).astype(
            np.uint8
        )
    return np.asarray(srgb_to_linear(np.arange(256) / 255.0).astype(np.float32)[picture])


def opaque(flat: Field) -> Field:
    """Return the layer with a full fourth channel."""
    return np.dstack([flat, np.ones(flat.shape[:2], np.float32)])


def covered_share(scene: Scene, canvas: Canvas) -> dict[str, float]:
    """Return for each cell the share of what is seen of it that an occluder hides, 0 to 1."""
    hidden = np.zeros(canvas.size_px[::-1], np.uint8)
    for slab in scene.occluders:
        outline = canvas.place(before_camera(canvas, slab), slab.top_mm)
        if slab.walls:
            foot = canvas.place(slab.outline_mm, slab.base_mm)
            hull = cv2.convexHull(np.vstack([outline, foot]).astype(np.float32))
            outline = np.asarray(hull.reshape(-1, 2), np.float64)
        cv2.fillPoly(hidden, [np.round(outline).astype(np.int32)], 1)
    return {place.id: _hidden_part(scene, canvas, place.id, hidden) for place in scene.board.places}


def before_camera(canvas: Canvas, slab: Slab) -> NDArray[np.float64]:
    """Return the part of a slab's outline, board mm of shape (N, 2), that lies before the camera:
    an arm may reach past it. Source: Sutherland and Hodgman, "Reentrant polygon clipping",
    Communications of the ACM 17(1), 1974.
    """
    corners = np.column_stack([slab.outline_mm, np.ones(len(slab.outline_mm))])
    depths = corners @ canvas.camera.plane(slab.top_mm)[2] - NEAREST_MM
    kept = []
    for i, depth in enumerate(depths):
        j = (i + 1) % len(depths)
        if depth >= 0:
            kept.append(slab.outline_mm[i])
        if (depth >= 0) != (depths[j] >= 0):
            part = depth / (depth - depths[j])
            kept.append(slab.outline_mm[i] + part * (slab.outline_mm[j] - slab.outline_mm[i]))
    return np.array(kept).reshape(-1, 2)


def _hidden_part(scene: Scene, canvas: Canvas, cell: str, hidden: NDArray[np.uint8]) -> float:
    piece = scene.pieces.get(cell)
    place = next(place for place in scene.board.places if place.id == cell)
    outline = piece.outline_mm if piece else np.asarray(place.polygon_mm)
    seen = canvas.place(outline, piece.top_mm if piece else 0.0)
    x0, y0 = np.floor(seen.min(axis=0)).astype(int).clip(0).tolist()
    x1, y1 = np.ceil(seen.max(axis=0)).astype(int).clip(0).tolist()
    part = hidden[y0 : y1 + 1, x0 : x1 + 1]
    mask = np.zeros(part.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(seen - [x0, y0]).astype(np.int32)], 1)
    return float((part & mask).sum() / max(1, int(mask.sum())))
