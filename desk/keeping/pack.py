"""Export: an archive as one ZIP of open formats. The same records give the same bytes.

``manifest.json`` says what is inside; ``games/<uid>.json`` holds everything of one game,
``scores.csv`` a line for each player of each game, ``erasures.json`` what was taken out, and
``photos/`` and ``tables/`` the files as they are kept.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from desk.archive import Archive
from desk.durable import whole_file
from desk.export import harmless
from desk.keeping.content import Content, is_settled, scores_of
from desk.keeping.rows import content_of, game_rows
from desk.keeping.search import ANYTHING, Wanted, found, is_current
from desk.keeping.store import table_file
from desk.schema import ERASURES, GAMES

FORMAT = "tallyglass-archive"
VERSION = 2
MANIFEST = "manifest.json"
ERASED = "erasures.json"
SCORES_CSV = "scores.csv"
START = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a ZIP can name; no file in it says when it was made."""

CSV_HEAD = (
    "game",
    "played_at",
    "sheet",
    "evening",
    "league",
    "counts",
    "settled",
    "player",
    "total",
    "won",
    "photo",
)


def export(archive: Archive, path: Path, wanted: Wanted = ANYTHING) -> int:
    """Write the ZIP, whole or not at all; returns how many games are in it."""
    with whole_file(path) as file, zipfile.ZipFile(file, "w") as out, archive.reading() as db:
        return fill(archive, db, out, wanted)


def fill(archive: Archive, db: sa.Connection, out: zipfile.ZipFile, wanted: Wanted) -> int:
    """Add all parts, in an order that hangs on the records alone."""
    ids = found(db, wanted, limit=None, before=None, every=True)
    lines: list[list[Any]] = []
    files: set[str] = set()
    count = 0
    for row in game_rows(db, by_uid(db, ids)):
        content = content_of(db, row)
        add_json(out, f"games/{row['uid']}.json", {"uid": row["uid"], **content})
        lines += csv_lines(row["uid"], content, counts=is_counted(db, row["id"]))
        files |= {board["photo_file"] for board in content["boards"] if not board["erased"]}
        files.add(table_file(content["table_sha256"]))
        count += 1
    kept = sorted(name for name in files if archive.store.has(name))
    for name in kept:
        add(out, name, archive.store.get(name), zipfile.ZIP_STORED)
    add(out, SCORES_CSV, csv_bytes(lines))
    add_json(out, ERASED, erasures(db))
    made = {"format": FORMAT, "version": VERSION, "games": count, "files": len(kept)}
    add_json(out, MANIFEST, made)
    return count


def by_uid(db: sa.Connection, ids: list[int]) -> list[int]:
    """Numbers in an order that is the same in every archive: of play, then of identity."""
    wanted = set(ids)
    order = (GAMES.c.played_at, GAMES.c.revision, GAMES.c.uid)
    return [n for n in db.execute(sa.select(GAMES.c.id).order_by(*order)).scalars() if n in wanted]


def is_counted(db: sa.Connection, game_id: int) -> bool:
    """Whether no correction takes a game's place."""
    query = sa.select(GAMES.c.id).where(GAMES.c.id == game_id, is_current(GAMES))
    return db.execute(query).first() is not None


def erasures(db: sa.Connection) -> list[dict[str, Any]]:
    """What was taken out, without this archive's own numbers."""
    rows = db.execute(sa.select(ERASURES).order_by(ERASURES.c.at, ERASURES.c.uid)).mappings()
    return [{key: value for key, value in row.items() if key != "id"} for row in rows]


def csv_lines(uid: str, content: Content, *, counts: bool) -> Iterator[list[Any]]:
    """One line a player."""
    photos = {board["player"]: board["photo_file"] for board in content["boards"]}
    game = [uid, content["played_at"], content["sheet_name"], content["evening"], content["league"]]
    for player, total, won in scores_of(content["tally"]):
        settled = int(is_settled(content["tally"]))
        line = [*game, int(counts), settled, player, total, int(won), photos.get(player, "")]
        yield [harmless(value) if isinstance(value, str) else value for value in line]


def csv_bytes(lines: list[list[Any]]) -> bytes:
    """A spreadsheet of all totals."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(CSV_HEAD)
    writer.writerows(lines)
    return text.getvalue().encode()


def export_csv(archive: Archive, path: Path, wanted: Wanted) -> int:
    """Write the totals of the wanted games for a spreadsheet; returns the number of games."""
    lines: list[list[Any]] = []
    with archive.reading() as db:
        ids = by_uid(db, found(db, wanted, limit=None, before=None, every=True))
        for row in game_rows(db, ids):
            counts = is_counted(db, row["id"])
            lines += csv_lines(row["uid"], content_of(db, row), counts=counts)
    with whole_file(path) as file:
        file.write(csv_bytes(lines))
    return len(ids)


def add_json(out: zipfile.ZipFile, name: str, value: Any) -> None:
    """Add a value as JSON that people can read."""
    add(out, name, (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode())


def add(out: zipfile.ZipFile, name: str, data: bytes, method: int = zipfile.ZIP_DEFLATED) -> None:
    """Add a part without a clock, an owner or a system in it."""
    info = zipfile.ZipInfo(name, START)
    info.create_system = 3
    info.external_attr = 0o644 << 16
    info.compress_type = method
    out.writestr(info, data, compresslevel=6)
