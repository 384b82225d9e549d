"""Printed corner marks (OpenCV's DICT_4X4_50) in a photo."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.rectify import to_full
from vision.types import Photo
from vision.view import View, view_of

Array = NDArray[np.float64]
Marks = list[tuple[int, Array]]

DETECTION_PX = 1600
"""Marks are looked for in a picture of at most this long side, then refined in the decoded one."""


QUICK_SHARE = 0.03
"""The quick detector looks for marks whose side is at least this share of the picture's."""


def find_marks(photo: Photo) -> dict[int, Array]:
    """Corners (4, 2) full-size px of every mark seen once, clockwise from its own top left.

    An id seen twice is left out: it cannot tell which place it stands for.
    """
    return seen_once(all_marks(view_of(photo)))


def seen_once(marks: Marks) -> dict[int, Array]:
    """Those marks whose id occurs once."""
    ids = [mark for mark, _ in marks]
    return {mark: corners for mark, corners in marks if ids.count(mark) == 1}


def wanted_marks(view: View, ids: Collection[int]) -> Marks:
    """The marks seen whose id is wanted, by the quick detector where that finds two of them."""
    for quick in (True, False):
        marks = [(mark, corners) for mark, corners in all_marks(view, quick=quick) if mark in ids]
        if len({mark for mark, _ in marks}) >= 2:
            break
    return marks


def all_marks(view: View, *, quick: bool = False) -> Marks:
    """Every mark seen: its id and its corners (4, 2) full-size px.

    Sources: Garrido-Jurado et al., "Automatic generation and detection of highly reliable fiducial
    markers", Pattern Recognition 47(6), 2014; the quick one: Romero-Ramirez et al., "Speeded up
    detection of squared fiducial markers", Image and Vision Computing 76, 2018. Both as OpenCV
    implements them.
    """
    halving = max(0, round(math.log2(max(view.greys[0].shape) / DETECTION_PX)))
    halving = min(halving, len(view.greys) - 1)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.useAruco3Detection = quick
    parameters.minMarkerLengthRatioOriginalImg = QUICK_SHARE if quick else 0.0
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(dictionary, parameters)
    corners, ids, _ = detector.detectMarkers(view.greys[halving])
    if ids is None:
        return []
    k = 2**halving
    return [
        (
            int(mark),
            to_full(view.photo, np.asarray(quad, np.float64).reshape(4, 2) * k + (k - 1) / 2),
        )
        for mark, quad in zip(np.asarray(ids).ravel(), corners, strict=True)
    ]


def mark_pairs(seen: Mapping[int, Array], known_mm: Mapping[int, Array]) -> tuple[Array, Array]:
    """Corner pairs (N, 2) board mm and (N, 2) photo px of the marks both seen and known."""
    both = sorted(set(seen) & set(known_mm))
    if not both:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.vstack([known_mm[i] for i in both]), np.vstack([seen[i] for i in both])
