"""What the office keeps in mind: a failed reading is told, no other is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from desk.web import office
from desk.web.app import Desk, create_app
from desk.web.calibration import fold_calibration
from desk.web.guard import Door
from desk.web.journal import Event
from tests.desk.practice import PRACTICE
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


def test_a_table_whose_learning_fails_is_told_once(browser: TestClient, tmp_path: Path) -> None:
    """Not begun again with every look of a phone, as a failed reading is not either."""
    form = {"name": "Kitchen", "sheet": "penmarrow"}
    path = f"/api/calibrations/{browser.post('/api/calibrations', json=form).json()['id']}"
    send_calibration_photo(browser, path, "empty")
    settled(browser, path, lambda state: not state["busy"])
    for photo in (tmp_path / "data" / "photos").glob("*/*"):
        photo.unlink()
    send_calibration_photo(browser, path, "layout")
    state = settled(browser, path, lambda state: not state["busy"] and state["advice"])

    assert state["judged"]
    assert not state["table"]
    assert "could not be learned" in state["advice"][0]
    assert not browser.get(path).json()["busy"]


def send_calibration_photo(client: TestClient, path: str, kind: str) -> None:
    data = (PRACTICE / f"{kind}-1.jpg").read_bytes()
    assert client.put(f"{path}/{kind}/photo?upload=cal-{kind}", content=data).status_code == 200


def test_what_was_learned_from_fewer_photos_and_ended_later_does_not_count() -> None:
    """Two workers may end in any order; begun again for ever, phones would wait for ever."""
    photo = {"kind": "layout", "photo": "ff", "name": "layout.jpg"}
    bodies = [
        ("begun", {"name": "Kitchen", "sheet": "penmarrow", "plan": ""}),
        ("photo", photo),
        ("photo", photo),
        ("judged", {"of": 3, "table": "kitchen", "advice": ["both"]}),
        ("judged", {"of": 2, "table": "kitchen-2", "advice": ["one"]}),
    ]
    events = [Event(n, kind, body, "host", "") for n, (kind, body) in enumerate(bodies, 1)]
    made = fold_calibration("cc", events)

    assert (made.judged, made.table, made.advice) == (3, "kitchen", ("both",))
