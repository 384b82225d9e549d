"""The printed art of an empty board, drawn deterministically from a seed: frame, field, cells,
motifs, title.
"""

from __future__ import annotations

import colorsys
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samples.board import ART_PX_PER_MM, Mark, Place, inner_radius
from samples.borders import PAINTERS

Picture = NDArray[np.uint8]
Ink = tuple[int, int, int]


@dataclass(frozen=True, eq=False)
class Style:
    """The look of one board: border inks (N, 3) dark to light, field and line ink, which border
    painter, which motif; all uint8 sRGB.
    """

    inks: Picture
    field: Ink
    line: Ink
    border: int
    motif: int


def choose_style(rng: np.random.Generator) -> Style:
    """Choose a palette of neighbouring hues, a pale field and one of the painters."""
    hue, turn = rng.uniform(), rng.uniform(-0.12, 0.12)
    values = np.linspace(0.2, 0.92, 5)
    strong = np.linspace(0.75, 0.2, 5)
    inks = [
        _rgb(hue + turn * i / 4, s, v) for i, (s, v) in enumerate(zip(strong, values, strict=True))
    ]
    field = _rgb(rng.uniform(), rng.uniform(0.05, 0.22), rng.uniform(0.68, 0.93))
    line = _rgb(hue, 0.5, rng.uniform(0.2, 0.4))
    border, motif = int(rng.integers(len(PAINTERS))), int(rng.integers(len(MOTIFS)))
    return Style(np.array(inks, np.uint8), field, line, border, motif)


def draw_board(
    title: str,
    size_mm: tuple[float, float],
    places: Sequence[Place],
    marks: Sequence[Mark],
    seed: int,
) -> Picture:
    """Return the art of an empty board, uint8 sRGB at ``ART_PX_PER_MM``."""
    rng = np.random.default_rng([seed, 0xA27])
    style = choose_style(rng)
    width, height = np.round(np.array(size_mm) * ART_PX_PER_MM).astype(int).tolist()
    art = np.zeros((height, width, 3), np.uint8)
    PAINTERS[style.border](art, style.inks, rng)
    box = field_box(places, size_mm)
    draw_field(art, box, style, rng)
    for place in places:
        draw_cell(art, place, style, rng)
    draw_title(art, title, box, style)
    draw_medallions(art, box, style)
    for mark in marks:
        if mark.on == "board":
            draw_mark(art, mark)
    return paper_grain(art, rng)


def field_box(places: Sequence[Place], size_mm: tuple[float, float]) -> NDArray[np.int64]:
    """Return (x0, y0, x1, y1) in art px of the plain field: the cells and a little around them."""
    corners = np.concatenate([np.asarray(place.polygon_mm) for place in places])
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = float(np.minimum(low, np.array(size_mm) - high).min())
    spare = min(3.0, 0.3 * room)
    box = np.concatenate([low - spare, high + spare]) * ART_PX_PER_MM
    return np.round(box).astype(np.int64)


def draw_field(art: Picture, box: NDArray, style: Style, rng: np.random.Generator) -> None:
    """Lay the pale field with cloudy tints inside a double rule, and a rule round the board's
    rim.
    """
    x0, y0, x1, y1 = box.tolist()
    clouds = rng.normal(size=((y1 - y0) // 60 + 2, (x1 - x0) // 60 + 2, 3)).astype(np.float32)
    smooth = cv2.resize(clouds, (x1 - x0, y1 - y0), interpolation=cv2.INTER_CUBIC)
    tinted = np.array(style.field) * (1.0 + 0.025 * smooth)
    art[y0:y1, x0:x1] = np.clip(tinted, 0, 255).astype(np.uint8)
    cv2.rectangle(art, (x0, y0), (x1, y1), style.line, 5, cv2.LINE_AA)
    cv2.rectangle(art, (x0 - 9, y0 - 9), (x1 + 9, y1 + 9), style.inks[-1].tolist(), 4, cv2.LINE_AA)
    height, width = art.shape[:2]
    cv2.rectangle(art, (9, 9), (width - 10, height - 10), style.inks[-1].tolist(), 4, cv2.LINE_AA)


def draw_cell(art: Picture, place: Place, style: Style, rng: np.random.Generator) -> None:
    """Tint one cell, outline it, and print its motif and, on an anchor, a small arrow head."""
    outline = np.asarray(place.polygon_mm) * ART_PX_PER_MM
    fixed = np.round(outline * 8).astype(np.int32)
    tint = np.array(style.field) * (1.0 + rng.normal(0, 0.02, 3))
    cv2.fillPoly(art, [fixed], np.clip(tint, 0, 255).tolist(), cv2.LINE_AA, 3)
    middle = np.asarray(place.centre_mm) * ART_PX_PER_MM
    radius = inner_radius(outline)
    ink = _mix(style.field, style.line, rng.uniform(0.3, 0.6))
    MOTIFS[style.motif](art, middle, radius * 0.5, ink)
    if place.anchor:
        head = middle + radius * np.array([[-0.18, 0.62], [0.18, 0.62], [0.0, 0.86]])
        cv2.fillPoly(art, [np.round(head * 8).astype(np.int32)], style.line, cv2.LINE_AA, 3)
    cv2.polylines(art, [fixed], True, style.line, 4, cv2.LINE_AA, 3)


def draw_title(art: Picture, title: str, box: NDArray, style: Style) -> None:
    """Print the title on a plaque in the middle of the upper frame."""
    tall = float(np.clip(box[1] / ART_PX_PER_MM * 0.42, 2.4, 7.0)) * ART_PX_PER_MM
    face, scale = cv2.FONT_HERSHEY_COMPLEX, tall / 34.0
    (width, height), _ = cv2.getTextSize(title, face, scale, 3)
    x, y = (art.shape[1] - width) // 2, int(box[1] * 0.5 + height * 0.5)
    plaque = ((x - 16, y - height - 12), (x + width + 16, y + 14))
    cv2.rectangle(art, *plaque, style.field, -1)
    cv2.rectangle(art, *plaque, style.line, 3, cv2.LINE_AA)
    cv2.putText(art, title, (x, y), face, scale, style.line, 3, cv2.LINE_AA)


def draw_medallions(art: Picture, box: NDArray, style: Style) -> None:
    """Print four unlike corner medallions, so that no turn of the board looks like another."""
    height, width = art.shape[:2]
    middles = [
        (box[0] // 2, box[1] // 2),
        ((width + box[2]) // 2, box[1] // 2),
        ((width + box[2]) // 2, (height + box[3]) // 2),
        (box[0] // 2, (height + box[3]) // 2),
    ]
    radius = int(min(box[0], box[1], width - box[2], height - box[3]) * 0.36)
    for index, (x, y) in enumerate(middles):
        spot = (int(x), int(y))
        cv2.circle(
            art, spot, radius, style.inks[(3 * index) % len(style.inks)].tolist(), -1, cv2.LINE_AA
        )
        cv2.circle(art, spot, radius, style.line, 4, cv2.LINE_AA)
        star = _star(np.array(spot, float), radius * 0.7, index + 3)
        cv2.fillPoly(art, [np.round(star).astype(np.int32)], style.field, cv2.LINE_AA)


def draw_mark(art: Picture, mark: Mark, paper: int = 244) -> None:
    """Print one DICT_4X4_50 mark with a rim of one module, as light as ``paper`` (0 to 255)."""
    corners = np.array(mark.corners_mm) * ART_PX_PER_MM
    side = round(float(np.linalg.norm(corners[1] - corners[0])))
    code = cv2.aruco.generateImageMarker(_marks(), mark.id, side)
    x, y = np.round(corners[0]).astype(int)
    rim = side // 6
    art[max(0, y - rim) : y + side + rim, max(0, x - rim) : x + side + rim] = paper
    art[y : y + side, x : x + side] = np.clip(code, 18, paper)[..., None]


def draw_card(mark: Mark) -> tuple[Picture, float]:
    """Return the print of a card with one mark, uint8 sRGB, and its side in mm: the mark is
    centred.
    """
    side_mm = float(np.linalg.norm(np.subtract(mark.corners_mm[1], mark.corners_mm[0])))
    side = round(side_mm * ART_PX_PER_MM)
    rim = side // 6
    card = np.full((side + 2 * rim, side + 2 * rim), 240, np.uint8)
    card[rim:-rim, rim:-rim] = np.clip(
        cv2.aruco.generateImageMarker(_marks(), mark.id, side), 20, 240
    )
    return np.dstack([card] * 3), len(card) / ART_PX_PER_MM


def paper_grain(art: Picture, rng: np.random.Generator) -> Picture:
    """Return the art softened to print sharpness with a faint paper grain."""
    grain = rng.normal(0, 1.0, art.shape[:2]).astype(np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 1.5) * 3.0
    soft = cv2.GaussianBlur(art, (0, 0), 0.9).astype(np.float32)
    return np.clip(soft + 1.5 * grain[..., None], 0, 255).astype(np.uint8)


def _cross(art: Picture, middle: NDArray, size: float, ink: Ink) -> None:
    for arm in ((size, 0.0), (0.0, size)):
        ends = np.round([middle - np.array(arm) * 0.6, middle + np.array(arm) * 0.6]).astype(int)
        cv2.line(art, ends[0].tolist(), ends[1].tolist(), ink, 4, cv2.LINE_AA)


def _ring(art: Picture, middle: NDArray, size: float, ink: Ink) -> None:
    x, y = np.round(middle).astype(int).tolist()
    cv2.circle(art, (x, y), round(size * 0.6), ink, 4, cv2.LINE_AA)
    cv2.circle(art, (x, y), round(size * 0.15), ink, -1, cv2.LINE_AA)


def _slate(art: Picture, middle: NDArray, size: float, ink: Ink) -> None:
    x, y = np.round(middle - [0.0, 0.75 * size]).astype(int).tolist()
    cv2.circle(art, (x, y), max(3, round(size * 0.14)), ink, -1, cv2.LINE_AA)
    for depth in (-0.2, 0.3, 0.8):
        edge = np.round(middle + size * np.array([[-0.9, depth], [0.9, depth]])).astype(np.int32)
        cv2.polylines(art, [edge], False, ink, 3, cv2.LINE_AA)


def _leaf(art: Picture, middle: NDArray, size: float, ink: Ink) -> None:
    x, y = np.round(middle).astype(int).tolist()
    axes = (round(size * 0.75), round(size * 0.32))
    cv2.ellipse(art, (x, y), axes, -40, 0, 360, ink, 3, cv2.LINE_AA)
    cv2.ellipse(art, (x, y), (axes[0], 1), -40, 0, 360, ink, 3, cv2.LINE_AA)


def _sprig(art: Picture, middle: NDArray, size: float, ink: Ink) -> None:
    for angle in (-90, 30, 150):
        tip = middle + size * 0.8 * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
        ends = np.round([middle, tip]).astype(int)
        cv2.line(art, ends[0].tolist(), ends[1].tolist(), ink, 4, cv2.LINE_AA)
        cv2.circle(art, ends[1].tolist(), max(2, round(size * 0.2)), ink, -1, cv2.LINE_AA)


MOTIFS = (_cross, _ring, _slate, _leaf, _sprig)
"""Small prints for the cells, each drawn round a middle, within a size in px."""


def _star(middle: NDArray, radius: float, points: int) -> NDArray:
    angles = np.linspace(0, 2 * np.pi, 2 * points, endpoint=False) - np.pi / 2
    reach = radius * np.where(np.arange(2 * points) % 2, 0.55, 1.0)
    return middle + np.column_stack([np.cos(angles), np.sin(angles)]) * reach[:, None]


def _marks() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def _rgb(hue: float, strength: float, value: float) -> Ink:
    r, g, b = (round(255 * part) for part in colorsys.hsv_to_rgb(hue % 1.0, strength, value))
    return r, g, b


def _mix(one: Ink, other: Ink, share: float) -> Ink:
    r, g, b = np.round((1 - share) * np.array(one) + share * np.array(other)).astype(int).tolist()
    return r, g, b
