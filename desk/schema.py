"""The archive's tables, and SQLite opened so that what it acknowledges stays."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.pool import NullPool

ARCHIVE_VERSION = 1
"""Raised by one whenever the columns change; kept in SQLite's ``user_version``."""

LOCK_WAIT_S = 30
"""How long a writer waits for another program's transaction to end."""

METADATA = sa.MetaData()

GAMES = sa.Table(
    "games",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("saved_at", sa.Text, nullable=False),
    sa.Column("sheet_name", sa.Text, nullable=False),
    sa.Column("sheet_text", sa.Text, nullable=False),
    sa.Column("table_name", sa.Text, nullable=False),
    sa.Column("table_sha256", sa.Text, nullable=False),
    sa.Column("claims", sa.JSON, nullable=False),
    sa.Column("tally", sa.JSON, nullable=False),
    sa.Column("versions", sa.JSON, nullable=False),
    sqlite_autoincrement=True,
)

BOARDS = sa.Table(
    "boards",
    METADATA,
    sa.Column("game_id", sa.ForeignKey("games.id"), primary_key=True),
    sa.Column("seat", sa.Integer, primary_key=True),
    sa.Column("player", sa.Text, nullable=False),
    sa.Column("photo_name", sa.Text, nullable=False),
    sa.Column("photo_file", sa.Text, nullable=False),
    sa.Column("reading", sa.JSON, nullable=False),
    sa.Column("grid", sa.JSON, nullable=False),
)

ANSWERS = sa.Table(
    "answers",
    METADATA,
    sa.Column("game_id", sa.ForeignKey("games.id"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("player", sa.Text, nullable=False),
    sa.Column("cell", sa.Text, nullable=False),
    sa.Column("colour", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("at", sa.Text, nullable=False),
)

GUARDS = [
    f"CREATE TRIGGER {table.name}_no_{verb.lower()} BEFORE {verb} ON {table.name} "
    "BEGIN SELECT RAISE(ABORT, 'the archive is append-only'); END"
    for table in (GAMES, BOARDS, ANSWERS)
    for verb in ("UPDATE", "DELETE")
]


def connect(path: Path) -> sa.Engine:
    """SQLite with a write-ahead log, synced to the disk at every commit, one writer at a time."""
    engine = sa.create_engine(
        sa.URL.create("sqlite", database=str(path)),
        poolclass=NullPool,
        connect_args={"timeout": LOCK_WAIT_S},
    )
    sa.event.listen(engine, "connect", set_pragmas)
    sa.event.listen(engine, "begin", begin)
    return engine


def set_pragmas(connection: sqlite3.Connection, _record: object) -> None:
    """Durability first. Transactions begin only where ``begin`` says so."""
    connection.isolation_level = None
    write_ahead(connection)
    for pragma in ("synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def write_ahead(connection: sqlite3.Connection) -> None:
    """Turn the write-ahead log on, waiting while another program does.

    SQLite's own waiting does not cover this step: two programs that open a new archive at the same
    moment would find it locked.
    """
    give_up = time.monotonic() + LOCK_WAIT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").close()
            return
        except sqlite3.OperationalError:
            if time.monotonic() > give_up:
                raise
            time.sleep(0.01)


def begin(db: sa.Connection) -> None:
    """A writer takes its lock at once, so that two writers queue instead of failing midway."""
    writes = db.get_execution_options().get("writes", False)
    db.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def prepare(db: sa.Connection) -> int:
    """Make the tables of a new archive; returns the version that the archive says it has."""
    version = db.exec_driver_sql("PRAGMA user_version").scalar_one()
    if version == 0:
        METADATA.create_all(db)
        for guard in GUARDS:
            db.exec_driver_sql(guard)
        db.exec_driver_sql(f"PRAGMA user_version = {ARCHIVE_VERSION}")
    return version
