"""Import: another archive's ZIP is checked whole, then merged in one transaction.

Nothing in the ZIP is believed: names must be those that an export makes, sizes are limited before
anything is unpacked, every hash and seal is computed, every tally counted again. Nothing is ever
written under a name that a stranger chose.
"""

from __future__ import annotations

import json
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from pydantic import BaseModel, ConfigDict, ValidationError

from desk.archive import Archive, add_game
from desk.keeping.content import Content, ordered, seal_of
from desk.keeping.errors import errors_named
from desk.keeping.pack import ERASED, FORMAT, MANIFEST, SCORES_CSV, VERSION
from desk.keeping.store import FILE_NAME, is_whole
from desk.keeping.verify import tally_faults
from desk.metadata import PhotoFormatError, is_stripped
from desk.schema import ERASURES, GAMES
from desk.zips import is_packed_like_ours
from scoring.errors import TallyglassError
from scoring.given_file import check_ordinary
from scoring.limits import MOST_IMPORT_BYTES, MOST_OTHER_IMPORT_BYTES

GAME_NAME = re.compile(r"games/([0-9a-f]{64})\.json")


class ImportRefused(TallyglassError):
    """A ZIP that was not made by an export, or has been changed since; nothing was imported."""

    def __init__(self, path: Path, reason: str) -> None:
        self.path = path
        self.reason = reason
        super().__init__(f"{path}: {reason} Nothing was imported.")


@dataclass
class Imported:
    """What came of an import."""

    new: int = 0
    known: int = 0
    apart: tuple[int, ...] = ()


class Strict(BaseModel):
    """A form without unknown keys."""

    model_config = ConfigDict(extra="forbid", strict=True)


class BoardForm(Strict):
    """A board in the ZIP."""

    player: str
    photo_name: str
    photo_file: str
    metadata: str
    erased: str
    reading: dict[str, Any]
    grid: dict[str, str]


class AnswerForm(Strict):
    """An answer in the ZIP."""

    player: str
    cell: str
    colour: str
    by: str
    at: str


class GameForm(Strict):
    """A game in the ZIP."""

    uid: str
    nonce: str
    saved_at: str
    played_at: str
    evening: str
    league: str
    corrects: str
    reason: str
    sheet_name: str
    sheet_text: str
    table_name: str
    table_sha256: str
    claims: dict[str, dict[str, list[str]]]
    tally: dict[str, Any]
    versions: dict[str, str]
    boards: list[BoardForm]
    answers: list[AnswerForm]


class ErasureForm(Strict):
    """An erasure in the ZIP."""

    uid: str
    at: str
    by: str
    kind: str
    words: str
    games: list[str]
    photos: list[str]


def import_zip(archive: Archive, path: Path) -> Imported:
    """Merge a ZIP into the archive. Raises ImportRefused before anything is changed."""
    check_ordinary(path)
    try:
        with zipfile.ZipFile(path) as packed:
            names = checked_names(path, packed)
            erasures = checked_erasures(path, packed)
            games = checked_games(path, packed, names, {erasure["uid"] for erasure in erasures})
            check_files(path, packed, names, games)
            return merge(archive, path, packed, games, erasures)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        reason = "is no ZIP that can be read, or is damaged; ask for it again."
        raise ImportRefused(path, reason) from error


def checked_names(path: Path, packed: zipfile.ZipFile) -> list[str]:
    """All names, after a look at every part's name and size."""
    names = [info.filename for info in packed.infolist()]
    if len(set(names)) < len(names):
        raise ImportRefused(path, "has two parts of one name.")
    if MANIFEST not in names or ERASED not in names:
        raise ImportRefused(path, "is no archive that Tallyglass exported.")
    for info in packed.infolist():
        check_part(path, info)
    manifest = json_in(path, packed, MANIFEST)
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise ImportRefused(path, "is no archive that Tallyglass exported.")
    if manifest.get("version") != VERSION:
        raise ImportRefused(path, "was exported by another version; update both programs first.")
    if manifest.get("games") != sum(bool(GAME_NAME.fullmatch(name)) for name in names):
        raise ImportRefused(path, "has not the games that its manifest names.")
    return names


def check_part(path: Path, info: zipfile.ZipInfo) -> None:
    """Refuse a name that no export makes, and a part that would unpack to too much."""
    name = info.filename
    known = name in (MANIFEST, ERASED, SCORES_CSV)
    if not (known or GAME_NAME.fullmatch(name) or FILE_NAME.fullmatch(name)):
        raise ImportRefused(path, f"has a part {name!r} that no export makes.")
    if info.file_size > MOST_IMPORT_BYTES.get(name.partition("/")[0], MOST_OTHER_IMPORT_BYTES):
        raise ImportRefused(path, f"has a part {name!r} that unpacks to too much.")
    if not is_packed_like_ours(info):
        raise ImportRefused(path, f"has a part {name!r} packed too tightly to be ours.")


def json_in(path: Path, packed: zipfile.ZipFile, name: str) -> Any:
    """A part's JSON."""
    try:
        return json.loads(packed.read(name))
    except (ValueError, RecursionError) as error:
        raise ImportRefused(path, f"has a part {name!r} that is no JSON.") from error


def checked_erasures(path: Path, packed: zipfile.ZipFile) -> list[dict[str, Any]]:
    """The erasures that the other archive made."""
    listed = json_in(path, packed, ERASED)
    try:
        return [ErasureForm.model_validate(entry).model_dump() for entry in listed]
    except (ValidationError, TypeError) as error:
        raise ImportRefused(path, "has erasures of another form than ours.") from error


def checked_games(
    path: Path, packed: zipfile.ZipFile, names: list[str], erasures: set[str]
) -> dict[str, Content]:
    """Every game by its uid, in the order of the ZIP, with its identity and tally proven."""
    games = {}
    for name in names:
        if match := GAME_NAME.fullmatch(name):
            games[match[1]] = checked_game(path, name, json_in(path, packed, name), erasures)
    return games


def checked_game(path: Path, name: str, value: Any, erasures: set[str]) -> Content:
    """One game's content."""
    try:
        form = GameForm.model_validate(value).model_dump()
    except ValidationError as error:
        place = ".".join(map(str, error.errors()[0]["loc"]))
        raise ImportRefused(path, f"has a game {name!r} of another form ({place}).") from error
    content = ordered(value)
    uid = form["uid"]
    if uid not in name or (content["nonce"] and seal_of(content) != uid):
        raise ImportRefused(path, f"has a game {name!r} that was changed since it was saved.")
    if any(b["erased"] and b["erased"] not in erasures for b in content["boards"]):
        raise ImportRefused(path, f"has a game {name!r} with an erasure that nothing explains.")
    try:
        fault = next(tally_faults(content), None)
    except (KeyError, TypeError, AttributeError) as error:
        raise ImportRefused(path, f"has a game {name!r} with no tally of ours.") from error
    if fault:
        raise ImportRefused(path, f"has a game {name!r}: {fault}")
    return content


def check_files(
    path: Path, packed: zipfile.ZipFile, names: list[str], games: dict[str, Content]
) -> None:
    """Every file is what its name says, every photo is there and free of personal data."""
    boards = [board for game in games.values() for board in game["boards"] if not board["erased"]]
    kept_metadata = {b["photo_file"] for b in boards if b["metadata"] == "kept"}
    for name in names:
        if not FILE_NAME.fullmatch(name):
            continue
        data = packed.read(name)
        if not is_whole(name, data):
            raise ImportRefused(path, f"has a file {name!r} that is not what its name says.")
        if name.startswith("photos/") and name not in kept_metadata and not is_clean(data):
            raise ImportRefused(path, f"has a photo {name!r} with personal data left in it.")
    if missing := sorted({board["photo_file"] for board in boards} - set(names)):
        raise ImportRefused(path, f"lacks the photo {missing[0]!r}.")


def is_clean(data: bytes) -> bool:
    """Whether a photo carries no personal data, so far as it is a photo at all."""
    try:
        return is_stripped(data)
    except PhotoFormatError:
        return False


def merge(
    archive: Archive,
    path: Path,
    packed: zipfile.ZipFile,
    games: dict[str, Content],
    erasures: list[dict[str, Any]],
) -> Imported:
    """Add what this archive does not have: files first, then all games in one transaction."""
    with archive.reading() as db:
        known = seals_of(db, list(games))
    new = {uid: game for uid, game in games.items() if uid not in known}
    check_lines(path, new, set(known) | set(games))
    with errors_named(archive.where):
        for name in needed_files(new, set(packed.namelist())):
            archive.store.put(name, packed.read(name))
    with archive.writing() as db:
        for name in needed_files(new, set(packed.namelist())):
            if not archive.store.has(name):  # an erasure came between
                archive.store.put(name, packed.read(name))
        known = seals_of(db, list(games))
        for uid, game in new.items():
            if uid not in known:
                add_game(db, game, uid)
        add_erasures(db, erasures)
        apart = [number for uid, (number, seal) in known.items() if seal != seal_of(games[uid])]
    return Imported(len(set(new) - set(known)), len(known), tuple(sorted(apart)))


def seals_of(db: sa.Connection, uids: list[str]) -> dict[str, tuple[int, str]]:
    """Number and seal of those games that the archive has, by uid."""
    found: dict[str, tuple[int, str]] = {}
    for start in range(0, len(uids), 500):
        some = uids[start : start + 500]
        query = sa.select(GAMES.c.uid, GAMES.c.id, GAMES.c.seal).where(GAMES.c.uid.in_(some))
        found |= {uid: (number, seal) for uid, number, seal in db.execute(query)}
    return found


def check_lines(path: Path, new: dict[str, Content], known: set[str]) -> None:
    """A correction comes with what it corrects, and after it."""
    for uid, game in new.items():
        if game["corrects"] and game["corrects"] not in known:
            raise ImportRefused(path, f"has a correction {uid[:12]} of a game that it lacks.")
    seen: set[str] = known - set(new)
    for uid, game in new.items():
        if game["corrects"] and game["corrects"] not in seen:
            raise ImportRefused(path, f"has a correction {uid[:12]} before what it corrects.")
        seen.add(uid)


def needed_files(games: dict[str, Content], packed: set[str]) -> Iterator[str]:
    """The files of these games that the ZIP has."""
    yield from sorted(named_by(games) & packed)


def named_by(games: dict[str, Content]) -> set[str]:
    """Photos and tables that games name."""
    photos = {b["photo_file"] for g in games.values() for b in g["boards"] if not b["erased"]}
    digests = {game["table_sha256"] for game in games.values()}
    return photos | {f"tables/{digest[:2]}/{digest}.table" for digest in digests}


def add_erasures(db: sa.Connection, erasures: list[dict[str, Any]]) -> None:
    """Keep what the other archive says it took out."""
    known = set(db.execute(sa.select(ERASURES.c.uid)).scalars())
    number = db.execute(sa.select(sa.func.max(ERASURES.c.id))).scalar() or 0
    for erasure in erasures:
        if erasure["uid"] not in known:
            number += 1
            db.execute(sa.insert(ERASURES).values(id=number, **erasure))
