"""The archive: every game kept, whole or not at all, and never changed afterwards.

A folder holds ``archive.sqlite`` and ``photos/``. Photos are written first, each under the SHA-256
of what is stored; then one transaction adds the whole game. A kill between the two leaves at worst
a photo that no game names. SQLite's own triggers refuse to change or delete what was saved.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from desk.durable import write_durably
from desk.metadata import strip_metadata
from desk.records import BoardRecord, GameRecord
from desk.schema import ANSWERS, ARCHIVE_VERSION, BOARDS, GAMES, connect, prepare
from scoring.errors import TallyglassError


class ArchiveError(TallyglassError):
    """The archive could not be opened, read or written; nothing saved before is lost."""

    def __init__(self, folder: Path, reason: str) -> None:
        self.folder = folder
        self.reason = reason
        super().__init__(f"The archive in {folder} {reason}")


@dataclass(frozen=True)
class GameSummary:
    """One line of the archive's list."""

    id: int
    saved_at: str
    sheet_name: str
    totals: Mapping[str, int]
    winners: tuple[str, ...]


def default_archive_folder() -> Path:
    """The archive's folder among this user's application data."""
    import platformdirs

    return Path(platformdirs.user_data_dir("tallyglass", appauthor=False)) / "archive"


def now_utc() -> datetime:
    """The clock that is handed in where no test hands in another."""
    return datetime.now(UTC)


class Archive:
    """One archive folder. ``clock`` tells the time that goes on a record."""

    def __init__(self, folder: Path, clock: Callable[[], datetime] = now_utc) -> None:
        self.folder = folder
        self.clock = clock
        self._engine = connect(folder / "archive.sqlite")
        with self._errors_named():
            (folder / "photos").mkdir(parents=True, exist_ok=True)
            with self._transaction(writes=True) as db:
                if prepare(db) > ARCHIVE_VERSION:
                    newer = "was made by a newer Tallyglass. Update the program first."
                    raise ArchiveError(folder, newer)

    def save(self, game: GameRecord) -> int:
        """Keep one game, photos first; returns its number once it is safely on the disk."""
        with self._errors_named():
            files = [keep_photo(self.folder, board.photo) for board in game.boards]
            with self._transaction(writes=True) as db:
                return insert_game(db, game, files, self.clock().isoformat(timespec="seconds"))

    def games(self) -> list[GameSummary]:
        """Every game, the latest first."""
        query = sa.select(GAMES).order_by(GAMES.c.id.desc())
        with self._errors_named(), self._transaction() as db:
            return [summary(dict(row)) for row in db.execute(query).mappings()]

    def game(self, game_id: int) -> dict[str, Any]:
        """Everything that was kept of one game, as plain values ready for JSON."""
        with self._errors_named(), self._transaction() as db:
            row = db.execute(sa.select(GAMES).where(GAMES.c.id == game_id)).mappings().first()
            if row is None:
                raise ArchiveError(
                    self.folder, f"has no game {game_id}. `tallyglass archive list` shows them."
                )
            return {
                **row,
                "boards": parts(db, BOARDS, game_id),
                "answers": parts(db, ANSWERS, game_id),
            }

    @contextlib.contextmanager
    def _transaction(self, *, writes: bool = False) -> Iterator[sa.Connection]:
        engine = self._engine.execution_options(writes=writes)
        with engine.begin() as db:
            yield db

    @contextlib.contextmanager
    def _errors_named(self) -> Iterator[None]:
        try:
            yield
        except sa.exc.DBAPIError as error:
            raise ArchiveError(self.folder, reason_of(error)) from error
        except OSError as error:
            reason = f"cannot be written: {error.strerror or error}. Nothing was saved."
            raise ArchiveError(self.folder, reason) from error


def reason_of(error: sa.exc.DBAPIError) -> str:
    """What a person can do about SQLite's complaint."""
    words = str(error.orig)
    if "not a database" in words or "malformed" in words:
        return "is damaged or is no archive of this program. Choose another with --archive."
    if "locked" in words:
        return "is in use by another program. Nothing was saved; try again in a moment."
    if "full" in words:
        return "found the disk full. Nothing was saved; make room and save again."
    return f"could not be used: {words}. Nothing was saved; is the folder writable?"


def insert_game(db: sa.Connection, game: GameRecord, files: list[str], saved_at: str) -> int:
    """Add the rows of one game."""
    row = {name: value for name, value in vars(game).items() if name in GAMES.c}
    insert = sa.insert(GAMES).values(saved_at=saved_at, **row).returning(GAMES.c.id)
    game_id = db.execute(insert).scalar_one()
    for seat, (board, file) in enumerate(zip(game.boards, files, strict=True)):
        db.execute(sa.insert(BOARDS).values(game_id=game_id, seat=seat, **board_row(board, file)))
    for number, answer in enumerate(game.answers):
        db.execute(sa.insert(ANSWERS).values(game_id=game_id, number=number, **vars(answer)))
    return game_id


def board_row(board: BoardRecord, file: str) -> dict[str, Any]:
    """One board's columns."""
    return {
        "player": board.player,
        "photo_name": board.photo_name,
        "photo_file": file,
        "reading": board.reading,
        "grid": board.grid,
    }


def parts(db: sa.Connection, table: sa.Table, game_id: int) -> list[dict[str, Any]]:
    """The boards or answers of one game, in the order they were saved."""
    query = sa.select(table).where(table.c.game_id == game_id).order_by(*table.primary_key)
    return [dict(row) for row in db.execute(query).mappings()]


def summary(row: Mapping[str, Any]) -> GameSummary:
    """What the list shows of one game."""
    tally = row["tally"]
    totals = {player["player"]: player["total"] for player in tally["players"]}
    winners = tuple(tally["winners"])
    return GameSummary(row["id"], row["saved_at"], row["sheet_name"], totals, winners)


def keep_photo(folder: Path, data: bytes) -> str:
    """Store a photo without its personal data; returns its path inside the archive folder."""
    clean, suffix = strip_metadata(data)
    digest = hashlib.sha256(clean).hexdigest()
    path = folder / "photos" / digest[:2] / (digest + suffix)
    if not path.exists():
        write_durably(path, clean)
    return path.relative_to(folder).as_posix()
