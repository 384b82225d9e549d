"""Search: every game stands in one index under its words and its marked words (``player:ana``).

A condition is a range of words, so that exact words, beginnings and spans of days are one thing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from desk.keeping.content import is_settled
from desk.schema import GAMES, WORDS

LAST = "\U0010ffff"
"""Sorts after every letter."""

COUNTED = 5_000
"""Games up to which the rarest condition is looked for; more is plenty (chosen by hand)."""


@dataclass(frozen=True)
class Wanted:
    """What games are looked for; empty fields ask for nothing.

    ``text`` are words that must all occur; one that ends in ``*`` is a beginning. ``date`` is a
    day, month or year of play as 2026-11-25, 2026-11 or 2026, as are ``since`` and ``until``.
    """

    text: str = ""
    player: str = ""
    game: str = ""
    card: str = ""
    evening: str = ""
    league: str = ""
    date: str = ""
    since: str = ""
    until: str = ""


OPEN = "state:open"
"""The marked word of games that were kept with doubts that matter."""

ANYTHING = Wanted()
"""Every game."""

Span = tuple[str, str]
"""First and last word of a range; the last is part of it."""


def words_of(content: Mapping[str, Any]) -> set[str]:
    """All words under which a game is found."""
    marked = {
        "game": [content["sheet_name"]],
        "evening": [content["evening"]],
        "league": [content["league"]],
        "player": [board["player"] for board in content["boards"]],
        "card": cards_of(content),
        "date": [content["played_at"][:10]],
    }
    texts = [text for mark, texts in marked.items() if mark != "date" for text in texts]
    texts += [content["table_name"], content["reason"]]
    texts += [answer["by"] for answer in content["answers"]]
    found = {f"{mark}:{folded(text)}" for mark, texts in marked.items() for text in texts if text}
    found |= set() if is_settled(content["tally"]) else {OPEN}
    return found | {word for text in texts for word in words_in(text)}


def cards_of(content: Mapping[str, Any]) -> list[str]:
    """Cards that were claimed, and the labels of the tally's lines."""
    claimed = content["claims"].get("cards", {})
    names = [name for cards in claimed.values() for name in cards]
    lines = [line for player in content["tally"]["players"] for line in player.get("lines", [])]
    return [*names, *(str(line["label"]) for line in lines)]


def folded(text: str) -> str:
    """Text without the differences that nobody searches by: case, width, outer spaces."""
    return unicodedata.normalize("NFKC", text).casefold().strip()[:200]


def words_in(text: str) -> list[str]:
    """The words of a text."""
    return re.findall(r"\w+", folded(text))


def spans_of(wanted: Wanted) -> list[Span]:
    """The ranges that must all be hit."""
    spans = list(text_spans(wanted.text))
    for mark in ("player", "game", "card", "evening", "league"):
        if text := getattr(wanted, mark):
            spans.append((f"{mark}:{folded(text)}",) * 2)
    if wanted.date:
        spans.append((f"date:{wanted.date}", f"date:{wanted.date}{LAST}"))
    if wanted.since or wanted.until:
        until = f"date:{wanted.until}{LAST}" if wanted.until else f"date:{LAST}"
        spans.append((f"date:{wanted.since}", until))
    return spans


def text_spans(text: str) -> Iterator[Span]:
    """A range for each word of free text."""
    for part in text.split():
        words = words_in(part)
        for number, word in enumerate(words):
            begins = part.endswith("*") and number == len(words) - 1
            yield word, f"{word}{LAST}" if begins else word


def within(span: Span, table: Any = WORDS) -> sa.ColumnElement[bool]:
    """The condition that a word lies in a range; an exact word is an exact condition."""
    first, last = span
    word = table.c.word
    return word == first if first == last else sa.and_(word >= first, word <= last)


def found(
    db: sa.Connection, wanted: Wanted, *, limit: int | None, before: int | None, every: bool
) -> list[int]:
    """Numbers of the games that are wanted, the latest first.

    ``before`` asks for games with smaller numbers only; ``every`` for entries since corrected too.
    """
    games = GAMES.alias("g")
    query = sa.select(games.c.id).order_by(games.c.id.desc()).limit(limit)
    if before is not None:
        query = query.where(games.c.id < before)
    if not every:
        query = query.where(is_current(games))
    spans = spans_of(wanted)
    if not spans:
        return list(db.execute(query).scalars())
    spans.sort(key=lambda span: frequency(db, span))
    rarest, others = spans[0], spans[1:]
    leading = WORDS.alias("lead")
    number = games.c.id
    if rarest[0] == rarest[1]:  # then (word, game) is unique, and lies in the order of games
        query = query.order_by(None).order_by(leading.c.game_id.desc())
        query = query.join(leading, leading.c.game_id == games.c.id).where(within(rarest, leading))
        number = leading.c.game_id  # the other words are then looked up before any game is
    else:
        query = query.where(games.c.id.in_(sa.select(WORDS.c.game_id).where(within(rarest))))
    for span in others:
        other = WORDS.alias()
        hit = sa.select(sa.literal(1)).where(other.c.game_id == number, within(span, other))
        query = query.where(hit.exists())
    return list(db.execute(query).scalars())


def frequency(db: sa.Connection, span: Span) -> int:
    """How many entries a range has, counted no further than ``COUNTED``."""
    some = sa.select(sa.literal(1)).where(within(span)).limit(COUNTED).subquery()
    return db.execute(sa.select(sa.func.count()).select_from(some)).scalar_one()


def is_current(games: Any = GAMES) -> sa.ColumnElement[bool]:
    """That nothing corrects this entry; of two corrections of one, the later counts."""
    later = GAMES.alias()
    after = sa.or_(
        later.c.revision > games.c.revision,
        sa.and_(
            later.c.revision == games.c.revision,
            sa.or_(
                later.c.saved_at > games.c.saved_at,
                sa.and_(later.c.saved_at == games.c.saved_at, later.c.uid > games.c.uid),
            ),
        ),
    )
    return ~sa.select(sa.literal(1)).where(later.c.root == games.c.root, after).exists()


def is_open(games: Any = GAMES) -> sa.ColumnElement[bool]:
    """That this entry was kept with doubts that matter: it counts for nobody."""
    said = sa.select(sa.literal(1)).where(WORDS.c.word == OPEN, WORDS.c.game_id == games.c.id)
    return said.exists()


def missing_words(kept: Iterable[str], content: Mapping[str, Any]) -> set[str]:
    """Words by which a game ought to be found, or is found wrongly."""
    return set(kept) ^ words_of(content)
