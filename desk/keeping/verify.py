"""Prove an archive: files by their hashes, contents by their seals, tallies from their grids."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Any

import sqlalchemy as sa

from desk.archive import Archive
from desk.durable import TEMPORARY
from desk.keeping.content import Content, scores_of, seal_of
from desk.keeping.recount import differences, facts_of, sheet_from, tally_of
from desk.keeping.rows import content_of, game_rows, rows_of
from desk.keeping.search import missing_words
from desk.keeping.standings import Standings, count_game, history, kept
from desk.keeping.store import digest_in, is_whole, table_file
from desk.schema import BOARDS, ERASURES, GAMES, SCOPES, SCORES, WORDS, guard_names
from scoring.errors import SheetError

Progress = Callable[[int, int], None]
"""Told after each game: how many are done, of how many."""


@dataclass
class Proof:
    """What was found: ``wrong`` must not be; ``explained`` may be, and why."""

    games: int = 0
    photos: int = 0
    tables: int = 0
    wrong: list[str] = field(default_factory=list)
    explained: list[str] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        """Whether the archive is as it must be."""
        return not self.wrong


def verify(archive: Archive, progress: Progress = lambda _done, _all: None) -> Proof:
    """Look at everything that is kept, at one moment."""
    proof = Proof()
    with archive.reading() as db:
        proof.wrong += database_faults(db)
        proof.wrong += missing_numbers(db)
        erasures = {row["uid"] for row in db.execute(sa.select(ERASURES.c.uid)).mappings()}
        total = db.execute(sa.select(sa.func.count()).select_from(GAMES)).scalar_one()
        named: dict[str, str] = {}
        for row in game_rows(db):
            content = content_of(db, row)
            where = f"Game {row['id']}"
            proof.wrong += [f"{where}: {w}" for w in game_faults(db, row, content, erasures)]
            named |= files_named(content, where)
            proof.games += 1
            progress(proof.games, total)
        proof.wrong += standing_faults(db)
        check_files(archive, named, proof)
        proof.explained += orphans(archive, db, set(named))
    return proof


def database_faults(db: sa.Connection) -> Iterator[str]:
    """What the database says of itself, and guards that somebody took off."""
    if db.dialect.name == "sqlite":
        for (words,) in db.exec_driver_sql("PRAGMA integrity_check").fetchall():
            if words != "ok":
                yield f"The database is damaged: {words}."
        if broken := db.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
            yield f"The database is damaged: {len(broken)} rows belong to nothing."
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    else:
        query = (
            "SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
            "WHERE relnamespace = current_schema()::regnamespace AND tgenabled <> 'D'"
        )
    there = {name for (name,) in db.exec_driver_sql(query)}
    if gone := sorted(guard_names() - there):
        yield f"Somebody took guards off the database: {', '.join(gone)}."


def missing_numbers(db: sa.Connection) -> Iterator[str]:
    """Games are numbered without gaps; one that is missing was taken out by force."""
    expected = 1
    for number in db.execute(sa.select(GAMES.c.id).order_by(GAMES.c.id)).scalars():
        while expected < number:
            yield f"Game {expected} was taken out by force: its number is missing."
            expected += 1
        expected = number + 1
    if db.dialect.name != "sqlite":
        return
    query = "SELECT seq FROM sqlite_sequence WHERE name = 'games'"
    for number in range(expected, (db.exec_driver_sql(query).scalar() or 0) + 1):
        yield f"Game {number} was taken out by force: its number is missing."


def game_faults(
    db: sa.Connection, row: dict[str, Any], content: Content, erasures: set[str]
) -> Iterator[str]:
    """What is wrong with one game."""
    if (seal := seal_of(content)) != row["seal"]:
        yield "what is kept is not what was saved (its seal is broken)."
    elif seal != row["uid"] and content["nonce"]:
        yield "its identity is not that of its content, and no erasure says why."
    for board in content["boards"]:
        if board["erased"] and board["erased"] not in erasures:
            yield f"the photo of {board['player']} is marked as erased, and no erasure says why."
    yield from tally_faults(content)
    scores = [(s["player"], s["total"], s["won"]) for s in rows_of(db, SCORES, row["id"])]
    if scores != scores_of(content["tally"]):
        yield "the list shows other totals than its tally has."
    words = db.execute(sa.select(WORDS.c.word).where(WORDS.c.game_id == row["id"])).scalars()
    if missing_words(words, content):
        yield "search finds it under other words than it has."


def tally_faults(content: Content) -> Iterator[str]:
    """What is wrong with a tally, as counting the grids again shows."""
    try:
        again = facts_of(tally_of(sheet_from(content["sheet_text"]), content))
    except SheetError as error:
        yield f"its tally cannot be counted again: {error}"
        return
    for difference in differences(content["tally"], again):
        yield f"its tally does not follow from its grids: {difference}."


def files_named(content: Content, where: str) -> dict[str, str]:
    """The files that a game needs, with the words for where they are needed."""
    files = {
        board["photo_file"]: f"{where}, photo of {board['player']}"
        for board in content["boards"]
        if not board["erased"]
    }
    return {**files, table_file(content["table_sha256"]): f"{where}, table"}


def check_files(archive: Archive, named: dict[str, str], proof: Proof) -> None:
    """Every named file is there and whole."""
    tables_gone = 0
    for name, where in named.items():
        is_table = name.startswith("tables/")
        try:
            whole = is_whole(name, archive.store.get(name))
        except FileNotFoundError:
            if is_table:
                tables_gone += 1
            else:
                proof.wrong.append(f"{where}: {name} is missing.")
            continue
        proof.tables += is_table
        proof.photos += not is_table
        if not whole:
            proof.wrong.append(f"{where}: {name} is not the file that was saved.")
    if tables_gone:
        proof.explained.append(
            f"{tables_gone} tables are known by their hash only, as the first version kept them; "
            "`archive keep-table` adds their files, and a reread needs them."
        )


def orphans(archive: Archive, db: sa.Connection, named: set[str]) -> Iterator[str]:
    """Files that no game needs, each with its reason."""
    pending = set(erased_files(db)) - named
    for name in sorted(archive.store.names()):
        if name in named:
            continue
        if TEMPORARY in PurePosixPath(name).name:
            yield f"{name}: half a file of a save that was stopped; never acknowledged."
        elif name in pending:
            yield f"{name}: an erasure was stopped before it took this file away."
        elif digest_in(name):
            yield f"{name}: of a save that was stopped before its game was; never acknowledged."
        else:
            yield f"{name}: none of the archive's files."


def erased_files(db: sa.Connection) -> list[str]:
    """Photos that boards name but an erasure took away."""
    query = sa.select(BOARDS.c.photo_file).where(BOARDS.c.erased != "")
    listed = db.execute(sa.select(ERASURES.c.photos)).scalars()
    return [*db.execute(query).scalars(), *(name for names in listed for name in names)]


def tidy(archive: Archive) -> list[str]:
    """Take away what no game needs; returns the names. No save is under way meanwhile."""
    removed = []
    with archive.writing() as db:
        digests = db.execute(sa.select(GAMES.c.table_sha256).distinct()).scalars()
        named = {table_file(digest) for digest in digests}
        query = sa.select(BOARDS.c.photo_file).where(BOARDS.c.erased == "")
        named |= set(db.execute(query).scalars())
        for name in sorted(archive.store.names()):
            is_ours = digest_in(name) or TEMPORARY in PurePosixPath(name).name
            if name not in named and is_ours:
                archive.store.remove(name)
                removed.append(name)
    return removed


def standing_faults(db: sa.Connection) -> Iterator[str]:
    """Sums that counting all games again does not give."""
    for row in db.execute(sa.select(SCOPES)).mappings():
        scope = (row["sheet_name"], row["kind"], row["label"])
        again = Standings(scope)
        for scores in history(db, scope):
            count_game(again, scores)
        known = kept(db, scope)
        if known is None or known.players != again.players or known.duels != again.duels:
            yield f"The standings of {' / '.join(scope)} are not those of its games."
