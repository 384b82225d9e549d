"""What a table learns from boards of finished games, and how far its colours have drifted."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000

from calibrate.errors import CalibrationError
from calibrate.types import Lesson, Palette, Table
from scoring.types import EMPTY
from vision.colour import lab_from_linear
from vision.types import ODD, Evidence, Light, Reading, Samples

Array = NDArray[np.float64]

MOST_LESSONS = 12
"""Boards that a table remembers; the oldest go first."""

DRIFTED = 16.0
"""CIEDE2000 by which a colour must have moved farther than the others (their median) to be called
changed. In 116 practice games of three boards none had, for another lamp moves colours by 15."""

FEWEST_PIECES = 3
"""Pieces of a colour on the boards below which its middle says nothing of drift."""


def called(number: int) -> str:
    """What a game of the archive is called in a table that learned from it."""
    return f"game {number}"


def lesson_of(
    reading: Reading,
    cells: Mapping[str, str],
    named: Collection[str],
    *,
    game: str,
    at: str,
    photo: str,
) -> Lesson:
    """What a board of a finished game teaches.

    ``cells``: what lies in those that are certain, ``named``: those of them that a person named.
    What is covered in the photo, or looks like nothing learned, teaches nothing. Raises
    CalibrationError where the reading is certain of another colour than was kept and nobody has
    said so: one of the two is wrong, and nothing may be learned of it.
    """
    against = [
        f"{cell} ({read.colour}, kept as {cells[cell]})"
        for cell, read in reading.cells.items()
        if cell in cells and cell not in named and not read.doubt and read.colour != cells[cell]
    ]
    if against:
        raise CalibrationError(
            f"{reading.photo} is read otherwise than it was kept: {', '.join(against)}. Look at "
            "the board's photo: correct the kept game, or learn the table again."
        )
    seen = {cell for cell, read in reading.cells.items() if read.colour != ODD}
    told = {cell: colour for cell, colour in cells.items() if cell in seen and colour != ODD}
    return Lesson(game, at, photo, replace(reading.evidence, spares=None), told)


def with_lessons(table: Table, lessons: Sequence[Lesson]) -> Table:
    """The table with these boards learned; one learned before from the same photo gives way."""
    photos = {lesson.photo for lesson in lessons}
    kept = [lesson for lesson in table.lessons if lesson.photo not in photos]
    return replace(table, lessons=tuple([*kept, *lessons][-MOST_LESSONS:]))


def without_lessons(table: Table, game: str) -> Table:
    """The table without what it learned from one game."""
    return replace(table, lessons=tuple(one for one in table.lessons if one.game != game))


def drift(table: Table, lessons: Sequence[Lesson]) -> dict[str, float]:
    """How far each colour lies from where it was learned, CIEDE2000 between medians.

    Colours of which the boards show too few pieces are left out. Source: CIEDE2000 as scikit-image
    has it; Sharma, Wu, Dalal, Color Research and Application 30(1), 2005.
    """
    ids = [cell.id for cell in table.sheet.lattice.cells]
    seen: dict[str, list[Array]] = {}
    for lesson in lessons:
        relative = _relative(lesson.evidence, table.palette)
        for cell, colour in lesson.cells.items():
            seen.setdefault(colour, []).append(relative[ids.index(cell)])
    learned = np.array(table.palette.colours)
    return {
        colour: float(
            deltaE_ciede2000(
                np.median(lab_from_linear(table.palette.samples[learned == colour]), axis=0),
                np.median(lab_from_linear(np.array(pieces)), axis=0),
            )
        )
        for colour, pieces in sorted(seen.items())
        if colour != EMPTY and len(pieces) >= FEWEST_PIECES
    }


def drift_words(moved: Mapping[str, float]) -> tuple[str, ...]:
    """What to tell the host of colours that moved otherwise than the others, a sentence each."""
    usual = float(np.median(list(moved.values()))) if moved else 0.0
    return tuple(
        f"{colour} no longer looks as it was learned, and the other colours do: its pieces may be "
        "worn, or others. Learn the table again with these."
        for colour, far in moved.items()
        if far > usual + DRIFTED
    )


def _relative(evidence: Evidence, palette: Palette) -> Array:
    """Relative colour (N, 3) of every cell at the height of the pieces' tops."""
    return evidence.samples.top / (evidence.light.gain * palette.exposure[:, None])


def plain_lesson(lesson: Lesson) -> dict[str, Any]:
    """A lesson as it stands in a table's file."""
    samples, light = lesson.evidence.samples, lesson.evidence.light
    return {
        "game": lesson.game,
        "at": lesson.at,
        "photo": lesson.photo,
        "cells": dict(lesson.cells),
        "samples": {field.name: getattr(samples, field.name).tolist() for field in fields(Samples)},
        "gain": light.gain.tolist(),
        "chroma_spread": light.chroma_spread.tolist(),
    }


def lesson_from(plain: Mapping[str, Any], cells: Sequence[str], colours: Sequence[str]) -> Lesson:
    """A lesson from a table's file, for a board of these cells. Raises ValueError where it is no
    lesson of such a board."""
    count = len(cells)
    told = {str(cell): str(colour) for cell, colour in plain["cells"].items()}
    if not set(told) <= set(cells) or not set(told.values()) <= {*colours, EMPTY}:
        raise ValueError("a lesson of another board")
    shapes = {name: (count, 3) if name in OF_CHANNELS else (count,) for name in SAMPLED}
    samples = {name: _array(plain["samples"][name], shape) for name, shape in shapes.items()}
    light = Light(_array(plain["gain"], (count, 3)), _array(plain["chroma_spread"], (2,)))
    if np.any(light.gain <= 0):
        raise ValueError("a light that is not above 0")
    evidence = Evidence(Samples(**samples), light)
    return Lesson(str(plain["game"]), str(plain["at"]), str(plain["photo"]), evidence, told)


SAMPLED = tuple(field.name for field in fields(Samples))
OF_CHANNELS = ("top", "board", "structure", "brightening", "brightening_noise")
"""Samples with three numbers a cell."""


def _array(values: Any, shape: tuple[int, ...]) -> Array:
    array = np.array(values, float)
    if array.shape != shape:
        raise ValueError("an array of another shape")
    return array
