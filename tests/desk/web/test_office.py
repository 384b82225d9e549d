"""What the office keeps in mind: a failed reading is told, no other is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from desk.web import office
from desk.web.app import Desk, create_app
from desk.web.guard import Door
from tests.desk.web.conftest import HOSTS, PLAYERS, TABLE, all_read, furnished, settled, snap


@pytest.fixture
def browser(tmp_path: Path, table: Path):
    """A desk of its own, whose data folder may be spoilt."""
    data = furnished(tmp_path / "data", table)
    desk = Desk(data, tmp_path / "archive", Door(HOSTS, False), "http://127.0.0.1:8723", niceness=0)
    with TestClient(create_app(desk), base_url="http://127.0.0.1:8723") as client:
        client.headers["X-Tallyglass"] = "1"
        yield client


def begun(client: TestClient) -> str:
    form = {"name": "Thursday", "table": TABLE, "players": list(PLAYERS)}
    return f"/api/evenings/{client.post('/api/evenings', json=form).json()['id']}"


def test_a_photo_whose_reading_fails_is_told(browser: TestClient, tmp_path: Path) -> None:
    evening = begun(browser)
    browser.get(evening)  # the sheet is known from now on
    (tmp_path / "data" / "tables" / f"{TABLE}.table").write_bytes(b"no table any more")
    snap(browser, evening, 0)
    state = settled(browser, evening, all_read)

    board = state["games"][0]["boards"]["0"]
    assert board["state"] == "refused"
    assert board["reason"] == "the photo could not be read: the reader stopped."


def test_readings_that_are_no_longer_in_mind_are_taken_from_their_files(
    browser: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(office, "MOST_RESULTS", 1)
    evening = begun(browser)
    for seat in range(len(PLAYERS)):
        snap(browser, evening, seat)
    state = settled(browser, evening, all_read)

    assert {board["state"] for board in state["games"][0]["boards"].values()} == {"read"}
    assert len(state["games"][0]["view"]["boards"]) == len(PLAYERS)
