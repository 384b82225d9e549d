"""Printed corner marks (OpenCV's DICT_4X4_50) in a photo."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from scoring.sheet import GameSheet
from vision.rectify import to_full
from vision.types import Photo
from vision.view import View, view_of

Array = NDArray[np.float64]
Marks = list[tuple[int, Array]]

DETECTION_PX = 1600
"""Marks are looked for in a picture of at most this long side, then refined in the decoded one."""

ENOUGH_MARKS = 3
"""So many found in a small picture are enough: a larger one is not searched for the others."""

QUICK_WINDOWS_PX = (5, 15)
"""Sides of the windows in which the first, small picture is told into dark and bright; the others
are told by OpenCV's three, 3 to 23."""

HALF_MODULE = 1 / 12
"""Share of a mark's side in which each corner is sought again: a mark has six modules across."""


def marks_of(sheet: GameSheet) -> dict[int, Array]:
    """The sheet's printed marks: corners (4, 2), mm, by id."""
    return {mark: np.asarray(corners, float) for mark, corners in sheet.marks.items()}


def find_marks(photo: Photo) -> dict[int, Array]:
    """Corners (4, 2) full-size px of every mark seen once, clockwise from its own top left.

    An id seen twice is left out: it cannot tell which place it stands for.
    """
    return seen_once(all_marks(view_of(photo)))


def marks_beside(photo: Photo, board_px: Array | None) -> dict[int, Array]:
    """``find_marks`` beside a board with these corners (4, 2) px, if one is known.

    For a fifth of the work they are sought in a picture half as large: a strip's marks are large
    (of 156 strips it showed all, the whole picture 153).
    """
    view = view_of(photo)
    view = view if board_px is None else view.without(board_px)
    return seen_once(_marks_at(view, min(_halving(view) + 1, len(view.greys) - 1), quick=False))


def seen_once(marks: Marks) -> dict[int, Array]:
    """Those marks whose id occurs once."""
    ids = [mark for mark, _ in marks]
    return {mark: corners for mark, corners in marks if ids.count(mark) == 1}


def wanted_marks(view: View, ids: Collection[int]) -> Marks:
    """The marks seen whose id is wanted, from the smallest picture that shows enough of them."""
    marks: Marks = []
    first = len(view.greys) - 2
    for halving in range(first, _halving(view) - 1, -1):
        seen = _marks_at(view, halving, quick=halving == first)
        marks = [(mark, corners) for mark, corners in seen if mark in ids]
        if len({mark for mark, _ in marks}) >= min(ENOUGH_MARKS, len(ids)):
            break
    return marks


def all_marks(view: View) -> Marks:
    """Every mark seen: its id and its corners (4, 2) full-size px.

    Source: Garrido-Jurado et al., "Automatic generation and detection of highly reliable fiducial
    markers", Pattern Recognition 47(6), 2014, as OpenCV implements it; the corners are refined in
    the decoded picture (Foerstner and Guelch, ISPRS workshop on fast processing, 1987, as OpenCV's
    cornerSubPix).
    """
    return _marks_at(view, _halving(view), quick=False)


def _marks_at(view: View, halving: int, *, quick: bool) -> Marks:
    """``all_marks`` of one of the view's halvings."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    if quick:
        parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = QUICK_WINDOWS_PX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(dictionary, parameters)
    corners, ids, _ = detector.detectMarkers(view.greys[halving])
    if ids is None:
        return []
    k = 2**halving
    return [
        (int(mark), to_full(view.photo, _refined(view, np.reshape(quad, (4, 2)) * k + (k - 1) / 2)))
        for mark, quad in zip(np.asarray(ids).ravel(), corners, strict=True)
    ]


def _halving(view: View) -> int:
    """The least halved picture in which marks are looked for."""
    halving = max(0, round(math.log2(max(view.greys[0].shape) / DETECTION_PX)))
    return min(halving, len(view.greys) - 1)


def _refined(view: View, corners: Array) -> Array:
    """A mark's corners (4, 2), decoded px, sought again in the decoded picture."""
    side = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())
    reach = max(1, round(HALF_MODULE * side))
    found = np.asarray(corners, np.float32).reshape(-1, 1, 2)
    ends = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.02)
    cv2.cornerSubPix(view.greys[0], found, (reach, reach), (-1, -1), ends)
    return found.reshape(4, 2).astype(np.float64)


def mark_pairs(seen: Mapping[int, Array], known_mm: Mapping[int, Array]) -> tuple[Array, Array]:
    """Corner pairs (N, 2) board mm and (N, 2) photo px of the marks both seen and known."""
    both = sorted(set(seen) & set(known_mm))
    if not both:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.vstack([known_mm[i] for i in both]), np.vstack([seen[i] for i in both])
