"""What is acknowledged stays: the journal, and a server killed in the middle of an evening."""

from __future__ import annotations

import threading
from pathlib import Path

import httpx

from desk.web.evening import fold
from desk.web.journal import Event, Journal
from tests.desk.web.conftest import TABLE, furnished, photo_of
from tests.desk.web.served import served

HEADERS = {"X-Tallyglass": "1"}


def event(kind: str, **body: object) -> Event:
    return Event(0, kind, body, "Ana", "2026-11-25T20:00:00+00:00")


def opened() -> Event:
    return event("opened", name="Thursday", table="t", players=["Ana", "Ben"])


def test_events_come_back_in_order_with_versions(tmp_path: Path):
    journal = Journal(tmp_path / "j.sqlite")
    assert journal.add("evening/a", opened()) == 1
    assert journal.add("evening/a", event("next game")) == 2
    journal.close()

    again = Journal(tmp_path / "j.sqlite")
    assert [e.kind for e in again.events("evening/a")] == ["opened", "next game"]
    assert again.logs("evening/") == ["evening/a"]
    assert len(fold("a", again.events("evening/a")).rounds) == 2
    again.close()


def test_an_event_sent_twice_counts_once(tmp_path: Path):
    journal = Journal(tmp_path / "j.sqlite")
    first = journal.add("evening/a", opened(), "begin-1")
    journal.add("evening/a", event("next game"))

    assert journal.add("evening/a", opened(), "begin-1") == first
    assert journal.version("evening/a") == 2
    journal.close()


def test_two_writers_at_once_lose_nothing(tmp_path: Path):
    journals = [Journal(tmp_path / "j.sqlite") for _ in range(2)]

    def write(journal: Journal) -> None:
        for _ in range(20):
            journal.add("evening/a", event("next game"))

    threads = [threading.Thread(target=write, args=[journal]) for journal in journals]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert [e.version for e in journals[0].events("evening/a")] == list(range(1, 41))
    for journal in journals:
        journal.close()


def shot(photo: str, seat: int | None = 0) -> Event:
    return event("snapped", game=1, seat=seat, photo=photo, name="a.jpg")


def answer(colour: str, seat: int = 0) -> Event:
    return event("answered", game=1, seat=seat, cell="A1", colour=colour)


def test_the_last_answer_of_a_cell_counts_and_can_be_taken_back():
    events = [opened(), shot("p"), answer("moss"), answer("slate")]
    assert [a.colour for _, a in fold("a", events).rounds[0].answers] == ["slate"]
    assert fold("a", [*events, answer("")]).rounds[0].answers == ()


def test_one_photo_of_all_boards_goes_to_the_seats_in_order():
    shots = fold("a", [opened(), shot("p", None)]).rounds[0].shots

    assert {seat: (one.part, one.parts) for seat, one in shots.items()} == {0: (0, 2), 1: (1, 2)}


def test_swapped_photos_take_their_answers_along():
    events = [opened(), shot("p"), answer("moss"), event("swapped", game=1, seats=[0, 1])]
    game = fold("a", events).rounds[0]

    assert list(game.shots) == [1]
    assert [(seat, a.player) for seat, a in game.answers] == [(1, "Ben")]


def test_a_killed_server_has_kept_all_it_acknowledged(tmp_path: Path, table: Path):
    """The photo whose reading was cut short is read by the next server, unasked."""
    data = furnished(tmp_path / "data", table)
    form = {"name": "Thursday", "table": TABLE, "players": ["Isla", "Joss"]}
    with served(data, tmp_path / "archive") as desk:
        with httpx.Client(base_url=desk.address, headers=HEADERS, timeout=60) as phone:
            path = f"/api/evenings/{phone.post('/api/evenings', json=form).json()['id']}"
            phone.put(f"{path}/games/1/claims/0", json={"cards": ["Gull Walk"]})
            photo = phone.put(
                f"{path}/games/1/boards/0/photo?upload=kill-test-1", content=photo_of("Isla")
            )
            assert photo.status_code == 200
        desk.kill()

    with (
        served(data, tmp_path / "archive") as desk,
        httpx.Client(base_url=desk.address, headers=HEADERS, timeout=60) as phone,
    ):
        game = phone.get(path).json()["games"][0]

    assert game["claims"] == {"0": ["Gull Walk"]}
    assert game["boards"]["0"]["state"] in ("reading", "read")
