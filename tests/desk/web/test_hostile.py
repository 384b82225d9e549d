"""Hostile input at each entry: refused in plain words, logged, nothing lost, nothing run."""

from __future__ import annotations

import asyncio
import logging
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from desk.web.app import Desk, create_app
from desk.web.guard import Door
from samples.finish import encode
from tests.desk.web.conftest import HOSTS, TABLE, photo_of, snap

BASE = "http://127.0.0.1:8723"


def problem(answer: Any) -> str:
    words = answer.json()["problem"]
    assert "Traceback" not in words
    assert words.endswith(".")
    return words


def huge_png(side: int) -> bytes:
    """A PNG whose header promises side x side px; the file itself is small."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + body))
        return struct.pack(">I", len(body)) + kind + body + check

    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    data = zlib.compress(b"\0" * 99)
    chunks = (chunk(b"IHDR", header), chunk(b"IDAT", data), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "No photo came"),
        (b"<script>alert(1)</script>" * 99, "not a photo"),
        (b"MZ\x90\0" + b"\0" * 4000, "not a photo"),
        (huge_png(30_000), "too many pixels"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 100, "not a photo"),
    ],
)
def test_what_is_no_usable_photo_is_refused_before_decoding(
    client: TestClient, evening: str, data: bytes, words: str
):
    refused = snap(client, evening, 0, data)

    assert refused.status_code == 422
    assert words in problem(refused)
    assert client.get(evening).json()["games"][0]["boards"] == {}


def test_a_body_that_announces_too_much_is_refused_unread(client: TestClient, evening: str, caplog):
    path = f"{evening}/games/1/boards/0/photo?upload=too-large-1"
    with caplog.at_level(logging.WARNING):
        refused = client.put(path, content=b"x", headers={"Content-Length": "200000000"})

    assert refused.status_code == 413
    assert "80 MB" in problem(refused)
    assert "refused PUT" in caplog.text


@pytest.mark.parametrize(
    "path", ["/api/photos", "/api/boards/photo", f"/api/shelf/{TABLE}/trial/photo"]
)
def test_a_phones_photo_is_taken_wherever_one_is_asked_for(client: TestClient, path: str):
    noise = np.random.default_rng(1).integers(0, 256, (900, 1200, 3), np.uint8)
    photo = encode(noise, 95)
    taken = client.put(f"{path}?upload=large-photo-1", content=photo)

    assert len(photo) > 1_000_000
    assert taken.status_code == 200, taken.text


def test_a_body_that_hides_its_length_is_counted_as_it_comes(client: TestClient, evening: str):
    def endless():
        for _ in range(90):
            yield b"x" * 1_000_000

    refused = client.put(f"{evening}/games/1/boards/0/photo?upload=too-large-2", content=endless())
    assert refused.status_code == 413
    refused = client.post("/api/evenings", content=b"[" * 600_000)
    assert refused.status_code == 413


@pytest.mark.parametrize("path", ["/api/desk", "/", "/static/desk.js"])
def test_a_forged_host_gets_nothing(client: TestClient, path: str):
    refused = client.get(path, headers={"Host": "desk.evil.example"})

    assert refused.status_code == 421
    assert "does not answer to that name" in problem(refused)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Origin": "http://127.0.0.1:9999"},
    ],
)
def test_another_sites_post_does_nothing(client: TestClient, headers: dict[str, str]):
    before = len(client.get("/api/desk").json()["evenings"])
    form = {"name": "x", "table": TABLE, "players": ["a"]}
    refused = client.post("/api/evenings", json=form, headers=headers)

    assert refused.status_code == 403
    assert "own page" in problem(refused)
    assert len(client.get("/api/desk").json()["evenings"]) == before


def test_a_plain_form_of_another_site_lacks_the_header(client: TestClient):
    kept = client.headers.pop("X-Tallyglass")
    try:
        refused = client.post("/api/evenings", data={"name": "x"})
    finally:
        client.headers["X-Tallyglass"] = kept

    assert refused.status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/api/tables/..%2f..%2fevenings",
        "/api/tables/%2e%2e",
        "/static/..%2f..%2fapp.py",
        "/static/../app.py",
        "/api/pictures/..%2f..%2fx.jpg",
        "/api/evenings/..%2f..",
        "/api/archive/games/1e9",
    ],
)
def test_paths_lead_nowhere_else(client: TestClient, path: str):
    refused = client.get(path)

    assert refused.status_code in (404, 405, 422)
    assert "import" not in refused.text


@pytest.mark.parametrize(
    "change",
    [
        {"name": ""},
        {"name": "x" * 41},
        {"name": "a\0b"},
        {"players": []},
        {"players": ["a", "a"]},
        {"players": ["x"] * 13},
        {"players": "Ana"},
        {"table": "../x"},
        {"table": "none"},
        {"more": 1},
        {"name": {"$ne": 1}},
    ],
)
def test_wrong_forms_are_refused_in_words(client: TestClient, change: dict[str, Any]):
    form = {"name": "x", "table": TABLE, "players": ["a"]} | change
    refused = client.post("/api/evenings", json=form)

    assert refused.status_code in (404, 422)
    problem(refused)


def test_markup_in_names_stays_text(client: TestClient):
    """Names go through JSON and into the page as text; shares escape them."""
    name = "<img src=x onerror=alert(1)>"
    form = {"name": name, "table": TABLE, "players": [name]}
    made = client.post("/api/evenings", json=form).json()
    told = client.get(f"/api/evenings/{made['id']}")

    assert told.json()["players"] == [name]
    assert told.headers["content-type"] == "application/json"
    assert told.headers["x-content-type-options"] == "nosniff"


def test_scripts_set_no_html_and_pages_allow_nothing_inline():
    web = Path(__file__).parents[3] / "desk" / "web"
    scripts = "".join(path.read_text() for path in (web / "static").glob("*.js"))
    for word in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "http:",
    ):
        assert word not in scripts.replace('"http://www.w3.org/2000/svg"', "")
    pages = "".join(path.read_text() for path in (web / "templates").glob("*.html"))
    for word in ("style=", "onclick", "http:", "https:", "<script>"):
        assert word not in pages


def test_every_answer_carries_the_policy(client: TestClient):
    for path in ("/", "/api/desk", "/static/desk.js", "/api/none"):
        headers = client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]


@pytest.fixture
def lan(tmp_path: Path) -> Any:
    """A desk that phones reach by a key; bodies may stall for a fifth of a second."""
    door = Door(HOSTS, needs_session=True, stall_s=0.2, body_s=1.0)
    return create_app(Desk(tmp_path / "data", tmp_path / "archive", door, BASE))


def test_without_a_key_nothing_is_served(lan: Any):
    browser = TestClient(lan, base_url=BASE)
    for path in ("/", "/api/desk", "/static/desk.js", "/api/openapi.json", "/api"):
        assert browser.get(path).status_code == 401
    assert browser.get("/join?key=guess").status_code == 401
    assert browser.get("/join").status_code == 401


def test_a_key_opens_the_desk_once_and_the_session_ends(lan: Any, monkeypatch: pytest.MonkeyPatch):
    key = lan.sessions.new_key()
    first, second = TestClient(lan, base_url=BASE), TestClient(lan, base_url=BASE)
    joined = first.get(f"/join?key={key}")

    cookie = joined.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert first.get("/").status_code == 200
    assert second.get(f"/join?key={key}").status_code == 401
    clock = lan.sessions._clock
    monkeypatch.setattr(lan.sessions, "_clock", lambda: clock() + 13 * 3600)
    assert first.get("/").status_code == 401


def test_a_phone_can_sign_out(lan: Any):
    browser = TestClient(lan, base_url=BASE)
    browser.get(f"/join?key={lan.sessions.new_key()}")

    assert browser.delete("/api/session", headers={"X-Tallyglass": "1"}).status_code == 204
    assert browser.get("/").status_code == 401


def test_a_body_that_stalls_is_given_up(lan: Any):
    token = lan.sessions.begin()
    sent: list[Any] = []

    async def stalling() -> Any:
        await asyncio.sleep(30)

    async def send(message: Any) -> None:
        sent.append(message)

    headers = [
        (b"host", b"127.0.0.1:8723"),
        (b"cookie", f"tallyglass={token}".encode()),
        (b"x-tallyglass", b"1"),
        (b"content-length", b"900"),
    ]
    scope = {"type": "http", "method": "POST", "path": "/api/evenings", "headers": headers}
    asyncio.run(lan(scope, stalling, send))

    assert sent[0]["status"] == 408
    assert b"too slow" in sent[1]["body"]


def test_a_damaged_photo_is_noticed(client: TestClient, evening: str):
    path = f"{evening}/games/1/boards/0/photo?upload=damaged-1&sha256={'0' * 64}"

    assert "damaged on its way" in problem(client.put(path, content=photo_of("Isla")))


def test_corners_of_which_two_are_one_point_are_refused(client: TestClient) -> None:
    form = {"photo": "0" * 64, "corners_px": [[1, 1]] * 4, "size_mm": [100, 100]}
    refused = client.post("/api/boards/proposal", json=form)

    assert refused.status_code == 422
    assert "two of the corners are the same point" in refused.json()["problem"]
