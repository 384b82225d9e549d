"""Printed corner marks (OpenCV's DICT_4X4_50) in a photo."""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.rectify import to_full
from vision.types import Photo

Array = NDArray[np.float64]
Marks = list[tuple[int, Array]]

DETECTION_PX = 1600
"""Marks are looked for in a picture of at most this long side, then refined in the decoded one."""


def find_marks(photo: Photo) -> dict[int, Array]:
    """Corners (4, 2) full-size px of every mark seen once, clockwise from its own top left.

    An id seen twice is left out: it cannot tell which place it stands for.
    """
    return seen_once(all_marks(photo))


def seen_once(marks: Marks) -> dict[int, Array]:
    """Those marks whose id occurs once."""
    ids = [mark for mark, _ in marks]
    return {mark: corners for mark, corners in marks if ids.count(mark) == 1}


def all_marks(photo: Photo) -> Marks:
    """Every mark seen: its id and its corners (4, 2) full-size px.

    Source: Garrido-Jurado et al., "Automatic generation and detection of highly reliable fiducial
    markers", Pattern Recognition 47(6), 2014, as OpenCV implements it.
    """
    grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
    k = max(1, round(max(grey.shape) / DETECTION_PX))
    small = (
        grey if k == 1 else cv2.resize(grey, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    )
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(small)
    if ids is None:
        return []
    return [
        (int(mark), to_full(photo, np.asarray(quad, np.float64).reshape(4, 2) * k + (k - 1) / 2))
        for mark, quad in zip(np.asarray(ids).ravel(), corners, strict=True)
    ]


def mark_pairs(seen: Mapping[int, Array], known_mm: Mapping[int, Array]) -> tuple[Array, Array]:
    """Corner pairs (N, 2) board mm and (N, 2) photo px of the marks both seen and known."""
    both = sorted(set(seen) & set(known_mm))
    if not both:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.vstack([known_mm[i] for i in both]), np.vstack([seen[i] for i in both])
