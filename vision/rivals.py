"""How else a board might lie: one cell off, turned, mirrored; and whether such a laying explains
the photo as well once it is refined itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.lattice import board_corners_mm, cell_centres_mm, pitch_mm
from scoring.types import Lattice
from vision.geometry import refine_registration
from vision.patches import FEWEST_PATCHES, align_patches, best_scores
from vision.types import Registration
from vision.view import View

Array = NDArray[np.float64]

SEEN = 0.6
"""Correlation from which a patch counts as seen in its place."""

CLEARLY = 0.02
"""By so much a patch's correlation must differ to speak for one of two layings."""

SURELY = 2.5
"""The patches that speak for one laying must outnumber those for the other by so many standard
deviations of what chance would make of them."""

FAR_BETTER = 0.25
DECISIVE = 4
"""So many patches suffice whose correlation differs by so much, if none differs so the other way
about: print that only one laying has, such as a title."""

REACHES_PX = (5, 5, 3)
"""Search radii, artwork px, of the rounds in which a laying is refined."""

ASKEW_PX = 12
"""So far, artwork px, each patch may then still lie from its place: a first photo whose lens could
not be fitted leaves the artwork bent, and a turned laying would be bent the wrong way."""

MOST_SHIFTS = 12
SAME_STEP = 0.15
"""Share of the pitch within which a turned step counts as a step of the lattice: rows of courses
are nearly hexagons. All by hand."""


@lru_cache(maxsize=16)
def rivals_mm(lattice: Lattice) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Rigid motions (3, 3) of the board's plane, mm, which its cells may be mistaken under.

    First the shifts by one neighbour each way; then, about the board's middle, quarter turns, both
    mirrorings, and whatever else the lattice's steps stay steps under.
    """
    steps = _steps_mm(lattice)
    middle = np.array(board_corners_mm(lattice)).mean(axis=0)
    shifts = tuple(_motion(np.eye(2), step) for step in steps[:MOST_SHIFTS])
    turns = []
    for degrees in range(0, 360, 30):
        for mirror in (1.0, -1.0):
            c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
            turn = np.array([[c, -s], [s, c]]) @ np.diag([mirror, 1.0])
            plain = degrees % 90 == 0 if mirror > 0 else degrees % 180 == 0
            if (degrees or mirror < 0) and (
                plain or _stays(steps, turn, SAME_STEP * pitch_mm(lattice))
            ):
                turns.append(_motion(turn, middle - turn @ middle))
    return shifts, tuple(turns)


def leads_over(
    view: View,
    registration: Registration,
    motions: Sequence[Array],
    artwork: Artwork,
    telling: NDArray[np.bool_],
) -> list[float]:
    """By how much a registration beats those moved by ``motions``, all refined as well as can be.

    Of the ``telling`` patches (N,) the share that are seen and clearly better here, less the share
    of those seen and clearly better there; 0 where chance may have made it (a sign test, or the
    few that decide). A print that looks the same both ways has a lead near 0.
    """
    if not motions:
        return []
    here = _scores(view, registration, artwork, telling)
    leads = []
    for motion in motions:
        moved = replace(registration, homography=registration.homography @ motion)
        there = _scores(view, moved, artwork, telling)
        better = int(((here >= SEEN) & (here - there >= CLEARLY)).sum())
        worse = int(((there >= SEEN) & (there - here >= CLEARLY)).sum())
        lead = better - worse
        sure = abs(lead) >= SURELY * (better + worse) ** 0.5 or _decided(here, there)
        leads.append(lead / len(here) if sure else 0.0)
    return leads


def _decided(here: Array, there: Array) -> bool:
    """Whether patches decide for one of two layings, and none for the other."""
    for_here = int(((here >= SEEN) & (here - there >= FAR_BETTER)).sum())
    for_there = int(((there >= SEEN) & (there - here >= FAR_BETTER)).sum())
    return max(for_here, for_there) >= DECISIVE and min(for_here, for_there) == 0


def shares_moved(
    view: View,
    registration: Registration,
    motions: Sequence[Array],
    artwork: Artwork,
    telling: NDArray[np.bool_],
) -> list[float]:
    """The share of the ``telling`` patches (N,) that are seen in each laying as it comes."""
    layings = (
        replace(registration, homography=registration.homography @ motion) for motion in motions
    )
    return [
        float(np.mean(best_scores(view, laying, artwork, ASKEW_PX, telling) >= SEEN))
        for laying in layings
    ]


def _scores(
    view: View, registration: Registration, artwork: Artwork, telling: NDArray[np.bool_]
) -> Array:
    """Correlation (M,) of the ``telling`` patches once the registration is refined on all."""
    for reach_px in REACHES_PX:
        board_mm, photo_px, scores = align_patches(view, registration, artwork, reach_px)
        good = scores >= SEEN
        if good.sum() < FEWEST_PATCHES:
            break
        registration = refine_registration(
            registration, board_mm[good], photo_px[good], view.photo.full_size_px, board_mm[:1]
        )
    return best_scores(view, registration, artwork, ASKEW_PX, telling)


def _steps_mm(lattice: Lattice) -> list[Array]:
    """The ways (2,) from a cell to its neighbours, each once."""
    places = dict(
        zip((c.id for c in lattice.cells), np.array(cell_centres_mm(lattice)), strict=True)
    )
    steps = {
        tuple(np.round(places[other] - places[cell]).astype(int)): places[other] - places[cell]
        for cell, others in lattice.neighbours.items()
        for other in others
    }
    return list(steps.values())


def _stays(steps: Sequence[Array], turn: Array, tolerance_mm: float) -> bool:
    """Whether every step is a step again after a turn."""
    if not steps:
        return False
    known = np.array(steps)
    off = np.linalg.norm((known @ turn.T)[:, None] - known, axis=2)
    return bool((off.min(axis=1) < tolerance_mm).all())


def _motion(turn: Array, shift_mm: Array) -> Array:
    motion = np.eye(3)
    motion[:2, :2], motion[:2, 2] = turn, shift_mm
    return motion
