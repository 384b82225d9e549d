"""Spare pieces of known colours beside the board: what they tell of today's light.

They move the samples of every colour (``vision.moves``) and then join the board's cells as cells
that a person has named. A piece on the wrong name must never teach: where another colour of one
piece, or two exchanged, would explain the strip much better, it only raises doubts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette, Table
from scoring.lattice import board_corners_mm
from scoring.types import EMPTY
from scoring.words import listed
from vision.belief import Belief, part_of
from vision.classify import believe
from vision.geometry import board_places
from vision.key_strip import read_strip, strip_plan
from vision.level import plan_of
from vision.moves import mistaken, moved_samples, moves_of, shown_as
from vision.types import (
    CellReading,
    Evidence,
    Light,
    Photo,
    Registration,
    Samples,
    Spares,
    StripSeen,
)

Array = NDArray[np.float64]

UNLIKE = 1.0
"""How strange a photo must look (``Belief.unlike``) for spare pieces to settle doubts: in the
calibration's light 0.2 to 1 is usual."""

FEW_CONTRADICTIONS = 1
"""Cells of which the strip and the board alone may be certain differently without more ado."""


def spares_in(photo: Photo, table: Table, registration: Registration) -> Spares | None:
    """The spare pieces of learned colours on the key strip beside a board, if one lies there."""
    height_mm = table.sheet.piece_height_mm
    board_px = registration.project(np.array(board_corners_mm(table.sheet.lattice)))
    names, colours, middles_px = read_strip(photo, strip_plan(table.sheet), height_mm, board_px)
    learned = [i for i, name in enumerate(names) if name in table.palette.colours]
    if not learned:
        return None
    places_mm = board_places(registration, middles_px[learned], height_mm)
    return Spares(tuple(names[i] for i in learned), colours[learned], places_mm)


def beside(evidence: Evidence, spares: Spares | None, table: Table) -> Evidence:
    """The evidence with the spare pieces, and whether something else explains them much better."""
    if spares is None:
        return evidence
    places_mm = plan_of(table.sheet.lattice).centres_mm
    shown = shown_as(_relative(spares, evidence.light, table.palette, places_mm), table.palette)
    mistake = mistaken(shown, spares.names)
    return replace(evidence, spares=replace(spares, mistake=mistake))


def settles(spares: Spares, alone: Belief) -> bool:
    """Whether the pieces may settle what the board ``alone`` leaves in doubt.

    In the calibration's own light they tell it worse than the board does.
    """
    return spares.mistake is None and alone.unlike > UNLIKE


def strip_seen(spares: Spares | None, *, settling: bool) -> StripSeen | None:
    """What to tell the host of a key strip, which may be ``settling`` doubts; None without one."""
    if spares is None:
        return None
    if spares.mistake:
        words = (
            f"The key strip does not fit and only raises doubts: {spares.mistake}. Lay each piece "
            "on its own name, in the board's light, or take the strip away; then snap again."
        )
    elif settling:
        words = f"The key strip tells the light, by its pieces on {listed(spares.names)}."
    else:
        words = "The key strip shows the light of the calibration; what is read is held against it."
    return StripSeen(spares.mistake is None, words)


def agreed(
    beside: Mapping[str, CellReading], alone: Mapping[str, CellReading], *, settling: bool
) -> dict[str, CellReading]:
    """What the board ``alone`` says of every cell, held against what is read ``beside`` the pieces.

    Where both are certain of different colours, the cell is in doubt. Where that happens more than
    once, one of the two takes a whole colour for another; else, if ``settling``, the pieces settle
    doubts between colours. Of empty cells, and of what lies over a cell, they know nothing.
    """
    against = {cell for cell, read in beside.items() if _contradict(read, alone[cell])}
    settling = settling and len(against) <= FEW_CONTRADICTIONS
    return {cell: _held(beside[cell], read, settling=settling) for cell, read in alone.items()}


def _held(beside: CellReading, alone: CellReading, *, settling: bool) -> CellReading:
    if _contradict(beside, alone):
        why = f"the key strip says {beside.colour}, the board alone {alone.colour}"
        return CellReading(alone.colour, (alone.colour, beside.colour), why)
    if settling and alone.doubt and not beside.doubt and EMPTY not in alone.candidates:
        return beside
    return alone


def _contradict(one: CellReading, other: CellReading) -> bool:
    return one.doubt is None and other.doubt is None and one.colour != other.colour


def believe_beside(
    spares: Spares,
    samples: Samples,
    light: Light,
    palette: Palette,
    places_mm: Array,
    known: Mapping[int, str],
) -> Belief:
    """``vision.classify.believe`` of the board's N cells, with the spare pieces beside it."""
    count, more = len(places_mm), len(spares.names)
    near = _nearest(spares.places_mm, places_mm)
    shown = shown_as(_relative(spares, light, palette, places_mm), palette)
    moves = moves_of(shown, shown.labels_of(spares.names))
    nothing = np.zeros(more)
    every = Samples(
        top=np.vstack([samples.top, spares.colours]),
        board=np.vstack([samples.board, spares.colours]),
        structure=np.vstack([samples.structure, np.zeros((more, 3))]),
        unrest=np.append(samples.unrest, nothing),
        burnt=np.append(samples.burnt, nothing),
        clipped=np.append(samples.clipped, nothing),
        brightening=np.vstack([samples.brightening, np.zeros((more, 3))]),
        brightening_noise=np.vstack([samples.brightening_noise, np.ones((more, 3))]),
    )
    today = replace(
        palette,
        samples=moved_samples(palette, moves),
        exposure=np.append(palette.exposure, palette.exposure[near]),
        empty=np.vstack([palette.empty, np.full((more, 3), np.nan)]),
    )
    belief = believe(
        every,
        replace(light, gain=np.vstack([light.gain, light.gain[near]])),
        today,
        np.vstack([places_mm, spares.places_mm]),
        {**known, **{count + i: name for i, name in enumerate(spares.names)}},
    )
    return part_of(belief, slice(count))


def _relative(spares: Spares, light: Light, palette: Palette, places_mm: Array) -> Array:
    """Relative colour (K, 3) of the spare pieces, the light being that of the nearest cell."""
    near = _nearest(spares.places_mm, places_mm)
    return spares.colours / (light.gain[near] * palette.exposure[near, None])


def _nearest(from_mm: Array, places_mm: Array) -> NDArray[np.int64]:
    """The place (K,) by index that is nearest to each of ``from_mm`` (K, 2)."""
    return ((from_mm[:, None] - places_mm) ** 2).sum(axis=2).argmin(axis=1)
