"""What the reading is held against: a plain classifier, and a truthful person who is asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sklearn.neighbors import KNeighborsClassifier

from calibrate.types import Table
from vision.errors import BoardNotFound
from vision.find import find_board
from vision.level import level_picture, plan_of
from vision.read import belief_of, settle
from vision.sureness import sureness
from vision.types import ODD, Photo, Reading, Registration

Array = NDArray[np.float64]
COVERED = "covered"
PLAIN_NEIGHBOURS = 5


def core_colours(photo: Photo, registration: Registration, table: Table) -> Array:
    """Mean sRGB (N, 3), 0-255, of every cell's core at the height of the pieces' tops."""
    plan = plan_of(table.sheet.lattice)
    level = level_picture(photo, registration, plan, table.sheet.piece_height_mm).reshape(-1, 3)
    return np.array([level[core].mean(axis=0) for core in plan.core])


def plain_classifier(
    table: Table, known: Iterable[tuple[Photo, Mapping[str, str]]]
) -> KNeighborsClassifier:
    """k-NN on mean sRGB, k = 5, of the calibration photos' cells: no light, no structure, no doubt.

    ``known``: photos and the label of every cell in them; photos whose board is not found teach
    nothing. Source of the rule: Cover and Hart, "Nearest neighbor pattern classification", 1967.
    """
    colours, labels = [], []
    for photo, cells in known:
        try:
            place = find_board(photo, table.sheet.lattice, table.artwork, table.marks)
        except BoardNotFound:
            continue
        colours.append(core_colours(photo, place, table))
        labels += [cells[cell.id] for cell in table.sheet.lattice.cells]
    return KNeighborsClassifier(PLAIN_NEIGHBOURS).fit(np.vstack(colours), labels)


@dataclass(frozen=True)
class Asked:
    """How many questions it took until no cell was in doubt, and what was then silently wrong."""

    questions: int
    silent: int


def ask_until_settled(
    reading: Reading, table: Table, labels: Mapping[str, str], below: Mapping[str, str]
) -> Asked:
    """Ask a truthful person, the most doubtful cell first, and settle after every answer.

    ``labels`` is the truth of the photo; ``below`` what lies under covered cells: who sits at the
    table can lift what covers them.
    """
    truth = below_cover(labels, below)
    answers: dict[str, str] = {}
    told = reading
    while cell := most_doubtful(told, table, answers):
        answers[cell] = truth[cell]
        told = settle(reading, answers, table)
    silent = sum(
        read.colour != labels[cell] for cell, read in told.cells.items() if cell not in answers
    )
    return Asked(len(answers), silent)


def below_cover(labels: Mapping[str, str], below: Mapping[str, str]) -> dict[str, str]:
    """What lies in each cell once what covers it is lifted."""
    return {cell: below.get(cell, ODD if c == COVERED else c) for cell, c in labels.items()}


def most_doubtful(reading: Reading, table: Table, answers: Mapping[str, str]) -> str | None:
    """The doubtful cell that the colours tell least about; None where nothing is in doubt."""
    sure = sureness(belief_of(reading.evidence, table, answers), reading.cells)
    ranked = sorted(zip(sure, reading.cells, strict=True))
    return next((cell for _, cell in ranked if reading.cells[cell].doubt is not None), None)
