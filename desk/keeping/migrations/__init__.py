"""Steps from each version of the archive's tables to the next, run by Alembic."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from desk.keeping.database import note_version
from desk.schema import HEAD


def migrate(db: sa.Connection, revision: str) -> None:
    """Bring the tables from ``revision`` to the newest, inside the caller's transaction."""
    scripts = ScriptDirectory(str(Path(__file__).parent))

    def steps(_heads: object, _context: MigrationContext) -> object:
        return scripts._upgrade_revs(HEAD, revision)

    with EnvironmentContext(Config(), scripts, fn=steps) as environment:
        environment.configure(connection=db, starting_rev=None)
        stamp_first(db, revision)
        environment.run_migrations()
    note_version(db)


def stamp_first(db: sa.Connection, revision: str) -> None:
    """Give a version-1 archive, which knew nothing of Alembic, the name of where it stands."""
    if not sa.inspect(db).has_table("alembic_version"):
        db.exec_driver_sql("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL)")
        db.exec_driver_sql(f"INSERT INTO alembic_version VALUES ('{revision}')")
