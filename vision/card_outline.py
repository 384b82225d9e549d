"""The card in a photo: quadrilaterals that may be one, turned upright and levelled."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.geometry import USUAL_FOCAL

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
Outline = cv2.typing.MatLike

LEVEL_PX = 760
"""Long side of the levelled card."""

SEARCH_PX = 900
"""Long side of the picture in which cards are sought."""

CARD_SHARE = 0.01
"""A card fills at least this share of the picture: some forty to a photo."""

MOST_QUADS = 120

LONGEST = 0.35
"""Shortest side of a card's quadrilateral over its longest, at least."""


def card_quads(pixels: Picture) -> list[Array]:
    """Quadrilaterals (4, 2), decoded px, that may be a card, the largest first."""
    k = max(1.0, max(pixels.shape) / SEARCH_PX)
    size = (round(pixels.shape[1] / k), round(pixels.shape[0] / k))
    small = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    lab = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.5), cv2.COLOR_RGB2LAB)
    quads: list[Array] = []
    for mask in _masks(np.asarray(lab, np.uint8)):
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
        for contour in contours:
            quad = _quad_of(contour, size[0] * size[1])
            if quad is not None and not any(np.abs(quad - q).max() < 6 for q in quads):
                quads.append(quad)
    quads.sort(key=lambda quad: -cv2.contourArea(quad.astype(np.float32)))
    return [(quad + 0.5) * k - 0.5 for quad in quads[:MOST_QUADS]]


def _masks(lab: Picture) -> Iterator[Picture]:
    """Pictures in which a card's outline closes: edges and levels of each channel."""
    ring = np.ones((3, 3), np.uint8)
    for channel in range(3):
        plane = np.ascontiguousarray(lab[..., channel])
        for low, high in ((20, 60), (8, 24)):
            yield np.asarray(cv2.dilate(cv2.Canny(plane, low, high), ring), np.uint8)
        level, _ = cv2.threshold(plane, 0, 255, cv2.THRESH_OTSU)
        for shift in (-20, -8, 0, 8, 20):
            yield np.asarray((plane > level + shift) * np.uint8(255), np.uint8)


def _quad_of(contour: Outline, picture_area: int) -> Array | None:
    """The convex quadrilateral (4, 2) that a contour is, clockwise; None where it is none."""
    hull = cv2.convexHull(contour)
    area = cv2.contourArea(hull)
    if not CARD_SHARE * picture_area < area < 0.95 * picture_area:
        return None
    for slack in (0.015, 0.03, 0.05):
        corners = cv2.approxPolyDP(hull, slack * cv2.arcLength(hull, True), True).reshape(-1, 2)
        if len(corners) == 4 and cv2.contourArea(corners) > 0.93 * area:
            quad = np.asarray(corners, np.float64)
            across = np.roll(quad, -1, axis=0) - quad
            lengths = np.linalg.norm(across, axis=1)
            return quad if lengths.min() > LONGEST * lengths.max() else None
    return None


def upright(quad: Array) -> Array:
    """The corners (4, 2) clockwise from the top left one: the upper side is the one that lies
    nearest to the top of the photo."""
    x, y = quad[:, 0], quad[:, 1]
    if (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() < 0:
        quad = quad[::-1]
    middle = quad.mean(axis=0)
    sides = (quad + np.roll(quad, -1, axis=0)) / 2 - middle
    top = int(np.argmin(sides[:, 1] / np.linalg.norm(sides, axis=1)))
    return np.roll(quad, -top, axis=0)


def levelled(pixels: Picture, corners: Array) -> Picture:
    """The quadrilateral (4, 2), decoded px, seen from straight above, sRGB.

    Its sides' ratio is that of a rectangle seen by a phone's usual focal length f: the columns of
    K^-1 H scale as its sides. Source: Zhang and He, "Whiteboard scanning and image enhancement",
    Digital Signal Processing 17(2), 2007, eq. 20.
    """
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    height, width = pixels.shape[:2]
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    about = (corners - middle) / (USUAL_FOCAL * max(width, height))
    h = cv2.getPerspectiveTransform(unit, about.astype(np.float32))
    wide, tall = np.linalg.norm(h[:, 0]), np.linalg.norm(h[:, 1])
    scale = LEVEL_PX / max(wide, tall)
    size = (max(60, round(wide * scale)), max(60, round(tall * scale)))
    target = (unit * np.array(size, np.float32) - 0.5).astype(np.float32)
    to_level = cv2.getPerspectiveTransform(corners.astype(np.float32), target)
    return np.asarray(cv2.warpPerspective(pixels, to_level, size, flags=cv2.INTER_AREA), np.uint8)
