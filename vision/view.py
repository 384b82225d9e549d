"""A photo as the finders see it: grey, at several sizes, and the board's plane in it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.rectify import plane_map, seen_at
from vision.types import Photo, Registration

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

HALVINGS = 3


@dataclass(frozen=True, eq=False)
class View:
    """``greys[i]``: the photo in grey, (H, W) uint8, halved i times; ``photo`` tells sizes and
    name, its own pixels are not looked at."""

    photo: Photo
    greys: tuple[Grey, ...]

    def without(self, outline_px: Array) -> View:
        """The view with a polygon (N, 2), full-size px, painted over in middling grey."""
        outline = (outline_px + 0.5) / self.photo.scale - 0.5
        grey = self.greys[0].copy()
        cv2.fillPoly(grey, [np.round(outline).astype(np.int32)], float(np.median(grey[::8, ::8])))
        return replace(self, greys=_halved(grey))

    def flipped(self) -> View:
        """The view in a mirror, left and right exchanged."""
        return replace(self, greys=_halved(np.ascontiguousarray(self.greys[0][:, ::-1])))

    def shrunk(self, long_side_px: int) -> tuple[Grey, float]:
        """Grey of at most this long side, and how many decoded px one of its px is."""
        k = max(1.0, max(self.greys[0].shape) / long_side_px)
        if k == 1.0:
            return self.greys[0], k
        size = tuple(round(side / k) for side in self.greys[0].shape[::-1])
        large = self.greys[min(int(np.log2(k)), HALVINGS)]
        return np.asarray(cv2.resize(large, size, interpolation=cv2.INTER_AREA)), k

    def level(
        self,
        registration: Registration,
        origin_mm: tuple[float, float],
        px_per_mm: float,
        size_px: tuple[int, int],
        z_mm: float = 0.0,
    ) -> Grey:
        """Grey (h, w) of the plane at ``z_mm``; px (i, j) lies at origin + (i, j) / px_per_mm.

        It is drawn from the halving that shows the board no more than twice as large, so that no
        detail is stepped over.
        """
        middle_mm = np.array(origin_mm) + np.array(size_px) / px_per_mm / 2
        beside = registration.project(middle_mm + np.array([[0, 0], [0.5, 0], [0, 0.5]]))
        steps = np.linalg.norm(beside[1:] - beside[0], axis=1) / (0.5 * px_per_mm)
        ratio = float(steps.min()) / self.photo.scale
        halving = int(np.clip(np.floor(np.log2(max(ratio, 1e-6))), 0, HALVINGS))
        px = self.photo.scale * 2**halving
        places = plane_map(registration, origin_mm, px_per_mm, size_px, px, z_mm)
        return seen_at(self.greys[halving], places)


def view_of(photo: Photo) -> View:
    """What the finders see of a photo."""
    return View(photo, _halved(grey_of(photo.pixels)))


def grey_of(pixels: NDArray[np.uint8]) -> Grey:
    """Grey (H, W) uint8 of an RGB picture."""
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)


def _halved(grey: Grey) -> tuple[Grey, ...]:
    """``grey`` and its halvings; odd last rows and columns are left out, so px centres stay."""
    greys = [grey]
    for _ in range(HALVINGS):
        height, width = (side // 2 * 2 for side in greys[-1].shape)
        whole = greys[-1][:height, :width]
        greys.append(
            np.asarray(
                cv2.resize(whole, (width // 2, height // 2), interpolation=cv2.INTER_AREA), np.uint8
            )
        )
    return tuple(greys)
