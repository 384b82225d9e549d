"""A table learns from a kept game at the desk, for the games that follow; and forgets it again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calibrate.store import load_table
from desk.shelf import Shelf
from tests.desk.web.conftest import PLAYERS, TABLE, all_read, settled, snap
from tests.desk.web.test_evening import answer, truth_of


def shelf_of(client: TestClient) -> Shelf:
    return Shelf(Path(client.app.app.state.office.files.folder) / "tables")


@pytest.fixture
def attic(client: TestClient) -> str:
    """A table of each test's own."""
    shelf = shelf_of(client)
    practice = load_table(shelf.folder / f"{TABLE}.table")
    name = f"Attic {len(shelf.versions())}"
    return shelf.put(replace(practice, name=name)).id


@pytest.fixture
def kept(client: TestClient, attic: str) -> str:
    """An evening whose first game is settled by true answers and kept."""
    form = {"name": "Thursday", "table": attic, "players": list(PLAYERS)}
    evening = f"/api/evenings/{client.post('/api/evenings', json=form).json()['id']}"
    for seat in range(len(PLAYERS)):
        assert snap(client, evening, seat).status_code == 200
    while questions := settled(client, evening, all_read)["games"][0]["view"]["questions"]:
        first = questions[0]
        colour = truth_of(first["player"])[first["cell"]]
        answer(client, evening, first["seat"], first["cell"], colour)
    assert client.post(f"{evening}/games/1/keep", json={"by": "Ana"}).status_code == 200
    return evening


def lesson(client: TestClient, evening: str, *, learn: bool, game: int = 1):
    form = {"learn": learn, "by": "Ana"}
    return client.put(f"{evening}/games/{game}/lesson", json=form)


def test_a_table_learns_from_a_kept_game_once_and_forgets_it(
    client: TestClient, kept: str, attic: str
) -> None:
    shelf = shelf_of(client)
    name = shelf.name_of(attic)
    before = len(shelf.history(name))
    first = lesson(client, kept, learn=True)
    assert (first.status_code, first.json()) == (200, {"words": []})
    assert lesson(client, kept, learn=True).json() == {"words": []}
    assert client.get(kept).json()["games"][0]["learned"] is True
    history = shelf.history(name)
    assert len(history) == before + 1, "a second tap learns nothing more"
    taught = shelf.table(name)
    assert len(taught.lessons) == 3
    number = client.get(kept).json()["games"][0]["kept"]
    assert {one.game for one in taught.lessons} == {f"game {number}"}

    assert lesson(client, kept, learn=False).status_code == 200
    assert client.get(kept).json()["games"][0]["learned"] is False
    assert shelf.table(name).lessons == ()


def test_a_table_that_was_learned_anew_meanwhile_is_not_taught(
    client: TestClient, kept: str, attic: str
) -> None:
    shelf = shelf_of(client)
    known = shelf.table(shelf.name_of(attic))
    brighter = replace(known.palette, exposure=known.palette.exposure * 1.1)
    shelf.put(replace(known, palette=brighter))
    refused = lesson(client, kept, learn=True)
    assert refused.status_code == 409
    assert "learned anew" in refused.json()["problem"]


def test_the_games_that_follow_are_weighed_by_the_taught_table(
    client: TestClient, kept: str, attic: str
) -> None:
    """The kept game stays as it was, and the same boards snapped again leave no more doubts."""
    before = settled(client, kept, all_read)["games"][0]
    lesson(client, kept, learn=True)
    client.post(f"{kept}/games", json={"by": "Ana"})
    office = client.app.app.state.office
    evening = office.evening(kept.rpartition("/")[2])
    assert evening.table_for(1) == evening.table == attic
    shelf = shelf_of(client)
    assert evening.table_for(2) == shelf.latest(shelf.name_of(attic)).id
    after = settled(client, kept, lambda state: state["games"][0]["fresh"])["games"][0]
    assert after["as_kept"]
    assert after["view"] == before["view"]


def test_a_game_that_is_open_or_not_kept_teaches_nothing(client: TestClient, evening: str) -> None:
    snap(client, evening, 0)
    settled(client, evening, all_read)
    refused = lesson(client, evening, learn=True)
    assert refused.status_code == 409
    assert "Keep the game first" in refused.json()["problem"]
    assert lesson(client, evening, learn=False).json() == {"words": []}, (
        "there is nothing to forget"
    )
    assert lesson(client, evening, learn=True, game=9).status_code == 404
