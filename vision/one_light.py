"""The boards of one game judged under the one light that they lie in.

Every board is judged alone; then all of them as one, lying far apart, so that each tells the others
how the lamp moves colours, as does every word of a person; boards that the table has learned from
since its calibration are such boards too. What both say of a cell is weighed by the geometric mean
of their margins, so that neither settles a doubt by itself; where the likeliest colours differ, the
cell is asked. Where a board looks stranger beside the others than alone, they do not share a light,
and each stays as it is alone. A board whose light is so strange that its reading raises the alarm
is only doubted more, unless boards lie there of which a person knows every cell.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Lesson, Table
from scoring.words import listed
from vision.belief import Belief, in_margins, part_of
from vision.classify import believe
from vision.doubt import alarm_of, name_cells
from vision.level import plan_of
from vision.read import Judged, judged, settled_cells
from vision.second_look import Together, settle
from vision.types import CellReading, Evidence, Light, Reading, Samples

Array = NDArray[np.float64]
Answers = Mapping[str, str]
Cells = Mapping[str, CellReading]
Board = tuple[Evidence, Answers]
"""What a photo shows of a board, and what a person named on it."""


FAR_MM = 20_000.0
"""How far apart the boards are taken to lie: what varies over one says nothing of another."""

STRANGER = 0.5
"""How much farther from their likeliest labels a board's cells may lie (median) beside the others
than alone for all to share a light."""

WEIGHT, TOLD_WEIGHT = 0.25, 0.75
"""Weight of what a cell looks like beside the other boards against alone, in the geometric mean;
the latter where a person has named cells of another board."""

GAMES_TRIED = 2
MOST_BESIDE = 3
"""Games that the table learned from, the latest first, and boards of each, that are laid beside."""


@dataclass(frozen=True)
class Hearing:
    """How a board hears the others: with what weight, and whether that ``settles`` doubts too."""

    weight: float
    settles: bool


def settle_together(
    readings: Sequence[Reading], told: Sequence[Answers], table: Table
) -> tuple[Reading, ...]:
    """``vision.second_look.settle`` of all boards of one game, each under the light of all.

    ``told``: for each board, what a person named, by cell. What two photos or a key strip say of a
    board stays as it is, and tells the others. Boards that the table has learned from lie beside
    them where they share their light. Where no board leaves a doubt, each stays so.
    """
    doubts = any(cell.doubt for reading in readings for cell in reading.cells.values())
    if not doubts or len(readings) + len(table.lessons) < 2:
        return tuple(settle(*board, table) for board in zip(readings, told, strict=True))
    before = _untold(tuple(readings), table)
    now = _under_one_light(readings, told, table) if any(told) else before
    return tuple(
        replace(reading, cells=settled_cells(was, cells, answers))
        for reading, was, cells, answers in zip(readings, before, now, told, strict=True)
    )


@lru_cache(maxsize=32)
def _untold(readings: tuple[Reading, ...], table: Table) -> tuple[Cells, ...]:
    return _under_one_light(readings, [{}] * len(readings), table)


def _under_one_light(
    readings: Sequence[Reading], told: Sequence[Answers], table: Table
) -> tuple[Cells, ...]:
    """The cells of every board after what was said of each."""
    boards = list(zip((reading.evidence for reading in readings), told, strict=True))
    alone = [judged(evidence, table, its) for evidence, its in boards]
    beside, taught = _beside(boards, [its.belief for its in alone], table)
    cells: list[Cells] = []
    for number, (reading, its) in enumerate(zip(readings, told, strict=True)):
        itself = alone[number]
        if isinstance(reading, Together):
            cells.append(settle(reading, its, table).cells)
        elif beside and reading.evidence.spares is None:
            said = taught or any(words for other, words in enumerate(told) if other != number)
            calm = taught or alarm_of(itself.belief) is None
            hearing = Hearing(TOLD_WEIGHT if said else WEIGHT, calm)
            samples = reading.evidence.samples
            cells.append(_heard(itself, beside[number], samples, table.palette.unrest, hearing))
        else:
            cells.append(itself.cells)
    return tuple(cells)


def _beside(
    boards: Sequence[Board], alone: Sequence[Belief], table: Table
) -> tuple[list[Belief], bool]:
    """What colour says of each board beside the others, and whether boards lie there that the table
    has learned from: those of the latest game that shares their light. Nothing where they share
    none."""
    for lessons in _games_learned(table.lessons):
        if len(boards) + len(lessons) < 2:
            break
        among = _judged_as_one([*boards, *((one.evidence, one.cells) for one in lessons)], table)
        by_itself = [*alone, *(_taught(lesson, table) for lesson in lessons)]
        if _share_a_light(among, by_itself):
            return among[: len(boards)], bool(lessons)
    return [], False


def _games_learned(lessons: Sequence[Lesson]) -> Iterator[Sequence[Lesson]]:
    """Boards of each of the latest games learned from, the latest first; at last none."""
    games = list(dict.fromkeys(lesson.game for lesson in reversed(lessons)))
    for game in games[:GAMES_TRIED]:
        yield [lesson for lesson in lessons if lesson.game == game][:MOST_BESIDE]
    yield ()


@lru_cache(maxsize=32)
def _taught(lesson: Lesson, table: Table) -> Belief:
    return judged(lesson.evidence, table, lesson.cells).belief


def _share_a_light(among: Sequence[Belief], alone: Sequence[Belief]) -> bool:
    pairs = zip(among, alone, strict=True)
    return all(_typical(beside) - _typical(by_itself) <= STRANGER for beside, by_itself in pairs)


def _typical(belief: Belief) -> float:
    """The median distance of a board's cells to their likeliest labels."""
    return float(np.median(belief.distances.min(axis=1)))


def _judged_as_one(boards: Sequence[Board], table: Table) -> list[Belief]:
    """What colour says of the cells of each board, all judged as one."""
    ids = [cell.id for cell in table.sheet.lattice.cells]
    places_mm = plan_of(table.sheet.lattice).centres_mm
    palette, count = table.palette, len(boards)
    samples = [evidence.samples for evidence, _ in boards]
    lights = [evidence.light for evidence, _ in boards]
    starts = range(0, len(ids) * count, len(ids))
    joined = believe(
        Samples(
            **{
                field.name: np.concatenate([getattr(one, field.name) for one in samples])
                for field in fields(Samples)
            }
        ),
        Light(
            np.vstack([light.gain for light in lights]),
            np.mean([light.chroma_spread for light in lights], axis=0),
        ),
        replace(
            palette,
            exposure=np.tile(palette.exposure, count),
            empty=np.tile(palette.empty, (count, 1)),
        ),
        np.vstack([places_mm + np.array([FAR_MM * number, 0]) for number in range(count)]),
        {
            start + ids.index(cell): colour
            for start, (_, told) in zip(starts, boards, strict=True)
            for cell, colour in told.items()
        },
        boards=count,
    )
    return [part_of(joined, slice(start, start + len(ids))) for start in starts]


def _heard(
    alone: Judged, among: Belief, samples: Samples, usual_unrest: float, hearing: Hearing
) -> Cells:
    """The cells of one board by what it says ``alone`` and what it says ``among`` the others."""
    read = name_cells(among, samples, tuple(alone.cells), usual_unrest)
    beyond = in_margins(alone.belief) ** (1 - hearing.weight) * in_margins(among) ** hearing.weight
    return {
        cell: by_itself
        if by_itself.doubt and not hearing.settles
        else _weighed(by_itself, read[cell], among.names, row)
        for (cell, by_itself), row in zip(alone.cells.items(), beyond, strict=True)
    }


def _weighed(
    alone: CellReading, among: CellReading, names: tuple[str, ...], beyond: Array
) -> CellReading:
    """One cell; ``beyond`` (C,): how far every label lies beyond the likeliest, in margins."""
    if _blind(alone, names):
        return alone
    order = [names[k] for k in np.argsort(beyond, kind="stable")]
    if _blind(among, names):
        return CellReading(alone.colour, _first(alone.colour, order), among.doubt)
    if alone.colour != among.colour:
        why = f"alone it looks like {alone.colour}, beside the other boards like {among.colour}"
        left = {alone.colour, among.colour, *alone.candidates, *among.candidates}
        return CellReading(alone.colour, _first(alone.colour, [n for n in order if n in left]), why)
    within = tuple(name for name in order if beyond[names.index(name)] <= 1)
    if len(within) == 1:
        return CellReading(alone.colour, within)
    why = alone.doubt or among.doubt or f"beside the other boards it may be {listed(within, 'or')}"
    return CellReading(alone.colour, within, why)


def _blind(read: CellReading, names: tuple[str, ...]) -> bool:
    """Whether nothing can be told of this cell, but perhaps that it is not empty."""
    return read.doubt is not None and len(read.candidates) >= len(names) - 1


def _first(colour: str, names: Sequence[str]) -> tuple[str, ...]:
    return colour, *(name for name in names if name != colour)
