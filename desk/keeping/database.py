"""The database of an archive, opened so that what it acknowledges stays: SQLite or PostgreSQL.

One writer at a time: SQLite's own lock, or an advisory lock in PostgreSQL. A reader sees the
archive as it was when its transaction began, so that exports and backups are of one moment.
"""

from __future__ import annotations

import contextlib
import sqlite3
import time
import weakref
from collections.abc import Iterator
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.pool import NullPool

from desk.keeping.errors import ArchiveError
from desk.schema import ARCHIVE_VERSION, HEAD, METADATA, guards

LOCK_WAIT_S = 30
"""How long a writer waits for another program's transaction to end."""

LOCK_KEY = 0x7A11_61A5
"""The number of the advisory lock that writers to a PostgreSQL archive take (any fixed number)."""


class Database:
    """Transactions on one archive's database. ``where`` names it in complaints."""

    def __init__(self, engine: sa.Engine, where: Path | str) -> None:
        self.engine = engine
        self.where = where
        weakref.finalize(self, engine.dispose)  # its connections are closed, not only forgotten

    @property
    def is_sqlite(self) -> bool:
        """Whether the database is a SQLite file."""
        return self.engine.dialect.name == "sqlite"

    @contextlib.contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction that sees one moment."""
        options = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
        with self.engine.execution_options(**options).begin() as db:
            yield db

    @contextlib.contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction that no other writer shares."""
        with self.engine.execution_options(writes=True).begin() as db:
            if not self.is_sqlite:
                db.exec_driver_sql(f"SET LOCAL lock_timeout = '{LOCK_WAIT_S}s'")
                db.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK_KEY})")
            yield db


def open_sqlite(path: Path) -> Database:
    """SQLite with a write-ahead log, synced to the disk at every commit."""
    engine = sa.create_engine(
        sa.URL.create("sqlite", database=str(path)),
        # One connection stays open: closing the last one writes the whole log back each time.
        pool_size=1,
        max_overflow=20,
        connect_args={"timeout": LOCK_WAIT_S},
    )
    sa.event.listen(engine, "connect", set_pragmas)
    sa.event.listen(engine, "begin", begin)
    return Database(engine, path.parent)


def open_server(url: str) -> Database:
    """A PostgreSQL server's database by its URL, such as postgresql://host/name."""
    shown = url
    try:
        parsed = sa.make_url(url)
        shown = parsed.render_as_string(hide_password=True)
        if parsed.get_backend_name() != "postgresql":
            raise ArchiveError(shown, "is of no kind known here: name a folder or postgresql://...")
        parsed = parsed.set(drivername="postgresql+psycopg")
        return Database(sa.create_engine(parsed, poolclass=NullPool), shown)
    except sa.exc.ArgumentError as error:
        raise ArchiveError(shown, "is no URL: write postgresql://user@host/name.") from error
    except ImportError as error:
        reason = "needs a driver: install Tallyglass with its part `postgresql`."
        raise ArchiveError(shown, reason) from error


def set_pragmas(connection: sqlite3.Connection, _record: object) -> None:
    """Durability first. Transactions begin only where ``begin`` says so."""
    connection.isolation_level = None
    write_ahead(connection)
    # secure_delete: what an erasure takes out is overwritten, not only forgotten.
    for pragma in ("synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
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
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > give_up:
                raise
            time.sleep(0.01)


def begin(db: sa.Connection) -> None:
    """A writer takes its lock at once, so that two writers queue instead of failing midway."""
    writes = db.get_execution_options().get("writes", False)
    db.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def prepare(database: Database) -> None:
    """Make the tables of a new archive, or bring an older one up to date; all or nothing."""
    with database.reading() as db:
        if revision_of(db) == HEAD:
            return
    with database.writing() as db:
        revision = revision_of(db)
        if revision is None:
            create(db)
        elif revision > HEAD:
            raise ArchiveError(
                database.where, "was made by a newer Tallyglass. Update the program first."
            )
        elif revision < HEAD:
            from desk.keeping.migrations import migrate

            migrate(db, revision)


def revision_of(db: sa.Connection) -> str | None:
    """The migration that an archive is at; None where there is no archive yet."""
    if db.dialect.name == "sqlite":
        version = db.exec_driver_sql("PRAGMA user_version").scalar_one()
        return f"{version:04}" if version else None
    if not sa.inspect(db).has_table("alembic_version"):
        return None
    return db.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()


def create(db: sa.Connection) -> None:
    """All tables and guards of a new archive."""
    METADATA.create_all(db)
    for guard in guards(db.dialect.name):
        db.exec_driver_sql(guard)
    db.exec_driver_sql("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL)")
    db.exec_driver_sql(f"INSERT INTO alembic_version VALUES ('{HEAD}')")
    note_version(db)


def note_version(db: sa.Connection) -> None:
    """Say it where the first version of the program looks, so that it leaves the archive alone."""
    if db.dialect.name == "sqlite":
        db.exec_driver_sql(f"PRAGMA user_version = {ARCHIVE_VERSION}")
