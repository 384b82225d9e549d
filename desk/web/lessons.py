"""A table learns, at the desk, from the boards of a game that was kept; or forgets them again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from calibrate.lessons import drift, drift_words, lesson_of, with_lessons, without_lessons
from calibrate.store import load_table, table_bytes
from calibrate.types import Lesson, Table
from desk.pipeline import told_of
from desk.shelf import SUFFIX, Shelf
from desk.types import Outcome, Seat
from desk.web.weigh import WeighJob, outcome_of
from scoring.errors import TallyglassError

ANEW = (
    "This table was learned anew, or given a changed sheet, since this evening began. Begin a new "
    "evening with it, and let it learn from a game there."
)


@dataclass(frozen=True)
class LessonJob:
    """A kept game to learn from, or to ``forget``.

    ``called``: what it is called in the table; ``at``: when it was played; ``shelf``: the folder of
    tables; ``table``: the evening's own.
    """

    game: WeighJob
    called: str
    at: str
    shelf: str
    table: str
    forget: bool = False


def lesson_job(job: LessonJob) -> dict[str, Any]:
    """Put the taught table on the shelf; its name there and what drifted, or the ``problem``."""
    shelf = Shelf(Path(job.shelf))
    try:
        latest = shelf.table(shelf.name_of(job.table))
        if untaught(latest) != untaught(load_table(shelf.folder / f"{job.table}{SUFFIX}")):
            return {"problem": ANEW}
        if job.forget:
            return {"table": shelf.put(without_lessons(latest, job.called)).id, "words": []}
        lessons = lessons_of(outcome_of(job.game), job.called, job.at)
        words = drift_words(drift(latest, lessons))
        return {"table": shelf.put(with_lessons(latest, lessons)).id, "words": list(words)}
    except TallyglassError as error:
        return {"problem": str(error)}


def untaught(table: Table) -> bytes:
    """What a table was before it learned from any game, whatever it is called."""
    return table_bytes(replace(table, name="", lessons=()))


def lessons_of(outcome: Outcome, called: str, at: str) -> list[Lesson]:
    """What each board of a settled game teaches."""
    return [lesson_from(seat, outcome, called, at) for seat in outcome.game.seats]


def lesson_from(seat: Seat, outcome: Outcome, called: str, at: str) -> Lesson:
    """What one board teaches, by its certain cells and those that a person named."""
    named = told_of(outcome.game.answers, seat.player)
    cells = {cell: read.colour for cell, read in seat.reading.cells.items() if not read.doubt}
    return lesson_of(seat.first, cells, named, game=called, at=at, photo=seat.photo.sha256)
