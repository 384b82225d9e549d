"""The data folder: photos as kept, readings, tables, game sheets. Nothing else knows its paths."""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from desk.durable import reserved, write_durably
from desk.metadata import strip_metadata
from desk.web.errors import no_such
from scoring.sheet import GameSheet, parse_sheet

NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,59}")
"""What a table or a sheet is called in an address: nothing in it can leave its folder."""

EMPTY_NOTE = ".empty.json"

DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Files:
    """One data folder."""

    folder: Path

    def keep_photo(self, data: bytes) -> str:
        """Store a photo without its personal data; returns the name it is stored under."""
        clean, _ = strip_metadata(data)
        digest = hashlib.sha256(clean).hexdigest()
        path = self.photo(digest)
        if not path.exists():
            write_durably(path, clean)
        return digest

    def photo(self, digest: str) -> Path:
        """Where a stored photo lies."""
        if not DIGEST.fullmatch(digest):
            raise no_such("photo")
        return self.folder / "photos" / digest[:2] / digest

    def reading(self, key: str) -> Path:
        """Where a reading's files lie, without their endings."""
        if not DIGEST.fullmatch(key):
            raise no_such("picture")
        return self.folder / "readings" / key

    def result(self, key: str) -> dict[str, Any] | None:
        """What was read, where it was read already."""
        try:
            return json.loads(self.reading(key).with_suffix(".json").read_bytes())
        except FileNotFoundError:
            return None

    def table(self, name: str) -> Path:
        """A table's file."""
        return self._named("tables", name, ".table", "table")

    def sheet(self, name: str) -> Path:
        """A game sheet's file."""
        return self._named("sheets", name, ".toml", "game sheet")

    def plan(self, sheet: str) -> str | None:
        """The layout plan that comes with a sheet, if any."""
        path = self.sheet(sheet).with_suffix(".layout.txt")
        return path.read_text("utf-8") if path.exists() else None

    def note_empty(self, sheet: Path, photo: str, corners_px: object, at: str) -> None:
        """Keep with a new sheet which photo of the empty board it was made from, and when."""
        note = {"photo": photo, "corners_px": corners_px, "at": at}
        write_durably(sheet.with_suffix(EMPTY_NOTE), json.dumps(note).encode())

    def empty_of(self, sheet: str) -> dict[str, Any] | None:
        """The photo of the empty board that a sheet was made from: ``photo``, ``corners_px`` in it,
        ``at``; None where there was none, or where it is gone."""
        path = self.sheet(sheet).with_suffix(EMPTY_NOTE)
        note = json.loads(path.read_bytes()) if path.exists() else None
        return note if note and self.photo(note["photo"]).exists() else None

    def plan_first(self, sheet: str) -> tuple[bool, str]:
        """Sorts sheets with a layout plan of their own before the others."""
        return self.plan(sheet) is None, sheet

    def _named(self, folder: str, name: str, suffix: str, what: str) -> Path:
        path = self.folder / folder / f"{name}{suffix}"
        if not NAME.fullmatch(name) or not is_whole(path):
            raise no_such(what)
        return path

    def reserve(self, folder: str, name: str, suffix: str) -> Path:
        """Take a name that no table or sheet has yet, for this caller alone."""
        return reserved(self.folder / folder, name, suffix)

    def learning(self, name: str) -> Path:
        """Where a table is written before it has a name of its own."""
        (self.folder / "tables").mkdir(parents=True, exist_ok=True)
        return self.folder / "tables" / f"{name}.learning"

    def names(self, folder: str, suffix: str) -> Iterator[str]:
        """Names of the tables or sheets there are, the latest first."""
        paths = filter(is_whole, (self.folder / folder).glob(f"*{suffix}"))
        for path in sorted(paths, key=lambda path: path.stat().st_mtime, reverse=True):
            yield path.name.removesuffix(suffix)

    def table_sheet(self, name: str) -> GameSheet:
        """The game sheet inside a table."""
        return sheet_in(self.table(name))


def is_whole(path: Path) -> bool:
    """Whether a file is there and more than a reserved name."""
    return path.is_file() and path.stat().st_size > 0


@lru_cache(maxsize=16)
def sheet_in(table: Path) -> GameSheet:
    """The game sheet inside a table's file, which never changes."""
    with zipfile.ZipFile(table) as parts:
        return parse_sheet(parts.read("sheet.toml").decode(), table.stem)


def reading_key(photo: str, table: str, shot: Any) -> str:
    """A name for the reading of this photo with this table, these corners, so many boards."""
    what = json.dumps([photo, table, shot.parts, [list(p) for p in shot.corners_px], 1])
    return hashlib.sha256(what.encode()).hexdigest()
