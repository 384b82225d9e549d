"""Whether a registration is right: the artwork must be seen where it says, and nowhere else."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.lattice import cell_centres_mm
from scoring.types import Lattice
from vision.patches import PATCH_PX, SHRINK, level_small, patches_of
from vision.types import Registration
from vision.view import View

Array = NDArray[np.float64]
Lookup = NDArray[np.int64]

SEEN = 0.6
"""Correlation from which a patch counts as seen in its place."""

ENOUGH_SEEN = 0.12
"""Share of all patches that must be seen. A full board leaves its frame, a quarter and more."""

EVERY = 2
"""Correlation is taken over every second px each way: the pictures are soft."""

MARGIN = 0.10
"""By so much the share seen must beat every other placing. All three chosen by hand."""


def prove(
    view: View, registration: Registration, lattice: Lattice, artwork: Artwork
) -> dict[str, float]:
    """Figures that make the case for a registration.

    ``seen``: share of artwork patches whose normalised cross-correlation with the photo is at least
    ``SEEN`` in their place. ``runner_up``: the largest such share when the board is laid one cell
    off in any direction, turned or mirrored. ``quarters``: how many of the board's four quarters
    hold at least five patches seen.
    """
    patches = patches_of(artwork)
    size = np.array(patches.small.shape[::-1])
    picture = _with_outside(level_small(view, registration, artwork))
    true, others = _placings(lattice, artwork)
    known = _normalised(_with_outside(patches.small)[true])
    scores = _agreement(known, picture[true])
    shares = [float(np.mean(_agreement(known, picture[other]) >= SEEN)) for other in others]
    quarter = (patches.centres > size / 2) @ [1, 2]
    counts = np.bincount(quarter[scores >= SEEN], minlength=4)
    return {
        "seen": float(np.mean(scores >= SEEN)),
        "runner_up": max(shares, default=0.0),
        "quarters": float((counts >= 5).sum()),
    }


def is_proven(evidence: Mapping[str, float]) -> bool:
    """Whether the figures of ``prove`` suffice to read the board from this registration."""
    return (
        evidence["seen"] >= ENOUGH_SEEN
        and evidence["seen"] - evidence["runner_up"] >= MARGIN
        and evidence["quarters"] >= 3
    )


def is_likely(evidence: Mapping[str, float]) -> bool:
    """Whether a refusal may speak of this place: about half of what proves a registration."""
    return (
        evidence["seen"] >= ENOUGH_SEEN / 2
        and evidence["seen"] - evidence["runner_up"] >= MARGIN / 2
        and evidence["quarters"] >= 1
    )


def _other_placings(lattice: Lattice, artwork: Artwork) -> Iterator[Array]:
    """Rigid motions (3, 3) in px of the small artwork: one cell off each way, quarter turns,
    mirrored."""
    yield from _shifts(lattice, artwork.px_per_mm / SHRINK)
    height, width = patches_of(artwork).small.shape
    for turn in (1, 2, 3):
        yield _about_middle(width, height, np.array(_QUARTER_TURNS[turn]))
    for mirrored in ([[-1, 0], [0, 1]], [[1, 0], [0, -1]]):
        yield _about_middle(width, height, np.array(mirrored))


_QUARTER_TURNS = {1: [[0, -1], [1, 0]], 2: [[-1, 0], [0, -1]], 3: [[0, 1], [-1, 0]]}


def _shifts(lattice: Lattice, px_per_mm: float) -> list[Array]:
    """Shifts by one neighbour in every direction in which this lattice has neighbours."""
    places = dict(
        zip((c.id for c in lattice.cells), np.array(cell_centres_mm(lattice)), strict=True)
    )
    steps = {
        tuple(np.round(places[other] - places[cell]).astype(int)): places[other] - places[cell]
        for cell, others in lattice.neighbours.items()
        for other in others
    }
    shifts = []
    for step in list(steps.values())[:12]:
        motion = np.eye(3)
        motion[:2, 2] = step * px_per_mm
        shifts.append(motion)
    return shifts


def _about_middle(width: int, height: int, turn: Array) -> Array:
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    motion = np.eye(3)
    motion[:2, :2] = turn
    motion[:2, 2] = middle - turn @ middle
    return motion


@lru_cache(maxsize=16)
def _placings(lattice: Lattice, artwork: Artwork) -> tuple[Lookup, tuple[Lookup, ...]]:
    """The pixels of all patches in their true place, and in every other placing."""
    patches = patches_of(artwork)
    return _lookup(patches.small.shape, patches.centres, np.eye(3)), tuple(
        _lookup(patches.small.shape, patches.centres, motion)
        for motion in _other_placings(lattice, artwork)
    )


def _lookup(size: tuple[int, ...], centres: NDArray[np.int64], motion: Array) -> Lookup:
    """Index (N, P) into the raveled picture of every patch after ``motion``, -1 outside it."""
    half = PATCH_PX // SHRINK // 2
    span = np.arange(-half, half + 1, EVERY)
    dx, dy = np.meshgrid(span, span)
    x = centres[:, :1] + dx.ravel()
    y = centres[:, 1:] + dy.ravel()
    to = motion[:2, :2] @ np.stack([x.ravel(), y.ravel()]) + motion[:2, 2:]
    column, row = np.round(to).astype(int)
    inside = (column >= 0) & (row >= 0) & (column < size[1]) & (row < size[0])
    return np.where(inside, row * size[1] + column, -1).reshape(x.shape)


def _with_outside(picture: NDArray[Any]) -> NDArray[np.float32]:
    """The raveled picture, and behind it the 0 that lies outside."""
    return np.append(picture.ravel(), 0).astype(np.float32)


def _normalised(patches: NDArray[np.float32]) -> NDArray[np.float32]:
    centred = patches - patches.mean(1, keepdims=True)
    length = np.sqrt(np.einsum("np,np->n", centred, centred))[:, None]
    return np.asarray(centred / (length + 1e-6), np.float32)


def _agreement(known: NDArray[np.float32], seen: NDArray[np.float32]) -> NDArray[np.float32]:
    """Normalised cross-correlation (N,) of the known patches, normalised, with those seen."""
    return np.asarray(np.einsum("np,np->n", known, _normalised(seen)))
