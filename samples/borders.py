"""Rich frame patterns for invented boards: each fills a whole uint8 sRGB picture, the frame is cut
out later.

A border painter takes (picture, inks, rng): the picture of shape (H, W, 3) is painted over in
place with the inks, an (N, 3) uint8 array from dark to light. Lengths inside are in px of the
art.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

Picture = NDArray[np.uint8]
Painter = Callable[[Picture, Picture, np.random.Generator], None]


def ink_of(inks: Picture, rng: np.random.Generator) -> tuple[int, int, int]:
    """Pick one ink, a little lighter or darker."""
    chosen = inks[rng.integers(len(inks))].astype(float) * rng.uniform(0.85, 1.15)
    r, g, b = np.clip(chosen, 0, 255).astype(int).tolist()
    return r, g, b


def polyline(picture: Picture, points: NDArray, ink: tuple[int, int, int], width: int) -> None:
    """Draw an open line through (N, 2) px points."""
    cv2.polylines(
        picture, [np.round(points * 8).astype(np.int32)], False, ink, width, cv2.LINE_AA, 3
    )


def waves(picture: Picture, inks: Picture, rng: np.random.Generator) -> None:
    """Rolling lines of uneven swell, as on a chart of a windy bay."""
    height, width = picture.shape[:2]
    picture[:] = inks[0]
    x = np.linspace(-20, width + 20, 260)
    for y in np.arange(-20, height + 20, 17):
        swell = sum(
            rng.uniform(2, 9) * np.sin(x / rng.uniform(14, 70) + rng.uniform(0, 7))
            for _ in range(3)
        )
        line = np.column_stack([x, y + swell])
        polyline(picture, line, ink_of(inks[1:], rng), int(rng.integers(2, 6)))


def shards(picture: Picture, inks: Picture, rng: np.random.Generator) -> None:
    """Broken crockery set in mortar: random triangles, each with its own ink."""
    height, width = picture.shape[:2]
    points = rng.uniform([-40, -40], [width + 40, height + 40], (900, 2))
    for corners in Delaunay(points).simplices:
        outline = np.round(points[corners]).astype(np.int32)
        cv2.fillConvexPoly(picture, outline, ink_of(inks, rng), cv2.LINE_AA)
        cv2.polylines(picture, [outline], True, inks[0].tolist(), 2, cv2.LINE_AA)


def contours(picture: Picture, inks: Picture, rng: np.random.Generator) -> None:
    """Height lines of hills that nobody has walked."""
    height, width = picture.shape[:2]
    coarse = rng.normal(size=(height // 70 + 2, width // 70 + 2)).astype(np.float32)
    hills = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    picture[:] = inks[-1]
    for level in np.linspace(-1.6, 1.6, 13):
        edges, _ = cv2.findContours(
            (hills > level).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE
        )
        cv2.drawContours(
            picture, edges, -1, ink_of(inks[:-1], rng), int(rng.integers(2, 6)), cv2.LINE_AA
        )


def vines(picture: Picture, inks: Picture, rng: np.random.Generator) -> None:
    """Tendrils with leaves, grown from random roots."""
    height, width = picture.shape[:2]
    picture[:] = inks[-1]
    for _ in range(420):
        grow_vine(picture, inks[:-1], rng.uniform([0, 0], [width, height]), rng)


def grow_vine(
    picture: Picture, inks: Picture, root: NDArray[np.float64], rng: np.random.Generator
) -> None:
    """Draw one tendril of about 220 px from ``root`` with leaves along it."""
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(np.cumsum(rng.normal(0, 0.03, 40)))
    way = root + np.cumsum(5.5 * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    polyline(picture, way, ink_of(inks, rng), 3)
    for step in range(4, 40, 6):
        angle = float(np.degrees(heading[step])) + rng.choice([-55, 55])
        lean = 11 * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
        x, y = np.round(way[step] + lean).astype(int).tolist()
        cv2.ellipse(picture, (x, y), (12, 5), angle, 0, 360, ink_of(inks, rng), -1, cv2.LINE_AA)


def bricks(picture: Picture, inks: Picture, rng: np.random.Generator) -> None:
    """A rubble wall: uneven stones in rows, each with a chisel mark or two."""
    picture[:] = inks[0]
    y = -10
    while y < picture.shape[0]:
        tall = int(rng.integers(24, 46))
        lay_row(picture, inks[1:], (y, tall), rng)
        y += tall + 4


def lay_row(
    picture: Picture, inks: Picture, row: tuple[int, int], rng: np.random.Generator
) -> None:
    """Lay one row of stones; ``row`` is its top and height in px."""
    x, (top, tall) = -int(rng.integers(0, 60)), row
    while x < picture.shape[1]:
        long = int(rng.integers(34, 100))
        ink = ink_of(inks, rng)
        cv2.rectangle(picture, (x, top), (x + long, top + tall), ink, -1)
        start = rng.uniform([x, top], [x + long, top + tall], (2, 2))
        mark = ink_of(inks, rng)
        for spot in start:
            polyline(picture, np.stack([spot, spot + rng.normal(0, 9, 2)]), mark, 3)
        x += long + 4


PAINTERS: tuple[Painter, ...] = (waves, shards, contours, vines, bricks)
