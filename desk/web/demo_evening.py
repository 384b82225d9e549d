"""What ``serve --demo`` shows: an invented game, snapped and claimed as if a host had just done it.

Its second game is one board in mid-game, for the teaching view.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from desk.archive import now_utc
from desk.demo import PRACTICE, known_things, photos_of
from desk.durable import write_whole
from desk.given import load_claims
from desk.say import working
from desk.types import now
from desk.web.files import Files
from desk.web.journal import Event, Journal

PRACTICE_TABLE = "penmarrow-practice"
NAME = "Demo: a café evening"
BY = "the demo"

Step = tuple[str, dict[str, Any]]
"""A kind of event, and its body."""


def furnish_demo(folder: Path) -> None:
    """A table, and an evening that nobody has touched yet: the latest, or a new one."""
    table = folder / "tables" / f"{PRACTICE_TABLE}.table"
    if not table.exists():
        learn_practice_table(table)
    steps = list(demo_steps(Files(folder)))
    journal = Journal(folder / "evenings.sqlite")
    latest = journal.logs("evening/")[:1]
    if not latest or journal.version(latest[0]) != len(steps):
        log = f"evening/{secrets.token_hex(5)}"
        for kind, body in steps:
            journal.add(log, Event(0, kind, body, BY, now(now_utc)))
    journal.close()


def demo_steps(files: Files) -> Iterator[Step]:
    """The evening so far, its photos put into the data folder."""
    claims = load_claims(PRACTICE / "claims.toml")
    players = list(claims.cards)
    yield "opened", {"name": NAME, "table": PRACTICE_TABLE, "players": players}
    for seat, photo in enumerate(photos_of(players).values()):
        yield snapped(files, 1, seat, photo)
    for seat, player in enumerate(players):
        cards = list(claims.cards[player])
        yield "claimed", {"game": 1, "seat": seat, "cards": cards, "facts": []}
    yield "next game", {}
    yield snapped(files, 2, 0, PRACTICE / "mid-game.jpg")


def snapped(files: Files, game: int, seat: int, photo: Path) -> Step:
    """A practice photo as one that came from a phone."""
    stored = files.keep_photo(photo.read_bytes())
    return "snapped", {"game": game, "seat": seat, "photo": stored, "name": photo.name}


def learn_practice_table(path: Path) -> None:
    """The invented game's table, learned from its practice photos."""
    from calibrate.store import table_bytes
    from desk.calibrating import learn_table

    with working("Learning the practice table"):
        write_whole(path, table_bytes(learn_table("penmarrow", known_things())))
