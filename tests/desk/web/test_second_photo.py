"""A second photo of one board at the desk: read together with the first, or refused in words."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from desk.archive import Archive
from tests.desk.conftest import save_covered
from tests.desk.practice import PRACTICE
from tests.desk.web.conftest import PLAYERS, TABLE, all_read, furnished, photo_of, settled, snap
from tests.desk.web.served import served
from tests.desk.web.test_evening import answer, truth_of
from tests.desk.web.test_journey import CHROMIUM, Phone, browser, until

__all__ = ["browser"]

Twice = tuple[Path, Path]


def send_second(client: Any, evening: str, data: bytes, seat: int = 0) -> Any:
    """Send a photo as the second one of a seat's board."""
    digest = hashlib.sha256(data).hexdigest()
    path = f"{evening}/games/1/boards/{seat}/second/photo"
    params = {"upload": f"second-{digest[:12]}", "name": "again.png", "sha256": digest}
    return client.put(path, params=params, content=data)


def both_read(state: dict[str, Any]) -> bool:
    second = state["games"][0]["boards"]["0"]["second"]
    return all_read(state) and second is not None and second["state"] != "reading"


def board_of(state: dict[str, Any]) -> dict[str, Any]:
    return state["games"][0]["view"]["boards"]["0"]


def open_cells(state: dict[str, Any]) -> set[str]:
    return {cell for cell, told in board_of(state)["cells"].items() if told["state"] == "open"}


@pytest.fixture
def once(client: TestClient, evening: str, twice: Twice) -> dict[str, Any]:
    """The evening's state with Isla's board snapped once."""
    snap(client, evening, 0, twice[0].read_bytes())
    return settled(client, evening, all_read)


def test_a_second_photo_is_proposed_where_it_settles_more_than_questions(
    client: TestClient, evening: str, once: dict[str, Any], twice: Twice
):
    """It settles what lay covered, is not proposed any more, and answers stay."""
    before = open_cells(once)
    assert "covered or blurred" in board_of(once)["look_again"]
    said = min(before)
    assert answer(client, evening, 0, said, truth_of("Isla")[said]).status_code == 200

    assert send_second(client, evening, twice[1].read_bytes()).status_code == 200
    state = settled(client, evening, both_read)

    after = board_of(state)
    assert len(open_cells(state)) <= len(before) / 2
    assert (after["look_again"], after["second_refused"]) == (None, None)
    assert (len(board_of(once)["looks"]), len(after["looks"])) == (1, 2)
    assert [(a["cell"], a["by"]) for a in state["games"][0]["answers"]] == [(said, "Ana")]
    assert after["cells"][said]["said_by"] == "Ana"
    settled_by = {told["said_by"] for told in after["cells"].values()} - {None, "Ana"}
    assert settled_by <= {"the photo again.png", "the photo photo"}
    assert len(settled_by) == 1
    certain = {cell: t["colour"] for cell, t in after["cells"].items() if t["state"] != "open"}
    assert certain == {cell: truth_of("Isla")[cell] for cell in certain}

    path = f"{evening}/games/1/boards/0/second/photo"
    assert client.delete(path, params={"by": "Ana"}).status_code == 200
    state = settled(client, evening, all_read)
    assert state["games"][0]["boards"]["0"]["second"] is None
    assert open_cells(state) <= before - {said}
    assert client.delete(path).status_code == 409


@pytest.mark.usefixtures("once")
def test_what_is_kept_is_what_the_command_keeps(client: TestClient, evening: str, twice: Twice):
    """The better photo, the joined reading, and cells that the other photo settled as its answers;
    the tally is shared with two photos too."""
    send_second(client, evening, twice[1].read_bytes())
    for seat in (1, 2):
        snap(client, evening, seat)
    state = settled(client, evening, both_read)
    number = client.post(f"{evening}/games/1/keep", json={}).json()["number"]

    kept = client.get(f"/api/archive/games/{number}").json()
    cells = kept["boards"][0]["reading"]["cells"]
    told = board_of(state)["cells"]
    assert {cell for cell, read in cells.items() if read["doubt"]} == open_cells(state)
    by_photo = {cell for cell, one in told.items() if one["said_by"]}
    assert by_photo
    assert {a["cell"] for a in kept["answers"] if a["player"] == "Isla"} == by_photo
    office = client.app.app.state.office  # type: ignore[attr-defined]
    photo = Archive(office.archive).photo(kept["boards"][0]["photo_file"])
    better = kept["boards"][0]["photo_name"]
    (settling,) = {one["said_by"] for one in told.values()} - {None}
    assert {f"the photo {better}", settling} == {"the photo again.png", "the photo photo"}
    stored = {office.files.photo(hashlib.sha256(path.read_bytes()).hexdigest()) for path in twice}
    assert all(path.exists() for path in stored)
    assert photo in {path.read_bytes() for path in stored}
    for form in ("png", "html"):
        assert client.get(f"{evening}/games/1/tally.{form}").status_code == 200


def blank() -> bytes:
    """A photo of nothing."""
    out = io.BytesIO()
    Image.fromarray(np.full((600, 800, 3), 120, np.uint8)).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize("wrong", [photo_of("Joss"), blank()], ids=["another board", "no board"])
def test_a_wrong_second_photo_is_refused_in_words_and_loses_nothing(
    client: TestClient, evening: str, once: dict[str, Any], wrong: bytes
):
    said = min(open_cells(once))
    answer(client, evening, 0, said, truth_of("Isla")[said])
    before = settled(client, evening, all_read)

    send_second(client, evening, wrong)
    state = settled(client, evening, both_read)

    second = state["games"][0]["boards"]["0"]["second"]
    assert state["games"][0]["boards"]["0"]["state"] == "read"
    if second["state"] == "refused":
        assert second["reason"]
        assert second["hint"]
    else:
        words = board_of(state)["second_refused"]
        assert words.startswith("the photos show different boards: they differ in ")
        assert words.endswith("Give photos of the same board, taken without moving a piece.")
    assert board_of(state)["cells"] == board_of(before)["cells"]
    assert state["games"][0]["view"]["tally"] == before["games"][0]["view"]["tally"]


def test_what_cannot_be_a_second_photo_is_refused_at_once(client: TestClient, twice: Twice):
    form = {"name": "Pair", "table": TABLE, "players": ["Isla", "Joss"]}
    evening = f"/api/evenings/{client.post('/api/evenings', json=form).json()['id']}"

    def problem(data: bytes) -> str:
        refused = send_second(client, evening, data)
        assert refused.status_code in (409, 422)
        return refused.json()["problem"]

    assert problem(photo_of("Isla")) == "There is no photo of this board yet. Snap it first."
    snap(client, evening, 0, twice[0].read_bytes())
    assert problem(twice[0].read_bytes()).startswith("This is the same photo.")
    path = f"{evening}/games/1/photo?upload=both-boards-1&name=both.jpg"
    assert client.put(path, content=photo_of("Joss")).status_code == 200
    assert problem(photo_of("Isla")).startswith("both.jpg shows several boards.")


@pytest.mark.usefixtures("once")
def test_a_new_first_photo_takes_the_second_away_and_swapping_takes_both_along(
    client: TestClient, evening: str, twice: Twice
):
    send_second(client, evening, twice[1].read_bytes())
    client.post(f"{evening}/games/1/swap", json={"seats": [0, 2]})
    boards = client.get(evening).json()["games"][0]["boards"]
    assert list(boards) == ["2"]
    assert boards["2"]["second"]["name"] == "again.png"
    snap(client, evening, 2)
    assert client.get(evening).json()["games"][0]["boards"]["2"]["second"] is None


def test_a_desk_killed_as_the_second_photo_came_has_the_first_reading_and_goes_on(
    tmp_path: Path, table: Path, twice: Twice
):
    """Nothing acknowledged is lost: the first reading is whole at once, the second follows."""
    data, archive = furnished(tmp_path / "data", table), tmp_path / "archive"
    form = {"name": "Thursday", "table": TABLE, "players": list(PLAYERS)}
    with served(data, archive) as desk, phone_at(desk.address) as phone:
        evening = f"/api/evenings/{phone.post('/api/evenings', json=form).json()['id']}"
        snap(phone, evening, 0, twice[0].read_bytes())
        before = settled(phone, evening, all_read)
        assert send_second(phone, evening, twice[1].read_bytes()).status_code == 200
        desk.kill()
    with served(data, archive) as desk, phone_at(desk.address) as phone:
        seen: list[dict[str, Any]] = []

        def viewed(state: dict[str, Any]) -> bool:
            seen.append(state)
            return both_read(state)

        after = settled(phone, evening, viewed)
    assert seen[0]["games"][0]["boards"]["0"]["state"] == "read"
    assert len(open_cells(after)) <= len(open_cells(before)) / 2


def phone_at(address: str) -> httpx.Client:
    return httpx.Client(base_url=address, headers={"X-Tallyglass": "1"}, timeout=60)


@pytest.mark.skipif(not CHROMIUM.exists(), reason="there is no /usr/bin/chromium to drive here")
def test_a_second_photo_is_added_on_the_page(
    browser: Any, tmp_path: Path, table: Path, twice: Twice
):
    """Proposed with its reason, sent, seen in the questions; a wrong one is refused in words."""
    with served(furnished(tmp_path / "data", table), tmp_path / "archive") as desk:
        with phone_at(desk.address) as script:
            form = {"name": "Thursday", "table": TABLE, "players": ["Isla"]}
            id = script.post("/api/evenings", json=form).json()["id"]
        phone = Phone(browser, desk.address)
        page = phone.page
        phone.go(f"/#/e/{id}/1/boards", "[data-key=seat-0-gallery]")
        page.set_input_files("[data-key=seat-0-gallery]", twice[0])
        page.wait_for_selector("text=may go with a second photo")
        phone.check("proposed")
        open_before = int(page.inner_text("[data-key=tab-ask] .count"))

        page.set_input_files("[data-key=second-0-gallery]", PRACTICE / "game" / "joss.jpg")
        page.wait_for_selector("text=The second photo is not used")
        assert "show different boards" in page.inner_text("main")
        assert page.inner_text("[data-key=tab-ask] .count") == str(open_before)
        phone.check("refused")
        page.click("[data-key=drop-0]")
        page.wait_for_selector("text=may go with a second photo")

        phone.press("[data-key=tab-ask]", "text=Or one more photo")
        phone.check("ask")
        again = tmp_path / "again.png"
        save_covered(again, 0.43)  # where it overlaps the first, a question is left
        page.set_input_files("[data-key=second-0-gallery]", again)
        until(phone, lambda: page.locator(".look svg.crop").count() == 2)
        phone.check("ask-both")
        phone.press("[data-key=tab-boards]", "text=Two photos are read as one")  # once weighed
        assert int(page.inner_text("[data-key=tab-ask] .count")) <= open_before / 2
        phone.check("joined")
        phone.press("[data-key=open-0]", "text=The second photo")
        phone.check("board")
        phone.clean()
