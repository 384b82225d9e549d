"""A real server on a real socket: what is hostile, cut off or sent twice."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest

from desk.web.serving import ServingError, own_address
from tests.desk.web.conftest import TABLE, furnished, photo_of
from tests.desk.web.served import Served, served
from tests.desk.web.test_hostile import huge_png

HEADERS = {"X-Tallyglass": "1"}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, table: Path) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("real")
    with served(furnished(folder / "data", table), folder / "archive") as running:
        yield running


@pytest.fixture(scope="module")
def phone(desk: Served) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=desk.address, headers=HEADERS, timeout=60) as client:
        yield client


@pytest.fixture
def evening(phone: httpx.Client) -> str:
    form = {"name": "Thursday", "table": TABLE, "players": ["Isla", "Joss"]}
    return f"/api/evenings/{phone.post('/api/evenings', json=form).json()['id']}"


def dial(desk: Served, request: bytes) -> socket.socket:
    """A connection on which this much was sent."""
    place = urlsplit(desk.address)
    line = socket.create_connection((place.hostname, place.port), timeout=60)
    line.sendall(request)
    return line


def answered(desk: Served, request: bytes) -> tuple[int, str]:
    """Status and body of the answer to these very bytes."""
    with dial(desk, request) as line:
        return heard(line)


def heard(line: socket.socket) -> tuple[int, str]:
    told = b""
    while piece := line.recv(65536):
        told += piece
    head, _, body = told.partition(b"\r\n\r\n")
    return int(head.split()[1]), body.decode()


def request(desk: Served, method: str, path: str, *headers: str, host: str = "") -> bytes:
    lines = [f"{method} {path} HTTP/1.1", f"Host: {host or urlsplit(desk.address).netloc}"]
    return "\r\n".join([*lines, "X-Tallyglass: 1", "Connection: close", *headers, "", ""]).encode()


@pytest.fixture(scope="module", autouse=True)
def stalled(desk: Served) -> Iterator[socket.socket]:
    """A body that stops coming, begun before everything else so that nobody waits for it."""
    with dial(desk, request(desk, "POST", "/api/evenings", "Content-Length: 90") + b"{") as line:
        yield line


def test_an_upload_that_was_cut_off_and_sent_again_counts_once(
    desk: Served, phone: httpx.Client, evening: str
):
    """Half the photo, then the connection is gone; then it comes whole, three times at once."""
    photo, path = photo_of("Isla"), f"{evening}/games/1/boards/0/photo?upload=cut-off-1"
    head = request(desk, "PUT", path, f"Content-Length: {len(photo)}")
    dial(desk, head + photo[: len(photo) // 2]).close()
    state = phone.get(evening).json()
    assert state["games"][0]["boards"] == {}

    with ThreadPoolExecutor(3) as taps:
        sent = list(
            taps.map(
                lambda _: httpx.put(
                    f"{desk.address}{path}", content=photo, headers=HEADERS, timeout=60
                ),
                range(3),
            )
        )
    assert [one.status_code for one in sent] == [200, 200, 200]
    assert {one.json()["version"] for one in sent} == {state["version"] + 1}
    after = phone.get(evening).json()
    assert after["version"] == state["version"] + 1
    assert list(after["games"][0]["boards"]) == ["0"]


PHOTO = "/games/1/boards/0/photo?upload=hostile-1"


def test_what_is_hostile_is_refused_in_words_and_logged(
    desk: Served, phone: httpx.Client, evening: str
):
    """Too much announced, too many pixels, a forged host, another site, paths, wrong types."""
    before = phone.get(evening).json()["version"]
    png = huge_png(30_000)
    length = f"Content-Length: {len(png)}"
    told = [
        (413, request(desk, "PUT", evening + PHOTO, "Content-Length: 200000000")),
        (422, request(desk, "PUT", evening + PHOTO, length) + png),
        (421, request(desk, "GET", "/api/desk", host="desk.evil.example")),
        (
            403,
            request(
                desk,
                "POST",
                f"{evening}/games",
                "Origin: https://evil.example",
                "Content-Length: 2",
            )
            + b"{}",
        ),
        (404, request(desk, "GET", "/static/../../../../etc/passwd")),
        (404, request(desk, "GET", "/static/..%2f..%2f..%2f..%2fetc%2fpasswd")),
        (
            422,
            request(
                desk,
                "POST",
                "/api/evenings",
                "Content-Type: application/json",
                "Content-Length: 19",
            )
            + b'{"name": [1, null]}',
        ),
    ]
    for status, sent in told:
        got, body = answered(desk, sent)
        assert got == status, (sent[:80], body)
        assert '"problem":' in body
        assert "root:" not in body
        assert "Traceback" not in body
    assert phone.get(evening).json()["version"] == before
    log = desk.log.read_text()
    for words in ("too many pixels", "does not answer to that name", "own page", "80 MB"):
        assert words in log


def test_a_body_of_unknown_length_ends_where_it_is_too_much(
    desk: Served, phone: httpx.Client, evening: str
):
    head = request(desk, "PUT", evening + PHOTO, "Transfer-Encoding: chunked")
    million = b"f4240\r\n" + b"x" * 1_000_000 + b"\r\n"
    with dial(desk, head) as line:
        sent = 0
        try:
            while sent < 200:
                line.sendall(million)
                sent += 1
        except (BrokenPipeError, ConnectionResetError):
            pass
    assert sent < 190
    assert phone.get(evening).json()["games"][0]["boards"] == {}
    assert "more than 80 MB" in desk.log.read_text()


def test_a_body_that_stalls_is_given_up_in_words(stalled: socket.socket):
    status, words = heard(stalled)

    assert status == 408
    assert "too slow" in words


def test_with_lan_a_key_opens_the_desk_once(tmp_path: Path):
    try:
        own_address()
    except ServingError as why:
        pytest.skip(str(why))
    with served(tmp_path / "data", tmp_path / "archive", "--lan") as desk:
        path = re.search(r"/join\?key=\S+", desk.said)
        assert path
        with httpx.Client(base_url=desk.address) as phone:
            for closed in ("/", "/api/desk", "/static/desk.js", "/join?key=guess"):
                assert phone.get(closed).status_code == 401
            assert phone.get(path[0]).status_code == 200
            assert phone.get("/api/desk").json()["lan"]
        assert httpx.get(desk.address + path[0]).status_code == 401
