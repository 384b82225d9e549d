"""Jobs that need a game's photos again: keeping it in the archive, and what is shared of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from desk.archive import Archive
from desk.export import tally_csv, tally_json
from desk.keeping.store import table_file
from desk.pipeline import record_of
from desk.records import GameRecord
from desk.scoresheet import score_sheet
from desk.tally_words import tally_words
from desk.types import Outcome
from desk.web.shares import tally_pdf, tally_png
from desk.web.weigh import WeighJob, outcome_of
from vision.decode import load_photo


@dataclass(frozen=True)
class KeepJob:
    """A game, the archive's folder, the evening's name.

    ``before`` is the game's number in the archive where it was kept before.
    """

    game: WeighJob
    archive: str
    evening: str
    before: int | None = None


@dataclass(frozen=True)
class ShareJob:
    """A game, in what form it is wanted, and the time."""

    game: WeighJob
    form: str
    at: datetime


def keep_job(job: KeepJob) -> int:
    """Put a game into the archive; returns its number there."""
    outcome = with_photos(job.game)
    archive = Archive(job.archive)
    record = record_of(outcome, Path(job.game.table).read_bytes())
    record = replace(record, evening=job.evening)
    if job.before is None:
        return archive.save(record)
    return save_in_place_of(archive, job.before, record)


def save_in_place_of(archive: Archive, number: int, record: GameRecord) -> int:
    """Keep a game as a correction of the entry that was kept of it before; returns its number."""
    latest = max([number, *archive.game(number)["entries"]])
    with archive.reading() as db:
        before = archive.row(db, latest)
    photos = [archive.cleaned(board.photo) for board in record.boards]
    content = archive.content_from(record, [name for name, _ in photos])
    content |= {
        "corrects": before["uid"],
        "reason": "kept again at the desk after a change",
        "played_at": before["played_at"],
    }
    return archive.save_content(content, dict(photos) | table_of(record))


def table_of(record: GameRecord) -> dict[str, bytes]:
    """The table's file by its name, where the record has it."""
    return {} if record.table_file is None else {table_file(record.table_sha256): record.table_file}


def share_job(job: ShareJob) -> bytes:
    """The tally as a file."""
    return FORMS[job.form][1](with_photos(job.game), job.at)


def with_photos(job: WeighJob) -> Outcome:
    """The game's outcome with each board's photo, the better of two, decoded again."""
    outcome = outcome_of(job)
    files = {Path(look.photo).name: look.photo for board in job.boards for look in board.looks}
    seats = []
    for seat in outcome.game.seats:
        data = Path(files[seat.photo.sha256]).read_bytes()
        seats.append(replace(seat, data=data, photo=load_photo(data, seat.photo.name)))
    return replace(outcome, game=replace(outcome.game, seats=tuple(seats)))


def text_of(outcome: Outcome, _at: datetime) -> bytes:
    """Plain text, for a message."""
    head = f"{outcome.game.table.sheet.name}\n"
    return (head + "\n".join(tally_words(outcome)).strip("\n") + "\n").encode()


def json_of(outcome: Outcome, _at: datetime) -> bytes:
    """The tally for programs."""
    return json.dumps(tally_json(outcome), ensure_ascii=False, indent=1).encode()


Form = tuple[str, Callable[[Outcome, datetime], bytes]]

FORMS: dict[str, Form] = {
    "txt": ("text/plain; charset=utf-8", text_of),
    "png": ("image/png", tally_png),
    "pdf": ("application/pdf", tally_pdf),
    "html": ("text/html; charset=utf-8", lambda outcome, at: score_sheet(outcome, at).encode()),
    "csv": ("text/csv; charset=utf-8", lambda outcome, _at: tally_csv(outcome).encode()),
    "json": ("application/json", json_of),
}
"""Media type and maker of each form in which a tally is shared."""
