"""The only exception to append-only: taking out a person, or the photos of an evening.

It happens in one transaction that leaves an entry in ``erasures``; the changed games are sealed
anew, so that the archive still proves itself. Photo files go while no save is under way.
"""

from __future__ import annotations

import re
import secrets
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from desk.archive import Archive
from desk.keeping.content import Content, plain, seal_of
from desk.keeping.database import LOCK_WAIT_S
from desk.keeping.errors import ArchiveError, errors_named
from desk.keeping.rows import content_of, game_rows, insert_drawn
from desk.keeping.search import LAST, folded
from desk.keeping.standings import drop_all
from desk.schema import ANSWERS, BOARDS, ERASING, ERASURES, GAMES, SCORES, WORDS


class NothingKnown(ArchiveError):
    """The archive has nothing of what is to be erased."""


@dataclass(frozen=True)
class Erased:
    """What an erasure did."""

    games: int
    photos: int
    name: str = ""


def pseudonymise(archive: Archive, person: str, name: str, by: str) -> Erased:
    """Call a person by another name in every record; photos stay."""
    kind = "person given another name"
    return rename(archive, person, name, by, kind, photos=False)


def name_for_erased() -> str:
    """What an erased person is called from then on."""
    return f"erased {secrets.token_hex(3)}"


def erase_person(archive: Archive, person: str, by: str, name: str) -> Erased:
    """Take a person's name and photos out of every record; totals stay, so that games hold."""
    return rename(archive, person, name, by, "person erased", photos=True)


def rename(archive: Archive, person: str, name: str, by: str, kind: str, *, photos: bool) -> Erased:
    """Put one name for another, and take that player's photos away if asked."""
    with archive.writing() as db:
        games = {row["id"]: content_of(db, row) for row in game_rows(db, ids_with(db, person))}
        games = {number: game for number, game in games.items() if is_named(game, person)}
        if not any(person in names_in(game) for game in games.values()):
            raise NothingKnown(archive.where, f"knows nobody called {person}. Nothing was changed.")
        if any(is_named(game, name) for game in games.values()):
            reason = f"has a {name} in the same games. Choose another name; nothing was changed."
            raise ArchiveError(archive.where, reason)
        gone = {
            board["photo_file"]
            for game in games.values()
            for board in game["boards"]
            if photos and board["player"] == person
        }
        changed = {n: renamed(game, person, name) for n, game in games.items()}
        finish(db, changed, gone, entry(archive, by, kind, name))
    forget(archive)
    return Erased(len(games), len(gone), name)


def erase_photos(archive: Archive, evening: str, by: str) -> Erased:
    """Take the photos of an evening away; what was read of them stays."""
    with archive.writing() as db:
        query = sa.select(GAMES.c.id).where(GAMES.c.evening == evening)
        rows = game_rows(db, db.execute(query).scalars())
        games = {row["id"]: content_of(db, row) for row in rows}
        gone = {b["photo_file"] for g in games.values() for b in g["boards"] if not b["erased"]}
        if not gone:
            reason = f"has no photos of an evening {evening!r}. Nothing was changed."
            raise NothingKnown(archive.where, reason)
        finish(db, games, gone, entry(archive, by, "photos of an evening", evening))
    forget(archive)
    return Erased(len(games), len(gone))


def ids_with(db: sa.Connection, person: str) -> list[int]:
    """Games in whose rows a name may stand: by its words, and by who corrected or answered."""
    words = re.findall(r"\w+", folded(person))
    query = sa.select(GAMES.c.id).order_by(GAMES.c.id)
    if words:
        first = words[0]
        inside = sa.select(WORDS.c.game_id).where(
            sa.or_(
                sa.and_(WORDS.c.word >= first, WORDS.c.word <= f"{first}{LAST}"),
                WORDS.c.word == f"player:{folded(person)}",
            )
        )
        query = query.where(GAMES.c.id.in_(inside))
    return list(db.execute(query).scalars())


def is_named(game: Content, person: str) -> bool:
    """Whether a person played, answered or is spoken of in a game."""
    labels = " ".join((game["reason"], game["evening"], game["league"]))
    return person in names_in(game) or replaced(labels, person, "") != labels


def names_in(game: Content) -> set[str]:
    """Everybody who played or answered."""
    players = {board["player"] for board in game["boards"]}
    return players | {answer[key] for answer in game["answers"] for key in ("by", "player")}


def replaced(text: str, person: str, name: str) -> str:
    """Text with a name put for another, where it stands as a word of its own."""
    return re.sub(rf"(?<!\w){re.escape(person)}(?!\w)", lambda _: name, text)


def renamed(game: Content, person: str, name: str) -> Content:
    """A game in which a person is called otherwise, everywhere that names can stand."""
    game = plain(game)
    for board in game["boards"]:
        if board["player"] == person:
            board["player"] = name
            board["photo_name"] = ""  # often the person's name
            board["reading"] = {**board["reading"], "photo": ""}
    rename_in(game["answers"], ("player", "by"), person, name)
    for kind, by_player in game["claims"].items():
        game["claims"][kind] = {name if p == person else p: c for p, c in by_player.items()}
    tally = game["tally"]
    tally["winners"] = [name if winner == person else winner for winner in tally["winners"]]
    for key in ("players", "problems", "unsure", "answers"):
        rename_in(tally.get(key, []), ("player", "by"), person, name)
    for problem in tally.get("problems", []):
        problem["words"] = replaced(problem["words"], person, name)
    tally["tie_break"] = replaced(tally.get("tie_break", ""), person, name)
    for key in ("reason", "evening", "league"):
        game[key] = replaced(game[key], person, name)
    game["nonce"] = ""  # with it, the identity of the old content could be found by guessing names
    return game


def rename_in(
    entries: Iterable[dict[str, Any]], keys: Iterable[str], person: str, name: str
) -> None:
    """Change a name under some keys of each entry."""
    for item in entries:
        for key in keys:
            if item.get(key) == person:
                item[key] = name


def entry(archive: Archive, by: str, kind: str, words: str) -> dict[str, Any]:
    """The entry that an erasure leaves."""
    at = archive.clock().isoformat(timespec="seconds")
    return {"uid": secrets.token_hex(32), "at": at, "by": by, "kind": kind, "words": words}


def finish(
    db: sa.Connection,
    games: dict[int, Content],
    photos: set[str],
    made: dict[str, Any],
) -> None:
    """Leave the entry, change the games, take away photos that no other game needs."""
    uids = sa.select(GAMES.c.uid).where(GAMES.c.id.in_(list(games))).order_by(GAMES.c.uid)
    number = (db.execute(sa.select(sa.func.max(ERASURES.c.id))).scalar() or 0) + 1
    listed = {"games": list(db.execute(uids).scalars()), "photos": sorted(photos)}
    db.execute(sa.insert(ERASURES).values(id=number, **made, **listed))
    db.execute(sa.insert(ERASING).values(erasure_id=number, never=number))
    for game_id, content in games.items():
        for board in content["boards"]:
            if board["photo_file"] in photos and not board["erased"]:
                board["erased"] = made["uid"]
                content["nonce"] = ""
        overwrite(db, game_id, content)
    db.execute(sa.delete(ERASING))
    drop_all(db)


def overwrite(db: sa.Connection, game_id: int, content: Content) -> None:
    """Change a game's rows, seal them anew, and draw its words and scores again."""
    row = {key: content[key] for key in content if key in GAMES.c}
    here = GAMES.c.id == game_id
    db.execute(sa.update(GAMES).where(here).values(**row, seal=seal_of(content)))
    for table, name, key in ((BOARDS, "seat", "boards"), (ANSWERS, "number", "answers")):
        for number, part in enumerate(content[key]):
            where = sa.and_(table.c.game_id == game_id, table.c[name] == number)
            db.execute(sa.update(table).where(where).values(**part))
    for table in (SCORES, WORDS):
        db.execute(sa.delete(table).where(table.c.game_id == game_id))
    insert_drawn(db, game_id, content)


def forget(archive: Archive) -> None:
    """Take erased photos away and leave no trace of old pages.

    A kill before this leaves files that ``verify`` names and ``tidy`` takes away.
    """
    with archive.writing() as db:
        listed = db.execute(sa.select(ERASURES.c.photos)).scalars()
        names = {name for names in listed for name in names}
        needed = sa.select(BOARDS.c.photo_file).where(BOARDS.c.erased == "")
        for name in names - set(db.execute(needed).scalars()):
            archive.store.remove(name)
    if archive.database.is_sqlite:
        path = str(archive.database.engine.url.database)
        with errors_named(archive.where), closing(sqlite3.connect(path, LOCK_WAIT_S)) as file:
            for command in ("VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"):
                file.execute(command).close()
