"""An archive of the first version goes on working, nothing of it lost."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from desk.archive import Archive, ArchiveError
from desk.keeping.verify import verify
from desk.schema import METADATA, guard_names
from tests.desk.saving import game

ARCHIVES = Path(__file__).parent / "archives"
OLD = ARCHIVES / "version-1"


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return Path(shutil.copytree(OLD, tmp_path / "old"))


def rows(folder: Path, query: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(folder / "archive.sqlite")) as db:
        return db.execute(query).fetchall()


def test_an_old_archive_keeps_its_games_and_takes_new_ones(old: Path) -> None:
    before = rows(old, "SELECT saved_at, sheet_text, claims, tally FROM games ORDER BY id")

    archive = Archive(old)

    assert rows(old, "SELECT saved_at, sheet_text, claims, tally FROM games ORDER BY id") == before
    tallies = [json.loads(str(row[3])) for row in before]
    totals = [{p["player"]: p["total"] for p in tally["players"]} for tally in tallies]
    assert [line.totals for line in archive.games()] == totals[::-1]
    assert archive.save(game(1)) == 3
    assert archive.game(1)["evening"] == "2026-10-03"


def test_an_old_archive_gets_the_tables_and_guards_of_a_new_one(old: Path, tmp_path: Path) -> None:
    archive, new = Archive(old), Archive(tmp_path / "new")

    with archive.reading() as db:
        context = MigrationContext.configure(db, opts={"compare_type": True})
        apart = compare_metadata(context, METADATA)
    names = "SELECT name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY name"
    assert apart == []
    assert rows(old, names) == rows(new.folder, names)
    assert guard_names() <= {str(name) for (name,) in rows(old, names)}


def test_an_old_archive_is_guarded_again_afterwards(old: Path) -> None:
    archive = Archive(old)

    with pytest.raises(ArchiveError, match="append-only"), archive.writing() as db:
        db.exec_driver_sql("UPDATE games SET tally = '{}'")


def test_an_archive_of_the_second_version_takes_back_wins_of_open_games(tmp_path: Path) -> None:
    """Game 2 was kept with doubts and counted as Ana's second win."""
    second = Path(shutil.copytree(ARCHIVES / "version-2", tmp_path / "second"))
    won = "SELECT wins FROM standings WHERE kind = 'all' AND player = 'Ana'"
    assert rows(second, won) == [(2,)]

    archive = Archive(second)

    (standings,) = archive.standings()
    assert (standings.games, standings.open, standings.players["Ana"].wins) == (1, 1, 1)
    assert [line.winners for line in archive.games()] == [(), ("Ana",)]
    assert verify(archive).holds
    with pytest.raises(ArchiveError, match="append-only"), archive.writing() as db:
        db.exec_driver_sql("UPDATE scores SET won = 1")


def test_two_copies_of_an_old_archive_agree_on_what_each_game_is(old: Path, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(old, tmp_path / "copy"))

    assert {g.uid for g in Archive(old).games()} == {g.uid for g in Archive(copy).games()}


def test_what_an_earlier_row_would_be_pushed_out_by_is_refused(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.save(game(1))

    with pytest.raises(ArchiveError, match="append-only"), archive.writing() as db:
        db.exec_driver_sql("INSERT OR REPLACE INTO games SELECT * FROM games")


def test_the_guards_cannot_be_left_open(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.save(game(1))

    with pytest.raises(ArchiveError, match="FOREIGN KEY"), archive.writing() as db:
        change_without_closing(db)
    assert archive.game(1)["reason"] == ""


def change_without_closing(db: sa.Connection) -> None:
    db.exec_driver_sql("INSERT INTO erasures VALUES (1, 'u', '', '', '', '', '[]', '[]')")
    db.exec_driver_sql("INSERT INTO erasing VALUES (1, 1)")
    db.exec_driver_sql("UPDATE games SET reason = 'changed'")
