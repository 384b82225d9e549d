"""An evening over the interface: snap, answer, correct, claim, tally, keep."""

from __future__ import annotations

import io
import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from desk.web.files import Files
from tests.desk.practice import PRACTICE
from tests.desk.web.conftest import PLAYERS, TABLE, all_read, photo_of, settled, snap

TRUTH = json.loads((PRACTICE / "truth.json").read_text("utf-8"))["grids"]
STARTS = {
    "png": b"\x89PNG",
    "pdf": b"%PDF",
    "html": b"<!doctype",
    "txt": b"The Roof",
    "csv": b"player",
}


@pytest.fixture
def three(client: TestClient, evening: str) -> str:
    """An evening with all three boards read."""
    for seat in range(3):
        assert snap(client, evening, seat).status_code == 200
    settled(client, evening, all_read)
    return evening


def truth_of(player: str) -> dict[str, str]:
    from samples.penmarrow import load_penmarrow
    from scoring.grid import parse_grid

    return dict(parse_grid(TRUTH[player], load_penmarrow()))


def answer(client: TestClient, evening: str, seat: int, cell: str, colour: str):
    form = {"seat": seat, "cell": cell, "colour": colour, "by": "Ana"}
    return client.post(f"{evening}/games/1/answers", json=form)


def test_a_game_goes_from_photos_to_the_archive(client: TestClient, three: str):
    """Answered with the truth, the tally is that of the boards as they were laid."""
    asked = 0
    while True:
        game = settled(client, three, all_read)["games"][0]
        questions = game["view"]["questions"]
        if not questions:
            break
        asked += 1
        assert asked < 40
        first = questions[0]
        assert "can change" in first["stakes"] or "box holds" in first["stakes"]
        cell = game["view"]["boards"][str(first["seat"])]["cells"][first["cell"]]
        assert cell["doubt"]
        assert cell["choices"][0] != cell["choices"][1]
        colour = truth_of(first["player"])[first["cell"]]
        assert answer(client, three, first["seat"], first["cell"], colour).status_code == 200
    for seat, player in enumerate(PLAYERS):
        cells = game["view"]["boards"][str(seat)]["cells"]
        told = {cell: at["colour"] for cell, at in cells.items() if at["state"] != "open"}
        assert told == {cell: colour for cell, colour in truth_of(player).items() if cell in told}
    assert game["view"]["tally"]["settled"]

    claims = {"cards": ["Gull Walk", "Rain Gully"], "by": "Wren"}
    before = game["view"]["tally"]["players"][2]["total"]
    assert client.put(f"{three}/games/1/claims/2", json=claims).status_code == 200
    game = settled(client, three, all_read)["games"][0]
    assert game["view"]["tally"]["players"][2]["total"] != before

    number = client.post(f"{three}/games/1/keep", json={"by": "Ana"}).json()["number"]
    kept = client.get(f"/api/archive/games/{number}").json()
    assert kept["tally"]["players"] == game["view"]["tally"]["players"]
    assert {a["by"] for a in kept["answers"]} == {"Ana"}
    assert client.get("/api/archive/games?text=wren").json()[0]["id"] == number
    assert client.get("/api/archive/games?text=nobody").json() == []
    (standings,) = client.get("/api/archive/standings").json()
    assert {row["player"] for row in standings["players"]} == set(PLAYERS)
    picture = client.get(f"/api/archive/games/{number}/boards/0/photo.jpg")
    assert picture.content.startswith(b"\xff\xd8")
    outlines = client.get(f"/api/archive/games/{number}/boards/0/outlines").json()
    assert len(outlines["outlines"]) == 45


def test_the_tally_is_shared_in_every_form(client: TestClient, three: str):
    starts = {
        "png": b"\x89PNG",
        "pdf": b"%PDF",
        "html": b"<!doctype",
        "txt": b"The Roof",
        "csv": b"player",
    }
    for form, start in starts.items():
        shared = client.get(f"{three}/games/1/tally.{form}")
        assert shared.status_code == 200, shared.text
        assert shared.content.startswith(start)
    assert client.get(f"{three}/games/1/tally.exe").status_code == 422


def test_correcting_a_sure_cell_counts_and_can_be_taken_back(client: TestClient, three: str):
    game = settled(client, three, all_read)["games"][0]
    sure = next(c for c, t in game["view"]["boards"]["0"]["cells"].items() if t["state"] == "sure")
    was = game["view"]["boards"]["0"]["cells"][sure]["colour"]
    other = "moss" if was != "moss" else "plum"

    answer(client, three, 0, sure, other)
    told = settled(client, three, all_read)["games"][0]["view"]["boards"]["0"]["cells"][sure]
    assert (told["colour"], told["state"]) == (other, "answered")
    answer(client, three, 0, sure, "")
    told = settled(client, three, all_read)["games"][0]["view"]["boards"]["0"]["cells"][sure]
    assert told["colour"] == was


def test_a_photo_sent_twice_counts_once(client: TestClient, evening: str):
    first, second = snap(client, evening, 0), snap(client, evening, 0)

    assert first.json() == second.json()


def test_a_new_photo_drops_what_was_answered_of_the_old(client: TestClient, evening: str):
    snap(client, evening, 0)
    settled(client, evening, all_read)
    answer(client, evening, 0, "G1", "rust")
    snap(client, evening, 0, photo_of("Joss"))
    state = settled(client, evening, all_read)

    assert state["games"][0]["answers"] == []


def test_nothing_new_is_said_in_no_words(client: TestClient, evening: str):
    stamp = client.get(evening).json()["stamp"]
    assert client.get(evening, params={"seen": stamp}).status_code == 204
    client.post(f"{evening}/games", json={})
    assert client.get(evening, params={"seen": stamp}).status_code == 200


def test_a_photo_without_a_board_says_what_to_do(client: TestClient, evening: str):
    """And the board's corners, shown by a person, help where it is there after all."""
    snap(client, evening, 0, (PRACTICE / "empty-1.jpg").read_bytes())
    board = settled(client, evening, all_read)["games"][0]["boards"]["0"]
    assert board["state"] == "read"  # the empty board is a board
    corners = [[10, 10], [400, 10], [400, 300], [10, 300]]
    form = {"corners_px": corners}
    assert client.post(f"{evening}/games/1/boards/0/corners", json=form).status_code == 200
    board = settled(client, evening, all_read)["games"][0]["boards"]["0"]
    assert board["state"] == "refused"
    assert board["hint"]
    assert board["picture"]


def test_all_boards_in_one_photo_go_to_the_players_in_order(client: TestClient):
    form = {"name": "Pair", "table": TABLE, "players": ["Isla", "Joss"]}
    evening = f"/api/evenings/{client.post('/api/evenings', json=form).json()['id']}"
    both = Image.new("RGB", (2400, 900))
    for number, player in enumerate(("Isla", "Joss")):
        with Image.open(PRACTICE / "game" / f"{player.lower()}.jpg") as photo:
            both.paste(photo, (1200 * number, 0))
    out = io.BytesIO()
    both.save(out, "JPEG", quality=92)
    sent = client.put(f"{evening}/games/1/photo?upload=both-boards", content=out.getvalue())
    assert sent.status_code == 200

    boards = settled(client, evening, all_read)["games"][0]["boards"]
    assert [boards[seat]["state"] for seat in ("0", "1")] == ["read", "read"]
    parts = client.get(f"/api/readings/{boards['0']['reading']}").json()["parts"]
    for part, player in zip(parts, ("Isla", "Joss"), strict=True):
        read = {cell: told["colour"] for cell, told in part["reading"]["cells"].items()}
        wrong = [cell for cell, colour in truth_of(player).items() if read[cell] != colour]
        assert all(part["reading"]["cells"][cell]["doubt"] for cell in wrong)


def test_players_photos_can_be_swapped(client: TestClient, evening: str):
    snap(client, evening, 0)
    before = client.get(evening).json()["games"][0]["boards"]["0"]["reading"]
    client.post(f"{evening}/games/1/swap", json={"seats": [0, 2]})
    boards = client.get(evening).json()["games"][0]["boards"]

    assert list(boards) == ["2"]
    assert boards["2"]["reading"] == before


def test_what_a_game_does_not_know_is_refused_in_words(client: TestClient, evening: str):
    assert answer(client, evening, 0, "Z9", "moss").json()["problem"] == "The board has no cell Z9."
    assert "none of" in answer(client, evening, 0, "A1", "pink").json()["problem"]
    assert answer(client, evening, 7, "A1", "moss").status_code == 404
    claims = {"cards": ["No Such"]}
    refused = client.put(f"{evening}/games/1/claims/0", json=claims)
    assert refused.json()["problem"] == "The game has no card No Such."
    assert client.post(f"{evening}/games/1/keep", json={}).status_code == 409


def test_a_table_is_learned_and_judged_from_the_phone(client: TestClient):
    """Marks on the board are seen; each photo is judged as soon as it is here."""
    form = {"name": "Kitchen", "sheet": "penmarrow"}
    path = f"/api/calibrations/{client.post('/api/calibrations', json=form).json()['id']}"

    def send(kind: str, number: int) -> None:
        data = (PRACTICE / f"{kind}-{number}.jpg").read_bytes()
        assert (
            client.put(f"{path}/{kind}/photo?upload=cal-{kind}-{number}", content=data).status_code
            == 200
        )

    send("empty", 1)
    state = settled(client, path, lambda s: not s["busy"])
    assert "marks are seen" in state["place"]["advice"]
    assert client.get(f"{path}/layout.svg").text.startswith("<svg")
    send("layout", 1)
    state = settled(client, path, lambda s: not s["busy"] and s["judged"])
    assert state["table"] == "kitchen"
    assert state["advice"]
    assert client.get("/api/tables/kitchen").json()["game"] == "The Roof at Penmarrow"
    refused = client.put(f"{path}/plan", json={"plan": "A: Q"})
    assert refused.status_code == 422


def test_a_game_is_kept_once_and_a_change_takes_its_place(client: TestClient, three: str):
    """Two taps at once keep one game; after a correction the new entry replaces the old."""
    settled(client, three, all_read)
    keep = f"{three}/games/1/keep"
    with ThreadPoolExecutor(2) as taps:
        first, second = taps.map(lambda _: client.post(keep, json={}).json()["number"], range(2))
    assert first == second
    answer(client, three, 0, "A1", "plum")
    settled(client, three, all_read)
    third = client.post(keep, json={}).json()["number"]

    assert third != first
    listed = [game["id"] for game in client.get("/api/archive/games").json()]
    assert third in listed
    assert first not in listed
    assert client.get(f"/api/archive/games/{first}").json()["corrected"]
    found = client.get("/api/archive/games", params={"player": "Isla", "date": "2026"})
    assert found.status_code == 200
    assert client.get("/api/archive/games", params={"date": "soon"}).status_code == 422


def test_tables_named_the_same_at_once_get_names_of_their_own(tmp_path: Path):
    files = Files(tmp_path)
    with ThreadPoolExecutor(8) as threads:
        taken = list(threads.map(lambda _: files.reserve("tables", "Kitchen", ".table"), range(40)))

    assert len(set(taken)) == 40
    assert list(files.names("tables", ".table")) == []  # reserved is not there yet
