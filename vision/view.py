"""A photo as the finders see it: grey, at several sizes, and the board's plane in it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.greys import HALVINGS, Grey, halved
from vision.rectify import plane_map, seen_at
from vision.types import Photo, Registration

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class View:
    """``greys[i]``: the photo in grey, (H, W) uint8, halved i times; ``photo`` tells sizes and
    name, its own pixels are not looked at."""

    photo: Photo
    greys: tuple[Grey, ...]

    def without(self, outline_px: Array) -> View:
        """The view with a polygon (N, 2), full-size px, painted over in middling grey."""
        middling = float(np.median(self.greys[0][::8, ::8]))

        def painted(grey: Grey, px: int) -> Grey:
            outline = np.round((outline_px + 0.5) / px - 0.5).astype(np.int32)
            return np.asarray(cv2.fillPoly(grey.copy(), [outline], middling), np.uint8)

        greys = (painted(grey, self.photo.scale * 2**i) for i, grey in enumerate(self.greys))
        return replace(self, greys=tuple(greys))

    def flipped(self) -> View:
        """The view in a mirror, left and right exchanged."""
        return replace(self, greys=halved(np.ascontiguousarray(self.greys[0][:, ::-1])))

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
    return View(photo, photo.greys)
