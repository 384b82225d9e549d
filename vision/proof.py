"""Whether a registration is right: the artwork must be seen where it says, and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.types import Lattice
from vision.level import plan_of
from vision.patches import FEWEST_PATCHES, FLAT, PATCH_PX, SHRINK, level_small, patches_of
from vision.rivals import SEEN, leads_over, rivals_mm, shares_moved
from vision.types import Registration
from vision.view import View

Array = NDArray[np.float64]
Lookup = NDArray[np.int64]

ENOUGH_SEEN = 0.12
"""Share of all patches that must be seen. A full board leaves its frame, a quarter and more."""

EVERY = 2
"""Correlation is taken over every second px each way: the pictures are soft."""

MARGIN = 0.10
"""By so much the share seen must beat every other placing."""

NEAR = 0.7
"""A placing that sees more than this share of what the place sees is refined before it is judged:
lying a little askew, it may only seem to be worse."""

LITTLE = 60
"""Fewer patches than this that no piece can cover make a board with little artwork: they alone tell
it from its other layings, for what is left of the print, edges of pieces pass."""

ALL_SEEN = 0.85
"""Share of the patches that no piece can cover from which all count as seen: a right place shows
0.92 and more of them, less what a hand or a shadow hides; a print that repeats, one repeat off,
shows much of itself too, but not so much. A board with little artwork must show them all."""

LIKE_ITSELF = 0.6
"""Share of its patches beside the cells that a print must show again when it is turned to count as
the same turned: it cannot tell which way round it lies. Frames with art show up to 0.31."""

MOSTLY_SEEN = 0.6
"""Share of the patches that no piece can cover from which nobody doubts that this is the board's
print, only how it lies. Then near placings need not see less of it, but see it clearly worse. Our
photos show 0.96 and more; another printing of the same game, 0.33 to 0.38. All chosen by hand."""


def prove(
    view: View, registration: Registration, lattice: Lattice, artwork: Artwork
) -> dict[str, float]:
    """Figures that make the case for a registration.

    ``seen``: share of artwork patches whose normalised cross-correlation with the photo is at least
    ``SEEN`` in their place; ``beside``: the same of those that no piece can cover, ``uncovered`` in
    number. ``over_shifts``,
    ``over_turns``: by how much the place at least beats every laying of the board one cell off, and
    every turned or mirrored one; ``over_told``: the same of those turns and mirrorings only in
    which the print differs from itself; ``elsewhere``: the largest share seen in any of those
    layings as they come. ``quarters``: how many of the board's four quarters hold at least five
    patches seen.
    """
    patches = patches_of(artwork)
    size = np.array(patches.small.shape[::-1])
    picture = _with_outside(level_small(view, registration, artwork))
    true, others = _placings(lattice, artwork)
    known = _normalised(_with_outside(patches.small)[true])
    scores = _agreement(known, picture[true])
    seen = float(np.mean(scores >= SEEN))
    uncovered = beside_cells(lattice, artwork)
    beside = float(np.mean(scores[uncovered] >= SEEN))
    shifts, turns = rivals_mm(lattice)
    motions = shifts + turns
    shares = [float(np.mean(_agreement(known, picture[other]) >= SEEN)) for other in others]
    leads = [seen - share for share in shares]
    if has_little_artwork(lattice, artwork):
        besides = shares_moved(view, registration, motions, artwork, uncovered)
        leads = [beside - share for share in besides]
        near = [i for i, share in enumerate(besides) if share > NEAR * beside >= NEAR * ALL_SEEN]
    else:
        near = [i for i, share in enumerate(shares) if share > NEAR * seen >= NEAR * ENOUGH_SEEN]
    refined = leads_over(view, registration, [motions[i] for i in near], artwork, uncovered)
    for i, lead in zip(near, refined, strict=True):
        leads[i] = lead if beside >= MOSTLY_SEEN else min(lead, leads[i])
    quarter = (patches.centres > size / 2) @ [1, 2]
    counts = np.bincount(quarter[scores >= SEEN], minlength=4)
    over_turns = leads[len(shifts) :]
    told = [
        t for t, same in zip(over_turns, _same_turned(lattice, artwork), strict=True) if not same
    ]
    return {
        "seen": seen,
        "over_shifts": min(leads[: len(shifts)], default=seen),
        "over_turns": min(over_turns, default=seen),
        "over_told": min(told, default=seen),
        "quarters": float((counts >= 5).sum()),
        "elsewhere": max(shares, default=0.0),
        "beside": beside,
        "uncovered": float(uncovered.sum()),
    }


def stands_out(evidence: Mapping[str, float]) -> bool:
    """Whether no other laying of the board comes near to this place."""
    return evidence["elsewhere"] <= NEAR * evidence["seen"]


def is_proven(evidence: Mapping[str, float], *, way_told: bool = False) -> bool:
    """Whether the figures of ``prove`` suffice to read the board from this registration.

    ``way_told``: marks or a person's taps told which way round the board lies. Then layings in
    which its print looks the same need not be beaten, if only they are not proven instead.
    """
    word_counts = way_told and evidence["beside"] >= MOSTLY_SEEN
    over, least = ("over_told", -MARGIN) if word_counts else ("over_turns", MARGIN)
    return (
        evidence["seen"] >= ENOUGH_SEEN
        and evidence["over_shifts"] >= MARGIN
        and evidence[over] >= MARGIN
        and evidence["over_turns"] >= least
        and evidence["quarters"] >= 3
        and (evidence["uncovered"] >= LITTLE or evidence["beside"] >= ALL_SEEN)
    )


def is_likely(evidence: Mapping[str, float]) -> bool:
    """Whether a refusal may speak of this place: about half of what proves a registration."""
    return (
        evidence["seen"] >= ENOUGH_SEEN / 2
        and min(evidence["over_shifts"], evidence["over_turns"]) >= MARGIN / 2
        and evidence["quarters"] >= 1
    )


def has_little_artwork(lattice: Lattice, artwork: Artwork) -> bool:
    """Whether so little of the print lies where no piece can cover it that the cells must help."""
    return int(beside_cells(lattice, artwork).sum()) < LITTLE


@lru_cache(maxsize=16)
def _same_turned(lattice: Lattice, artwork: Artwork) -> tuple[bool, ...]:
    """For each turn or mirroring, whether the print looks the same under it."""
    small = _with_outside(patches_of(artwork).small)
    true, others = _placings(lattice, artwork)
    telling = beside_cells(lattice, artwork)
    known = _normalised(small[true[telling]])
    turned = (small[other[telling]] for other in others[len(rivals_mm(lattice)[0]) :])
    return tuple(bool(np.mean(_agreement(known, t) >= SEEN) >= LIKE_ITSELF) for t in turned)


@lru_cache(maxsize=16)
def beside_cells(lattice: Lattice, artwork: Artwork) -> NDArray[np.bool_]:
    """Which patches (N,) lie on board that no piece covers; all, where too few do."""
    plan = plan_of(lattice)
    places = patches_of(artwork).centres.astype(float) * SHRINK + (SHRINK - 1) / 2
    at = np.round((artwork.to_mm(places) - plan.origin_mm) * plan.px_per_mm).astype(int)
    column, row = np.clip(at, 0, np.array(plan.size_px) - 1).T
    beside = np.asarray(plan.bare[row, column], np.bool_)
    return beside if beside.sum() >= FEWEST_PATCHES else np.ones_like(beside)


@lru_cache(maxsize=16)
def _placings(lattice: Lattice, artwork: Artwork) -> tuple[Lookup, tuple[Lookup, ...]]:
    """The pixels of all patches in their true place, and in every other placing."""
    patches, off = patches_of(artwork), (SHRINK - 1) / 2
    origin, scale = artwork.to_mm(np.full(2, off)), artwork.px_per_mm / SHRINK
    to_px = np.array([[scale, 0, -scale * origin[0]], [0, scale, -scale * origin[1]], [0, 0, 1]])
    shifts, turns = rivals_mm(lattice)
    return _lookup(patches.small.shape, patches.centres, np.eye(3)), tuple(
        _lookup(patches.small.shape, patches.centres, to_px @ motion @ np.linalg.inv(to_px))
        for motion in shifts + turns
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
    total, square = seen.sum(axis=1), np.einsum("np,np->n", seen, seen)
    length = np.sqrt(np.maximum(square - total * total / seen.shape[1], FLAT))
    return np.asarray(np.einsum("np,np->n", known, seen) / length)
