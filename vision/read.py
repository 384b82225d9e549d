"""Photo -> reading: find the board, sample its cells, tell their colours, name the doubts."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork, Table
from scoring.lattice import board_corners_mm
from scoring.sheet import GameSheet
from vision.belief import Belief
from vision.classify import believe
from vision.doubt import alarm_of, name_cells
from vision.find import find_board, find_boards
from vision.level import level_artwork, level_picture, plan_of
from vision.light import light_over
from vision.sample import sample_cells
from vision.spares import agreed, believe_beside, beside, settles, spares_in, strip_seen
from vision.types import CellReading, Evidence, Photo, Reading, Registration


def read_photo(
    photo: Photo, table: Table, corners_px: NDArray[np.float64] | None = None
) -> Reading:
    """What ``photo`` shows of one board of ``table``.

    ``corners_px``: the board's corners (4, 2) full-size px, top left first, clockwise, where a
    person gave them. Raises BoardNotFound where no registration can be proven.
    """
    started = time.perf_counter()
    sheet = table.sheet
    registration = find_board(
        photo, sheet.lattice, table.artwork, table.marks, corners_px, sheet.piece_height_mm
    )
    return _read(photo, table, registration, time.perf_counter() - started)


def read_boards(photo: Photo, table: Table, expected: int) -> tuple[Reading, ...]:
    """What ``photo`` shows of each of ``expected`` boards of ``table``, left to right.

    Raises BoardNotFound where not just as many can be proven. The time of finding them all is
    shared among the readings.
    """
    started = time.perf_counter()
    sheet = table.sheet
    boards = find_boards(
        photo, sheet.lattice, table.artwork, table.marks, expected, sheet.piece_height_mm
    )
    each = (time.perf_counter() - started) / len(boards)
    return tuple(_read(photo, table, registration, each) for registration in boards)


def _read(photo: Photo, table: Table, registration: Registration, find_s: float) -> Reading:
    """The reading of one board that was found in ``find_s`` seconds."""
    lattice = table.sheet.lattice
    found = time.perf_counter()
    evidence = look(photo, registration, table.sheet, table.artwork)
    spares = spares_in(photo, table, registration)
    sampled = time.perf_counter()
    evidence = beside(evidence, spares, table)
    first = judged(evidence, table, {})
    done = time.perf_counter()
    return Reading(
        photo=photo.name,
        registration=registration,
        board_corners_px=registration.project(np.array(board_corners_mm(lattice))),
        cells=first.cells,
        evidence=evidence,
        milliseconds={
            "decode": photo.decode_ms,
            "find": 1000 * find_s,
            "sample": 1000 * (sampled - found),
            "classify": 1000 * (done - sampled),
        },
        alarm=alarm_of(first.belief),
        strip=strip_seen(evidence.spares, settling=first.by_strip),
    )


def look(photo: Photo, registration: Registration, sheet: GameSheet, artwork: Artwork) -> Evidence:
    """The samples of every cell and the light over the board."""
    plan = plan_of(sheet.lattice)
    board = level_picture(photo, registration, plan, 0.0)
    top = level_picture(photo, registration, plan, sheet.piece_height_mm)
    known = level_artwork(artwork, plan)
    return Evidence(sample_cells(top, board, known, plan), light_over(board, artwork, plan))


def settle(reading: Reading, answers: Mapping[str, str], table: Table) -> Reading:
    """``reading`` after a person named some cells: they are certain, and tell the light of others.

    ``answers`` maps cell ids to a colour name, ``empty`` or ``odd``. A cell that was certain
    before stays so: answers settle doubts, and never change in silence what was read.
    """
    cells = cells_of(reading.evidence, table, answers)
    return replace(reading, cells=settled_cells(reading.cells, cells, answers))


def settled_cells(
    before: Mapping[str, CellReading], now: Mapping[str, CellReading], answers: Mapping[str, str]
) -> dict[str, CellReading]:
    """Every cell as answered, else as it was where it was certain, else as it is judged now.

    What is said of other cells settles a doubt only for what was likeliest before: one in eight
    that came out otherwise was wrong in practice. Such a cell is asked.
    """
    return {
        cell: CellReading(answers[cell], (answers[cell],))
        if cell in answers
        else _settled(was, now[cell])
        for cell, was in before.items()
    }


def _settled(was: CellReading, now: CellReading) -> CellReading:
    if was.doubt is None:
        return was
    if now.doubt is None and now.colour != was.colour:
        why = f"it looked like {was.colour}, and after what was said of others like {now.colour}"
        return CellReading(now.colour, (now.colour, was.colour), why)
    return now


def belief_of(evidence: Evidence, table: Table, answers: Mapping[str, str]) -> Belief:
    """What colour says of every cell, in the lattice's order, given what a person answered.

    Pieces on a key strip are heard where they may settle doubts.
    """
    return judged(evidence, table, answers).belief


def cells_of(
    evidence: Evidence, table: Table, answers: Mapping[str, str]
) -> dict[str, CellReading]:
    """The reading of every cell, given what a person answered.

    A key strip settles doubts and raises them, but what the board alone is certain of it never
    changes.
    """
    return judged(evidence, table, answers).cells


@dataclass(frozen=True, eq=False)
class Judged:
    """What colour says of every cell of a photo, the reading of each, and whether pieces on a key
    strip settled doubts."""

    belief: Belief
    cells: dict[str, CellReading]
    by_strip: bool


def judged(evidence: Evidence, table: Table, answers: Mapping[str, str]) -> Judged:
    """``belief_of`` and ``cells_of`` in one."""
    return _judged(evidence, table, answers) if answers else _untold(evidence, table)


@lru_cache(maxsize=64)
def _untold(evidence: Evidence, table: Table) -> Judged:
    """What is believed before anybody answers is looked at again and again."""
    return _judged(evidence, table, {})


def _judged(evidence: Evidence, table: Table, answers: Mapping[str, str]) -> Judged:
    beliefs = _beliefs(evidence, table, answers)
    return Judged(beliefs.heard, _cells(beliefs, evidence, table), beliefs.settling)


@dataclass(frozen=True, eq=False)
class _Beliefs:
    """What the board says ``alone``, and ``beside`` a key strip where one lies there; whether that
    may settle doubts."""

    alone: Belief
    beside: Belief | None = None
    settling: bool = False

    @property
    def heard(self) -> Belief:
        return self.beside if self.beside and self.settling else self.alone


def _beliefs(evidence: Evidence, table: Table, answers: Mapping[str, str]) -> _Beliefs:
    lattice, spares = table.sheet.lattice, evidence.spares
    ids = tuple(cell.id for cell in lattice.cells)
    known = {ids.index(cell): colour for cell, colour in answers.items()}
    seen = evidence.samples, evidence.light, table.palette, plan_of(lattice).centres_mm, known
    alone = believe(*seen)
    if spares is None:
        return _Beliefs(alone)
    return _Beliefs(alone, believe_beside(spares, *seen), settles(spares, alone))


def _cells(beliefs: _Beliefs, evidence: Evidence, table: Table) -> dict[str, CellReading]:
    ids = tuple(cell.id for cell in table.sheet.lattice.cells)

    def named(belief: Belief) -> dict[str, CellReading]:
        return name_cells(belief, evidence.samples, ids, table.palette.unrest)

    alone = named(beliefs.alone)
    if beliefs.beside is None:
        return alone
    return agreed(named(beliefs.beside), alone, settling=beliefs.settling)
