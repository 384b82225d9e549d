"""Between contents and rows: the only place that writes a game into the database or reads it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import sqlalchemy as sa

from desk.keeping.content import Content, is_settled, ordered, scores_of, seal_of
from desk.keeping.search import OPEN, words_of
from desk.schema import ANSWERS, BOARDS, GAMES, SCORES, WORDS


def insert_content(
    db: sa.Connection, content: Content, uid: str | None = None, seal: str | None = None
) -> int:
    """Add one game; returns its number. ``uid`` and ``seal`` are given where they are known."""
    content = ordered(content)
    seal = seal or seal_of(content)
    uid = uid or seal
    game_id = next_number(db)
    root, revision = line_of(db, uid, content["corrects"])
    row = {key: value for key, value in content.items() if key in GAMES.c}
    own = {"id": game_id, "uid": uid, "seal": seal, "root": root, "revision": revision}
    db.execute(sa.insert(GAMES).values(**row, **own))
    insert_parts(db, game_id, content)
    insert_drawn(db, game_id, content)
    return game_id


def next_number(db: sa.Connection) -> int:
    """The next game's number; without gaps, so that one taken out by force is missed."""
    return (db.execute(sa.select(sa.func.max(GAMES.c.id))).scalar() or 0) + 1


def line_of(db: sa.Connection, uid: str, corrects: str) -> tuple[str, int]:
    """The first entry of a line of corrections, and how far along it an entry is."""
    if not corrects:
        return uid, 1
    query = sa.select(GAMES.c.root, GAMES.c.revision).where(GAMES.c.uid == corrects)
    root, revision = db.execute(query).one()
    return root, revision + 1


def insert_parts(db: sa.Connection, game_id: int, content: Content) -> None:
    """Boards and answers."""
    for table, name, key in ((BOARDS, "seat", "boards"), (ANSWERS, "number", "answers")):
        rows = [{"game_id": game_id, name: n, **part} for n, part in enumerate(content[key])]
        if rows:
            db.execute(sa.insert(table), rows)


def insert_drawn(db: sa.Connection, game_id: int, content: Content) -> None:
    """Scores and words."""
    scores = [
        {"game_id": game_id, "seat": seat, "player": player, "total": total, "won": won}
        for seat, (player, total, won) in enumerate(scores_of(content["tally"]))
    ]
    if scores:
        db.execute(sa.insert(SCORES), scores)
    words = [{"word": word, "game_id": game_id} for word in sorted(words_of(content))]
    db.execute(sa.insert(WORDS), words)


def rows_of(db: sa.Connection, table: sa.Table, game_id: int) -> list[dict[str, Any]]:
    """The boards, answers or scores of one game, in the order they were saved."""
    query = sa.select(table).where(table.c.game_id == game_id).order_by(*table.primary_key)
    return [dict(row) for row in db.execute(query).mappings()]


def content_of(db: sa.Connection, row: Mapping[str, Any]) -> Content:
    """The content of the game in a row of ``games``."""
    parts = {"boards": rows_of(db, BOARDS, row["id"]), "answers": rows_of(db, ANSWERS, row["id"])}
    return ordered({**row, **parts})


def game_rows(
    db: sa.Connection, ids: Iterable[int] | None = None, order: Iterable[Any] = ()
) -> Iterator[dict[str, Any]]:
    """Rows of ``games``, all or some, a few at a time so that any number fits into memory."""
    order = tuple(order) or (GAMES.c.id,)
    query = sa.select(GAMES.c.id).order_by(*order)
    wanted = list(ids) if ids is not None else list(db.execute(query).scalars())
    for start in range(0, len(wanted), 200):
        some = wanted[start : start + 200]
        rows = db.execute(sa.select(GAMES).where(GAMES.c.id.in_(some))).mappings()
        by_id = {row["id"]: dict(row) for row in rows}
        yield from (by_id[number] for number in some if number in by_id)


def complete_old_games(db: sa.Connection) -> None:
    """Give games of the first version what it did not keep: identity, seal, words, scores.

    The number stands in for the nonce, so that two copies of one old archive agree.
    """
    for row in game_rows(db):
        old = {"nonce": f"1:{row['id']}", "played_at": row["saved_at"]}
        old["evening"] = row["saved_at"][:10]
        content = content_of(db, {**row, **old})
        seal = seal_of(content)
        made = {**old, "uid": seal, "seal": seal, "root": seal, "revision": 1}
        db.execute(sa.update(GAMES).where(GAMES.c.id == row["id"]).values(**made))
        insert_drawn(db, row["id"], content)


def draw_open_games(db: sa.Connection) -> None:
    """Say of games that version 2 kept with doubts that matter that nobody has won them yet."""
    said = set(db.execute(sa.select(WORDS.c.game_id).where(WORDS.c.word == OPEN)).scalars())
    for row in game_rows(db):
        if row["id"] in said or is_settled(row["tally"]):
            continue
        db.execute(sa.insert(WORDS).values(word=OPEN, game_id=row["id"]))
        db.execute(sa.update(SCORES).where(SCORES.c.game_id == row["id"]).values(won=False))
