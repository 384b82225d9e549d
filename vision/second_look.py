"""Several photos of one board read as one: glare, shadow and hands move, colours do not.

Every photo is judged alone; then each cell weighs what its looks say. Looks of one piece under one
light err together (the same paint, the same lamp, the same calibration), so a second look counts as
a fraction of an independent one; the look with less glare weighs more; and what looks are certain
of must agree, or the cell is asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Table
from scoring.words import listed
from vision.belief import in_margins, margin_asked
from vision.doubt import GLARE_VEIL
from vision.errors import DifferentBoards
from vision.read import belief_of, settled_cells
from vision.read import settle as settle_one
from vision.types import ODD, CellReading, Reading

Array = NDArray[np.float64]

SHARED_ERROR = 0.6
"""Correlation of the errors of two looks at one cell under one light (see DEVELOPERS.md)."""

FEW_CONFLICTS = 2
CONFLICT_SHARE = 0.1
"""More certain cells in conflict than both of these: the photos do not show the same board."""

ONCE_COVERED = 2.0
"""Times the margin that a cell must clear where another photo shows something lying over it."""

DARK_SHARE = 0.6
"""A cell lies in shadow where it gets less than this share of the board's median light."""

FEWEST_MOVABLE = 3
"""Doubts by glare, shadow or cover from which one snap settles more than as many questions as it
is worth: a snap costs a person about as much as two answers, and settles over half of these."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Together(Reading):
    """A reading of several photos; the photo, place and evidence are those of its best look."""

    looks: tuple[Reading, ...]


def read_together(readings: Sequence[Reading], table: Table) -> Reading:
    """What several photos of one board show together; a single one stays as it is.

    Raises DifferentBoards where the photos cannot show the same board.
    """
    if len(readings) == 1:
        return readings[0]
    _check_same_board(readings)
    best = min(readings, key=lambda reading: len(_doubtful(reading)))
    own = {field.name: getattr(best, field.name) for field in fields(Reading)}
    joined = _joined_cells(readings, table, {})
    return Together(**(own | {"cells": joined}), looks=tuple(readings))


def settle(reading: Reading, answers: Mapping[str, str], table: Table) -> Reading:
    """``vision.read.settle`` for any reading: every look learns from the answers, then all join.

    What was certain stays so, and an answered cell is as answered.
    """
    if not isinstance(reading, Together):
        return settle_one(reading, answers, table)
    looks = [settle_one(look, answers, table) for look in reading.looks]
    cells = _joined_cells(looks, table, answers)
    return replace(reading, cells=settled_cells(reading.cells, cells, answers))


def _joined_cells(
    looks: Sequence[Reading], table: Table, answers: Mapping[str, str]
) -> dict[str, CellReading]:
    beliefs = [belief_of(look.evidence, table, answers) for look in looks]
    asked = np.array([margin_asked(belief) for belief in beliefs])
    scaled = np.array([in_margins(belief) for belief in beliefs])
    names = beliefs[0].names
    return {
        cell: _joined([look.cells[cell] for look in looks], names, scaled[:, i], 1 / asked[:, i])
        for i, cell in enumerate(looks[0].cells)
    }


def _joined(
    reads: Sequence[CellReading], names: tuple[str, ...], scaled: Array, weights: Array
) -> CellReading:
    """One cell from its K looks.

    ``scaled`` (K, C): distances beyond the best in units of the look's margin; ``weights`` (K,).
    """
    seeing = np.array([not _blind(read, names) for read in reads])
    if not seeing.any():
        return min(reads, key=lambda read: (len(read.candidates), read.candidates))
    total = _weighed(scaled[seeing], weights[seeing])
    order = [int(k) for k in np.argsort(total, kind="stable")]
    covered = any(read.colour == ODD for read in reads)
    margin = ONCE_COVERED if covered else 1.0
    within = {names[k] for k in order if total[k] <= total[order[0]] + margin}
    seen = [read for read, sees in zip(reads, seeing, strict=True) if sees]
    likeliest = names[order[0]]
    against = {read.colour for read in seen if likeliest not in read.candidates}
    left = within | against
    candidates = tuple(names[k] for k in order if names[k] in left)
    if len(candidates) == 1:
        return CellReading(likeliest, candidates)
    return CellReading(likeliest, candidates, _why(reads, candidates, against))


def _blind(read: CellReading, names: tuple[str, ...]) -> bool:
    """Whether a look sees nothing of this cell: covered, burnt out, or like nothing learned."""
    return read.doubt is not None and len(read.candidates) >= len(names)


def _weighed(scaled: Array, weights: Array) -> Array:
    """The looks' distances (K, C) as one (C,), as if their errors were correlated.

    The mean of n equally good looks with errors of correlation r weighs as much as
    n / (1 + (n - 1) r) independent ones (the design effect; Kish, "Survey Sampling", 1965, 5.4).
    """
    looks = weights.sum() / weights.max()
    worth = looks / (1 + (looks - 1) * SHARED_ERROR)
    return worth * (weights @ scaled) / weights.sum()


def _why(reads: Sequence[CellReading], candidates: tuple[str, ...], against: set[str]) -> str:
    if against:
        return f"the photos disagree: {candidates[0]} or {candidates[1]}"
    doubts = [read.doubt for read in reads if read.doubt and read.candidates[:2] == candidates[:2]]
    return doubts[0] if doubts else f"the photos leave {candidates[0]} or {candidates[1]}"


def _check_same_board(readings: Sequence[Reading]) -> None:
    for other in readings[1:]:
        first = readings[0]
        both = [
            cell
            for cell, read in first.cells.items()
            if read.doubt is None and other.cells[cell].doubt is None
        ]
        clash = [cell for cell in both if first.cells[cell].colour != other.cells[cell].colour]
        if len(clash) > max(FEW_CONFLICTS, CONFLICT_SHARE * len(both)):
            raise DifferentBoards(first.photo, other.photo, tuple(clash))


def _doubtful(reading: Reading) -> list[str]:
    return [cell for cell, read in reading.cells.items() if read.doubt is not None]


def why_look_again(reading: Reading, table: Table) -> str | None:
    """Why a second snap would settle more than questions would, in plain words; else None.

    Glare, shadows and what lies over a cell move or go; two colours that are near stay near.
    """
    if isinstance(reading, Together) or len(_doubtful(reading)) < FEWEST_MOVABLE:
        return None
    causes = _movable_causes(reading, table)
    total = sum(causes.values())
    if total < max(FEWEST_MOVABLE, len(_doubtful(reading)) / 2):
        return None
    named = listed([f"{count} {words}" for words, count in causes.items() if count])
    return (
        f"{total} of {len(_doubtful(reading))} doubts may go with a second photo ({named}): "
        "move the phone and your shadow, lift what lies on the board, and snap again."
    )


def _movable_causes(reading: Reading, table: Table) -> dict[str, int]:
    """How many doubtful cells are covered, lie under glare, or in shadow, by the words for it."""
    samples, light = reading.evidence.samples, reading.evidence.light
    glare = belief_of(reading.evidence, table, {}).veil > GLARE_VEIL
    bright = light.gain.mean(axis=1)
    dark = bright < DARK_SHARE * np.median(bright)
    counts = {"covered or blurred": 0, "under glare": 0, "in shadow": 0}
    for i, read in enumerate(reading.cells.values()):
        if read.doubt is None:
            continue
        if samples.unrest[i] > table.palette.unrest:
            counts["covered or blurred"] += 1
        elif glare[i] or samples.burnt[i] > 0:
            counts["under glare"] += 1
        elif dark[i]:
            counts["in shadow"] += 1
    return counts
