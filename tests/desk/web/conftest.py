"""A desk served in this process, with the practice table in its data folder."""

from __future__ import annotations

import hashlib
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from desk.web.app import Desk, create_app
from desk.web.guard import Door
from desk.web.serving import first_things
from tests.desk.practice import PRACTICE

TABLE = "penmarrow-practice"
HOSTS = frozenset({"127.0.0.1", "localhost"})
PLAYERS = ("Isla", "Joss", "Wren")


def furnished(folder: Path, table: Path) -> Path:
    """A data folder with the invented games' sheets and the practice table."""
    folder.mkdir(parents=True, exist_ok=True)
    first_things(folder)
    (folder / "tables").mkdir(exist_ok=True)
    shutil.copy(table, folder / "tables" / f"{TABLE}.table")
    return folder


@pytest.fixture(scope="session")
def client(tmp_path_factory: pytest.TempPathFactory, table: Path) -> Iterator[TestClient]:
    """A browser's place before a desk that only this machine sees; workers are up once."""
    folder = tmp_path_factory.mktemp("desk")
    desk = Desk(
        furnished(folder / "data", table),
        folder / "archive",
        Door(HOSTS, needs_session=False),
        "http://127.0.0.1:8723",
        niceness=0,
    )
    with TestClient(create_app(desk), base_url="http://127.0.0.1:8723") as browser:
        browser.headers["X-Tallyglass"] = "1"
        yield browser


@pytest.fixture
def evening(client: TestClient) -> str:
    """The path of a new evening of the three practice players."""
    form = {"name": "Thursday", "table": TABLE, "players": list(PLAYERS)}
    return f"/api/evenings/{client.post('/api/evenings', json=form).json()['id']}"


def photo_of(player: str) -> bytes:
    return (PRACTICE / "game" / f"{player.lower()}.jpg").read_bytes()


def snap(client: TestClient, evening: str, seat: int, data: bytes | None = None) -> Any:
    """Send the practice photo of a seat, or another photo."""
    data = photo_of(PLAYERS[seat]) if data is None else data
    digest = hashlib.sha256(data).hexdigest()
    path = f"{evening}/games/1/boards/{seat}/photo?upload=test-{seat}-{digest[:12]}&sha256={digest}"
    return client.put(path, content=data)


def settled(client: TestClient, path: str, is_so: Callable[[Any], bool]) -> Any:
    """What a path says once it is so."""
    until = time.monotonic() + 150
    while True:
        state = client.get(path).json()
        if is_so(state):
            return state
        assert time.monotonic() < until, state
        time.sleep(0.05)


def all_read(state: dict[str, Any]) -> bool:
    game = state["games"][-1]
    done = [board["state"] != "reading" for board in game["boards"].values()]
    return bool(done) and all(done) and game["fresh"]
