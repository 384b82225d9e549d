"""Count kept games again under a changed sheet, and list what comes out differently."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from desk.archive import Archive
from desk.keeping.content import Content
from desk.keeping.correct import Correction, correct
from desk.keeping.recount import differences, facts_of, tally_of
from desk.keeping.rows import content_of, game_rows
from desk.keeping.search import Wanted, found
from scoring.errors import SheetError
from scoring.sheet import GameSheet


@dataclass(frozen=True)
class Rescored:
    """One game under the changed sheet: what is different, or why it cannot be counted."""

    game_id: int
    differences: tuple[str, ...] = ()
    failure: str = ""


def rescored(archive: Archive, sheet: GameSheet, wanted: Wanted) -> Iterator[Rescored]:
    """Every game that counts, from the first on, under the sheet."""
    with archive.reading() as db:
        ids = sorted(found(db, wanted, limit=None, before=None, every=False))
        for row in game_rows(db, ids):
            yield rescored_game(row["id"], content_of(db, row), sheet)


def rescored_game(game_id: int, content: Content, sheet: GameSheet) -> Rescored:
    """One game under the sheet."""
    try:
        after = facts_of(tally_of(sheet, content))
    except SheetError as error:
        return Rescored(game_id, failure=str(error))
    return Rescored(game_id, tuple(differences(content["tally"], after)))


def keep_rescored(archive: Archive, game_id: int, sheet: GameSheet, reason: str) -> int:
    """Keep one game's new count as a correction; returns its number."""
    return correct(archive, game_id, Correction(reason=reason, sheet=sheet))
