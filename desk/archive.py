"""The archive: every game kept, whole or not at all, and never changed afterwards.

A folder holds ``archive.sqlite``, ``photos/`` and ``tables/``; or the records lie on a PostgreSQL
server and the files in any folder or under any fsspec URL. Files are written first, each under
the SHA-256 of what is stored; then one transaction adds the whole game. A kill between the two
leaves at worst a file that no game names. The database's own triggers refuse to change or delete
what was saved.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from desk.keeping.content import Content, plain, scores_of
from desk.keeping.database import Database, open_server, open_sqlite, prepare
from desk.keeping.errors import ArchiveError, errors_named
from desk.keeping.rows import content_of, insert_content
from desk.keeping.search import ANYTHING, Wanted, found, is_current, is_open
from desk.keeping.standings import (
    ALL,
    Standings,
    after_save,
    kept,
    matching_scopes,
    rebuild,
)
from desk.keeping.store import FolderStore, Store, file_name, open_store, table_file
from desk.metadata import strip_metadata, suffix_of
from desk.records import GameRecord
from desk.schema import GAMES, SCORES, SETTINGS

__all__ = ["Archive", "ArchiveError", "GameSummary", "default_archive_folder", "now_utc"]

NIGHT = timedelta(hours=6)
"""Games that end before six in the morning belong to the evening before."""


@dataclass(frozen=True)
class GameSummary:
    """One line of the archive's list. ``corrected`` says that a later entry takes its place.

    A game that is not ``settled`` was kept with doubts that matter and has no winners yet.
    """

    id: int
    saved_at: str
    sheet_name: str
    totals: Mapping[str, int]
    winners: tuple[str, ...]
    uid: str = ""
    evening: str = ""
    league: str = ""
    revision: int = 1
    reason: str = ""
    corrected: bool = False
    settled: bool = True


def default_archive_folder() -> Path:
    """The archive's folder among this user's application data."""
    import platformdirs

    return Path(platformdirs.user_data_dir("tallyglass", appauthor=False)) / "archive"


def now_utc() -> datetime:
    """The clock that is handed in where no test hands in another."""
    return datetime.now(UTC)


def is_url(where: Path | str) -> bool:
    """Whether an archive is named by a URL instead of a folder."""
    return isinstance(where, str) and "://" in where


class Archive:
    """One archive, in a folder or, by its URL, on a PostgreSQL server.

    ``clock`` tells the time that goes on a record. ``photos`` is the folder or fsspec URL for the
    files, once said, remembered; without it they lie beside ``archive.sqlite``. ``keep_metadata``
    leaves location and serial numbers in photos that are saved.
    """

    def __init__(
        self,
        where: Path | str,
        clock: Callable[[], datetime] = now_utc,
        *,
        photos: str | None = None,
        keep_metadata: bool = False,
    ) -> None:
        self.clock = clock
        self.keep_metadata = keep_metadata
        self.database = self._open(where)
        self.where = self.database.where
        with errors_named(self.where):
            prepare(self.database)
            place = remembered_place(self.database, photos)
            self.store: Store = open_store(place or self._beside())
            self.folder = Path(self.store.root)
            if isinstance(self.store, FolderStore):
                (self.folder / "photos").mkdir(parents=True, exist_ok=True)
            self.opened = self._places()

    def _open(self, where: Path | str) -> Database:
        if is_url(where):
            return open_server(str(where))
        folder = Path(where)
        if folder != default_archive_folder() and not folder.absolute().parent.is_dir():
            reason = f"cannot be made: there is no folder {folder.parent}. Is its drive plugged in?"
            raise ArchiveError(folder, reason)
        with errors_named(folder):
            folder.mkdir(parents=True, exist_ok=True)
        return open_sqlite(folder / "archive.sqlite")

    def _beside(self) -> Path:
        if not isinstance(self.where, Path):
            reason = "does not know yet where its photos lie; say it with --photos."
            raise ArchiveError(self.where, reason)
        return self.where

    def _places(self) -> list[tuple[int, int]]:
        """Device and inode of what lies on a disk here: another disk's would differ."""
        local = [self.where / "archive.sqlite"] if isinstance(self.where, Path) else []
        if isinstance(self.store, FolderStore):
            local.append(self.folder / "photos")
        return [(found.st_dev, found.st_ino) for found in map(Path.stat, local)]

    def check_places(self) -> None:
        """Raise ArchiveError where a disk is not the one that was opened.

        A file that is open outlives its disk's place in the tree: without this, a save after the
        drive was pulled would be acknowledged and lie half on it, half under its empty place.
        """
        with contextlib.suppress(FileNotFoundError, NotADirectoryError):
            if self._places() == self.opened:
                return
        reason = (
            "is not where it was: was its drive pulled? What was saved before is on the drive; "
            "this game is not safe yet. Plug the drive in, start again and save it again."
        )
        raise ArchiveError(self.where, reason)

    @contextlib.contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction that sees one moment of the archive."""
        with errors_named(self.where), self.database.reading() as db:
            yield db

    @contextlib.contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction that no other writer shares."""
        with errors_named(self.where), self.database.writing() as db:
            yield db

    def save(self, game: GameRecord) -> int:
        """Keep one game, photos first; returns its number once it is safely on the disk."""
        photos = [self.cleaned(board.photo) for board in game.boards]
        files = dict(photos)
        if game.table_file is not None:
            files[table_file(game.table_sha256)] = game.table_file
        content = self.content_from(game, [name for name, _ in photos])
        return self.save_content(content, files)

    def save_content(self, content: Content, files: Mapping[str, bytes]) -> int:
        """Keep a game's content, after the files that it names and nobody has kept yet."""
        with errors_named(self.where):
            self.check_places()
            self.put_files(files)
            with self.database.writing() as db:
                # An erasure may have taken a file away since; from here on none can.
                self.put_files(files)
                number = add_game(db, content)
            self.check_places()
            return number

    def put_files(self, files: Mapping[str, bytes]) -> None:
        """Keep files by their names."""
        for name, data in files.items():
            self.store.put(name, data)

    def cleaned(self, photo: bytes) -> tuple[str, bytes]:
        """A photo as it is kept, after the name that it is kept under."""
        suffix = suffix_of(photo)
        if not self.keep_metadata:
            photo, suffix = strip_metadata(photo)
        return file_name("photos", photo, suffix), photo

    def content_from(self, game: GameRecord, photo_files: Sequence[str]) -> Content:
        """What is kept of a game that is saved now."""
        now = self.clock()
        boards = [
            {
                "player": board.player,
                "photo_name": board.photo_name,
                "photo_file": file,
                "metadata": "kept" if self.keep_metadata else "removed",
                "erased": "",
                "reading": board.reading,
                "grid": board.grid,
            }
            for board, file in zip(game.boards, photo_files, strict=True)
        ]
        own = {key: value for key, value in vars(game).items() if key in GAMES.c}
        made = {
            "nonce": secrets.token_hex(16),
            "saved_at": now.isoformat(timespec="seconds"),
            "played_at": now.astimezone(UTC).isoformat(timespec="microseconds"),
            "evening": game.evening or evening_of(now),
            "corrects": "",
            "reason": "",
        }
        answers = [vars(answer) for answer in game.answers]
        return plain({**own, **made, "boards": boards, "answers": answers})

    def games(
        self,
        wanted: Wanted = ANYTHING,
        *,
        limit: int | None = None,
        before: int | None = None,
        every: bool = True,
    ) -> list[GameSummary]:
        """Games, the latest first: all, or those that are wanted.

        ``limit`` is how many at most, ``before`` a number that theirs must be smaller than. With
        ``every`` entries that a later one corrects are listed too.
        """
        with self.reading() as db:
            ids = found(db, wanted, limit=limit, before=before, every=every)
            return summaries(db, ids)

    def game(self, game_id: int) -> dict[str, Any]:
        """Everything that was kept of one game, as plain values ready for JSON."""
        with self.reading() as db:
            row = self.row(db, game_id)
            line = sa.select(GAMES.c.id).where(GAMES.c.root == row["root"]).order_by(GAMES.c.id)
            others = [number for number in db.execute(line).scalars() if number != game_id]
            content = content_of(db, row)
            corrected = not is_latest(db, game_id)
        return {**row, **content, "entries": others, "corrected": corrected}

    def row(self, db: sa.Connection, game_id: int) -> dict[str, Any]:
        """A game's row. Raises ArchiveError where there is none."""
        row = db.execute(sa.select(GAMES).where(GAMES.c.id == game_id)).mappings().first()
        if row is None:
            shown = "`tallyglass archive list` shows them."
            raise ArchiveError(self.where, f"has no game {game_id}. {shown}")
        return dict(row)

    def photo(self, photo_file: str) -> bytes:
        """A kept photo's bytes, by the ``photo_file`` of its board."""
        try:
            return self.store.get(photo_file)
        except FileNotFoundError as error:
            reason = f"has no file {photo_file}; `tallyglass archive verify` says why."
            raise ArchiveError(self.where, reason) from error

    def uses_table(self, digest: str) -> bool:
        """Whether any game was scored with the table of this SHA-256."""
        query = sa.select(GAMES.c.id).where(GAMES.c.table_sha256 == digest).limit(1)
        with self.reading() as db:
            return db.execute(query).first() is not None

    def standings(self, kind: str = ALL, label: str = "", sheet: str = "") -> list[Standings]:
        """Standings of each game sheet in a league or evening, or of all its games."""
        with self.reading() as db:
            scopes = matching_scopes(db, sheet, kind, label)
            known = [kept(db, scope) for scope in scopes]
        if None in known:
            with self.writing() as db:
                known = [kept(db, scope) or rebuild(db, scope) for scope in scopes]
        return [standings for standings in known if standings]


def remembered_place(database: Database, photos: str | None) -> str:
    """Where files lie, as it was said once; empty for beside the records."""
    query = sa.select(SETTINGS.c.value).where(SETTINGS.c.name == "photos")
    with database.reading() as db:
        known = db.execute(query).scalar()
    if not photos or photos == known:
        return known or ""
    with database.writing() as db:
        known = db.execute(query).scalar()
        if known is None and db.execute(sa.select(GAMES.c.id).limit(1)).first() is None:
            db.execute(sa.insert(SETTINGS).values(name="photos", value=photos))
            return photos
    if known == photos:
        return photos
    place = known or "beside the records"
    reason = f"keeps its photos in {place} already; leave --photos out, or make a new archive."
    raise ArchiveError(database.where, reason)


def add_game(db: sa.Connection, content: Content, uid: str | None = None) -> int:
    """Insert a game and carry the standings on."""
    game_id = insert_content(db, content, uid)
    row = dict(db.execute(sa.select(GAMES).where(GAMES.c.id == game_id)).mappings().one())
    after_save(db, row, scores_of(content["tally"]))
    return game_id


def evening_of(now: datetime) -> str:
    """The day, by this machine's clock, on which the evening of a moment began."""
    return (now.astimezone() - NIGHT).date().isoformat()


def is_latest(db: sa.Connection, game_id: int) -> bool:
    """Whether nothing corrects this entry."""
    query = sa.select(GAMES.c.id).where(GAMES.c.id == game_id, is_current(GAMES))
    return db.execute(query).first() is not None


def summaries(db: sa.Connection, ids: Sequence[int]) -> list[GameSummary]:
    """Lines of the list, in the order of the numbers."""
    lines: dict[int, GameSummary] = {}
    columns: list[Any] = [GAMES.c[name] for name in SUMMARY_COLUMNS]
    states = is_current(GAMES).label("current"), is_open(GAMES).label("open")
    query: Any = sa.select(*columns, *states)
    for some in batches(ids):
        totals: dict[int, dict[str, int]] = {}
        winners: dict[int, list[str]] = {}
        scores = sa.select(SCORES).where(SCORES.c.game_id.in_(some))
        for row in db.execute(scores.order_by(SCORES.c.game_id, SCORES.c.seat)):
            totals.setdefault(row.game_id, {})[row.player] = row.total
            winners.setdefault(row.game_id, []).extend([row.player] if row.won else [])
        for line in db.execute(query.where(GAMES.c.id.in_(some))).mappings():
            own: dict[str, Any] = {name: line[name] for name in SUMMARY_COLUMNS}
            lines[own["id"]] = GameSummary(
                **own,
                totals=totals.get(own["id"], {}),
                winners=tuple(winners.get(own["id"], ())),
                corrected=not line["current"],
                settled=not line["open"],
            )
    return [lines[number] for number in ids if number in lines]


SUMMARY_COLUMNS = (
    "id",
    "saved_at",
    "sheet_name",
    "uid",
    "evening",
    "league",
    "revision",
    "reason",
)


def batches(ids: Sequence[int], size: int = 500) -> Iterator[Sequence[int]]:
    """Numbers in portions that fit into one statement."""
    for start in range(0, len(ids), size):
        yield ids[start : start + size]
