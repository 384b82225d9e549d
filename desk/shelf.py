"""The shelf of tables: a folder in which every calibration stays, by name and version.

A table's file is never changed once it lies here. A new calibration of a name is a new file, and
the older one a version that can be brought back; ``names.json`` holds the names of renamed tables.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import platformdirs

from calibrate.errors import TableError
from calibrate.store import load_table, table_bytes
from calibrate.types import Table
from desk.durable import reserved, write_durably, write_whole
from scoring.errors import TallyglassError

SUFFIX = ".table"
NAMES = "names.json"
LONGEST_NAME = 40


class ShelfError(TallyglassError):
    """Something asked of the shelf that it cannot do, and what can be done instead."""


@dataclass(frozen=True)
class Version:
    """One calibration on the shelf.

    ``number`` counts the versions of its name from 1; ``put_at`` is when it came here, UTC;
    ``sha256`` of the file; ``game`` is its sheet's name.
    """

    name: str
    number: int
    path: Path
    put_at: datetime
    sha256: str
    game: str

    @property
    def id(self) -> str:
        """What the file is called, without its ending: never changes."""
        return self.path.stem


def default_data_folder() -> Path:
    """Where evenings, sheets and tables lie if no folder is named."""
    return Path(platformdirs.user_data_dir("tallyglass", appauthor=False)) / "desk"


def table_file(words: Path) -> Path:
    """A table's file from what was typed: a path, or a table's name on the shelf."""
    if words.suffix == SUFFIX or words.exists() or len(words.parts) > 1:
        return words
    return Shelf(default_data_folder() / "tables").latest(str(words)).path


@dataclass(frozen=True)
class Shelf:
    """One folder of tables."""

    folder: Path

    def versions(self) -> list[Version]:
        """Every version of every table, the oldest first; damaged files are left out."""
        renamed = self._renamed()
        counts: dict[str, int] = {}
        found = []
        for path in self._files():
            try:
                seen = _looked_at(path, path.stat().st_mtime_ns)
            except TableError:
                continue
            name = renamed.get(path.stem, seen.name)
            counts[_key(name)] = counts.get(_key(name), 0) + 1
            found.append(replace(seen, name=name, number=counts[_key(name)]))
        return found

    def damaged(self) -> list[str]:
        """What is wrong with files that are no tables any more, a sentence each."""
        problems = []
        for path in self._files():
            try:
                _looked_at(path, path.stat().st_mtime_ns)
            except TableError as error:
                problems.append(str(error))
        return problems

    def tables(self) -> list[Version]:
        """The latest version of each table, the latest first."""
        latest: dict[str, Version] = {}
        for one in self.versions():
            latest.pop(_key(one.name), None)  # a name calibrated again comes to the end
            latest[_key(one.name)] = one
        return list(latest.values())[::-1]

    def history(self, name: str) -> list[Version]:
        """The versions of one table, the oldest first. Raises ShelfError where there is none."""
        versions = self.versions()
        found = [one for one in versions if _key(one.name) == _key(name)]
        if not found:
            known = ", ".join(sorted({one.name for one in versions})) or "none yet"
            raise ShelfError(f"{name}: there is no table of this name on the shelf ({known}).")
        return found

    def name_of(self, id: str) -> str:
        """The name of the table that a file belongs to, by the file's name without its ending."""
        found = [one.name for one in self.versions() if one.id == id]
        if not found:
            raise ShelfError(f"{id}: there is no such table on the shelf.")
        return found[0]

    def latest(self, name: str) -> Version:
        """The version of a table that is used."""
        return self.history(name)[-1]

    def table(self, name: str) -> Table:
        """The table that is used, under the name that it has here."""
        latest = self.latest(name)
        return replace(load_table(latest.path), name=latest.name)

    def put(self, table: Table) -> Version:
        """Add a table; one of its name becomes an older version."""
        name = checked_name(table.name)
        return self._put(table_bytes(replace(table, name=name)), name)

    def bring_back(self, name: str, number: int) -> Version:
        """Make an older version the latest again; those between stay."""
        history = self.history(name)
        if not 1 <= number <= len(history):
            raise ShelfError(f"{name}: has versions 1 to {len(history)}, not {number}.")
        if number == len(history):
            raise ShelfError(f"{name}: version {number} is the one that is used already.")
        return self._put(history[number - 1].path.read_bytes(), history[-1].name)

    def rename(self, old: str, new: str) -> list[Version]:
        """Give a table, with all its versions, another name."""
        history, new = self.history(old), checked_name(new)
        if _key(new) != _key(old) and any(_key(one.name) == _key(new) for one in self.versions()):
            raise ShelfError(f"{new}: another table has this name. Choose one of its own.")
        self._name({one.id: new for one in history})
        return self.history(new)

    def _put(self, data: bytes, name: str) -> Version:
        path = reserved(self.folder, name, SUFFIX)
        write_durably(path, data)
        if _key(_looked_at(path, path.stat().st_mtime_ns).name) != _key(name):
            self._name({path.stem: name})
        return next(one for one in self.versions() if one.path == path)

    def _name(self, names: dict[str, str]) -> None:
        text = json.dumps(self._renamed() | names, ensure_ascii=False, indent=1)
        write_whole(self.folder / NAMES, text.encode())

    def _files(self) -> list[Path]:
        """All files, in the order in which they came."""
        paths = [
            path
            for path in self.folder.glob(f"*{SUFFIX}")
            if path.is_file() and path.stat().st_size
        ]
        return sorted(paths, key=lambda path: (path.stat().st_mtime_ns, len(path.stem), path.stem))

    def _renamed(self) -> dict[str, str]:
        path = self.folder / NAMES
        try:
            names = json.loads(path.read_bytes())
        except FileNotFoundError:
            return {}
        except ValueError as error:
            raise ShelfError(
                f"{path}: is damaged. Move it away; tables then have their first names again."
            ) from error
        return {str(file): str(name) for file, name in dict(names).items()}


def checked_name(name: str) -> str:
    """A table's name that can be said and shown. Raises ShelfError for another."""
    name = " ".join(name.split())
    if not name or not name.isprintable() or len(name) > LONGEST_NAME:
        raise ShelfError(f"{name[:60]!r}: a table's name has 1 to {LONGEST_NAME} letters.")
    return name


def _key(name: str) -> str:
    """Two names are one if only their case or their spaces differ."""
    return " ".join(name.split()).casefold()


@lru_cache(maxsize=500)
def _looked_at(path: Path, changed_ns: int) -> Version:
    """A file's own name, game and hash; read again only where it changed."""
    table = load_table(path)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    put_at = datetime.fromtimestamp(changed_ns / 1e9, UTC)
    return Version(table.name, 0, path, put_at, digest, table.sheet.name)
