"""A backup while the archive is in use: one moment of it, as an archive folder of its own."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from desk.archive import Archive
from desk.keeping.errors import ArchiveError, errors_named
from desk.keeping.pack import export
from desk.keeping.store import FolderStore, table_file
from desk.keeping.unpack import import_zip
from desk.schema import BOARDS, GAMES


def backup(archive: Archive, out: Path) -> int:
    """Copy the archive into a new folder; returns how many games are in it.

    Others may go on saving; what they save meanwhile is in the next backup.
    """
    if out.exists() and any(out.iterdir()):
        raise ArchiveError(out, "is there already; name a new folder for the backup.")
    with errors_named(out):
        out.mkdir(parents=True, exist_ok=True)
        if archive.store.root == str(archive.where):
            copy_sqlite(archive, out)
        else:
            copy_from_afar(archive, out)
    return len(Archive(out).games())


def copy_sqlite(archive: Archive, out: Path) -> None:
    """The database by SQLite's own backup, then the files that the copy names."""
    source = str(archive.database.engine.url.database)
    unfinished = out / "archive.unfinished"
    try:
        with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(unfinished)) as new:
            old.backup(new)
            new.execute("PRAGMA journal_mode = DELETE").close()
        for name in named_files(unfinished):
            if archive.store.has(name):  # else it was erased since, or never kept
                FolderStore(out).put(name, archive.store.get(name))
        unfinished.rename(out / "archive.sqlite")
    except BaseException:
        shutil.rmtree(out)  # it was new, or empty: the next try shall find it so
        raise


def named_files(database: Path) -> list[str]:
    """The files that the games of a database name."""
    engine = sa.create_engine(f"sqlite:///{database}", poolclass=sa.NullPool)
    with engine.connect() as db:
        photos = db.execute(sa.select(BOARDS.c.photo_file).where(BOARDS.c.erased == "").distinct())
        tables = db.execute(sa.select(GAMES.c.table_sha256).distinct())
        return [*photos.scalars(), *(table_file(digest) for digest in tables.scalars())]


def copy_from_afar(archive: Archive, out: Path) -> None:
    """An archive whose records or files lie elsewhere, by way of an export."""
    with tempfile.TemporaryDirectory(dir=out.parent) as folder:
        packed = Path(folder) / "all.zip"
        export(archive, packed)
        import_zip(Archive(out), packed)
