"""An event night against a real server: forty tables that finish within half an hour.

    python tests/bench/event.py [--tables 40] [--minutes 3] [--readings 2000] [--seed 7] [--json]

`tallyglass serve` runs in a process of its own. Each table begins an evening of four players at its
own moment of the time given (half an hour pressed together), sends four photos, claims, answers its
questions and keeps its game. Phones are slow (a third of them trickle their photo), lose the
connection in the middle and send again (a quarter of photos), send what they sent already (a
quarter), and every tap that changes something comes twice at once. Then photos are sent on, one
after another on one more evening, until so many were read in all.

Photos are the practice game's, each cut by some px and saved anew, so that none was read before.
Checked: every evening's journal has its four photos once each, as they were sent, and one note of
being kept; the archive has each game once, with its claim, its answer and its photos, and proves
itself. Told: how long answers and readings took, and the memory of the server and its workers.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import json
import random
import socket
import sqlite3
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
from PIL import Image

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from desk.archive import Archive
from desk.keeping.verify import verify
from desk.metadata import strip_metadata
from desk.web.demo_evening import PRACTICE_TABLE, learn_practice_table
from tests.desk.practice import PRACTICE
from tests.desk.web.served import Served, served

HEADERS = {"X-Tallyglass": "1"}
SEATS = 4
SHOTS = [Image.open(path).convert("RGB") for path in sorted(PRACTICE.glob("game/*.jpg"))]
WAIT_S = 900
POLL_S = 0.5
MEMORY_EVERY = 50
"""Readings between two looks at the memory."""


def photo_file(number: int) -> bytes:
    """The photo of this number, unlike all others in its bytes and hardly in its looks."""
    shot = SHOTS[number % len(SHOTS)]
    left, top = divmod(number // len(SHOTS), 40)
    out = io.BytesIO()
    shot.crop((left, top, shot.width, shot.height)).save(out, "JPEG", quality=88)
    return out.getvalue()


@dataclass
class Night:
    """The server, what phones saw of it, and what they were told is kept."""

    desk: Served
    answers_ms: list[float] = field(default_factory=list)
    readings_s: list[float] = field(default_factory=list)
    happened: Counter[str] = field(default_factory=Counter)
    sent: dict[str, dict[int, str]] = field(default_factory=dict)
    kept: dict[str, int] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)

    def ask(self, phone: httpx.Client, method: str, path: str, **more: Any) -> Any:
        """One request and its answer's JSON; the time counts where the page only looks."""
        started = time.perf_counter()
        answer = phone.request(method, path, **more)
        if method == "GET":
            self.answers_ms.append(1000 * (time.perf_counter() - started))
        if answer.status_code >= 400:
            raise RuntimeError(f"{method} {path}: {answer.status_code} {answer.text[:200]}")
        return answer.json() if answer.content else None

    def tap_twice(self, phone: httpx.Client, method: str, path: str, form: dict) -> list[Any]:
        """The same form, twice at once, from two connections of one phone."""
        with ThreadPoolExecutor(2) as fingers:
            taps = [fingers.submit(self.ask, phone, method, path, json=form) for _ in range(2)]
            return [tap.result() for tap in taps]


def trickled(data: bytes, seconds: float) -> Iterator[bytes]:
    """A photo as a slow phone sends it."""
    pieces = 20
    for k in range(pieces):
        yield data[k * len(data) // pieces : (k + 1) * len(data) // pieces]
        time.sleep(seconds / pieces)


def cut_off(desk: Served, path: str, data: bytes) -> None:
    """Half of a photo, then the connection is gone."""
    place = urlsplit(desk.address)
    head = f"PUT {path} HTTP/1.1\r\nHost: {place.netloc}\r\nX-Tallyglass: 1\r\n"
    with socket.create_connection((place.hostname, place.port), timeout=60) as line:
        line.sendall(f"{head}Content-Length: {len(data)}\r\n\r\n".encode() + data[: len(data) // 2])


def send_photo(
    night: Night, phone: httpx.Client, evening: str, seat: int, number: int, chance: random.Random
) -> None:
    """One board's photo by a phone that is slow, is cut off, or does not know that it was heard."""
    data = photo_file(number)
    path = f"{evening}/games/1/boards/{seat}/photo?upload=photo-{number:06d}"
    if chance.random() < 0.25:
        night.happened["cut off"] += 1
        cut_off(night.desk, path, data)
    if chance.random() < 0.33:
        night.happened["slow"] += 1
        night.ask(phone, "PUT", path, content=trickled(data, chance.uniform(1, 6)))
    else:
        night.ask(phone, "PUT", path, content=data)
    if chance.random() < 0.25:
        night.happened["sent again"] += 1
        night.ask(phone, "PUT", path, content=data)
    night.sent.setdefault(evening, {})[seat] = hashlib.sha256(strip_metadata(data)[0]).hexdigest()


def read_whole(night: Night, phone: httpx.Client, evening: str) -> dict[str, Any]:
    """The evening's state once all boards are read and the tally is of all that was said."""
    until = time.monotonic() + WAIT_S
    while time.monotonic() < until:
        state = night.ask(phone, "GET", evening)
        game = state["games"][0]
        if game["fresh"] and all(one["state"] != "reading" for one in game["boards"].values()):
            return state
        time.sleep(POLL_S)
    raise RuntimeError(f"{evening}: not read after {WAIT_S} s")


def table_night(night: Night, number: int, begins_s: float, seed: int) -> None:
    """One table from its first tap to its game in the archive."""
    chance = random.Random(seed * 1000 + number)
    time.sleep(begins_s)
    players = [f"Player {number}-{seat}" for seat in range(SEATS)]
    form = {"name": f"Table {number}", "table": PRACTICE_TABLE, "players": players}
    with httpx.Client(base_url=night.desk.address, headers=HEADERS, timeout=120) as phone:
        evening = f"/api/evenings/{night.ask(phone, 'POST', '/api/evenings', json=form)['id']}"
        started = time.perf_counter()
        for seat in range(SEATS):
            send_photo(night, phone, evening, seat, number * SEATS + seat, chance)
        read_whole(night, phone, evening)
        night.readings_s.append(time.perf_counter() - started)
        game = f"{evening}/games/1"
        claims = {"cards": ["Bell Rope"], "facts": [], "by": players[0]}
        night.tap_twice(phone, "PUT", f"{game}/claims/0", claims)
        answer = {"seat": 0, "cell": "G1", "colour": "moss", "by": players[0]}
        night.tap_twice(phone, "POST", f"{game}/answers", answer)
        read_whole(night, phone, evening)
        numbers = night.tap_twice(phone, "POST", f"{game}/keep", {"by": players[0]})
        if len({one["number"] for one in numbers}) != 1:
            night.failed.append(f"{evening}: kept as {numbers}")
        night.kept[evening] = numbers[0]["number"]


def run_table(night: Night, number: int, begins_s: float, seed: int) -> None:
    """As ``table_night``; what goes wrong is noted and does not end the night."""
    try:
        table_night(night, number, begins_s, seed)
    except Exception as error:
        night.failed.append(f"table {number}: {error!r}")


def memory_mb(desk: Served) -> float:
    """What the server and its workers hold, MB (resident; pages they share count each time)."""
    kilobytes = 0
    for status in Path("/proc").glob("[0-9]*/status"):
        with contextlib.suppress(OSError):
            lines = dict(
                line.split(":", 1) for line in status.read_text().splitlines() if ":" in line
            )
            group = (status.parent / "stat").read_text().rpartition(")")[2].split()[2]
            if int(group) == desk.process.pid:
                kilobytes += int(lines.get("VmRSS", "0 kB").split()[0])
    return round(kilobytes / 1024, 1)


def read_on(night: Night, first: int, readings: int) -> list[tuple[int, float]]:
    """Photos one after another on an evening of their own; (readings, MB) now and then."""
    form = {"name": "Long", "table": PRACTICE_TABLE, "players": ["Ana", "Ben", "Cleo", "Dan"]}
    seen = [(first, memory_mb(night.desk))]
    with httpx.Client(base_url=night.desk.address, headers=HEADERS, timeout=120) as phone:
        evening = f"/api/evenings/{night.ask(phone, 'POST', '/api/evenings', json=form)['id']}"
        for number in range(first, readings, SEATS):
            for seat in range(SEATS):
                path = f"{evening}/games/1/boards/{seat}/photo?upload=long-{number + seat:06d}"
                night.ask(phone, "PUT", path, content=photo_file(number + seat))
            read_whole(night, phone, evening)
            if (number - first) % MEMORY_EVERY < SEATS:
                seen.append((number + SEATS, memory_mb(night.desk)))
    return seen


def faults(night: Night, data: Path, kept: Path, tables: int) -> list[str]:
    """What was lost or doubled."""
    found = list(night.failed)
    if len(night.kept) != tables:
        found.append(f"{len(night.kept)} of {tables} tables came to their end")
    archive = Archive(kept)
    if sorted(one.id for one in archive.games(limit=10 * tables)) != sorted(night.kept.values()):
        found.append("the archive has other games than phones were told are kept")
    for evening, number in night.kept.items():
        photos = night.sent[evening]
        events = events_of(data, f"evening/{evening.rpartition('/')[2]}")
        snapped = {body["seat"]: body["photo"] for kind, body in events if kind == "snapped"}
        kinds = Counter(kind for kind, _ in events)
        if (kinds["snapped"], kinds["kept"], snapped) != (SEATS, 1, photos):
            found.append(f"{evening}: its journal has {dict(kinds)}")
        game = archive.game(number)
        stored = {Path(board["photo_file"]).stem for board in game["boards"]}
        said = [(answer["player"], answer["cell"], answer["colour"]) for answer in game["answers"]]
        player = game["boards"][0]["player"]
        if stored != set(photos.values()) or said.count((player, "G1", "moss")) != 1:
            found.append(f"game {number}: has photos {stored} and answers {said}")
        if game["claims"]["cards"].get(player) != ["Bell Rope"]:
            found.append(f"game {number}: has claims {game['claims']}")
    proof = verify(archive)
    if not proof.holds:
        found.append(f"the archive does not prove itself: {proof}")
    return found


def events_of(data: Path, log: str) -> list[tuple[str, dict[str, Any]]]:
    """Kind and body of all that happened in one evening."""
    query = "SELECT kind, body FROM events WHERE log = ? ORDER BY version"
    with contextlib.closing(sqlite3.connect(data / "evenings.sqlite")) as db:
        return [(kind, json.loads(body)) for kind, body in db.execute(query, [log])]


def measured(tables: int, minutes: float, readings: int, seed: int) -> dict[str, Any]:
    """The whole night's figures."""
    with tempfile.TemporaryDirectory() as folder:
        data, kept = Path(folder) / "data", Path(folder) / "kept"
        learn_practice_table(data / "tables" / f"{PRACTICE_TABLE}.table")
        with served(data, kept) as desk:
            night = Night(desk)
            begins = sorted(random.Random(seed).uniform(0, 60 * minutes) for _ in range(tables))
            started = time.perf_counter()
            seats = [
                threading.Thread(target=run_table, args=(night, number, begins_s, seed))
                for number, begins_s in enumerate(begins)
            ]
            for seat in seats:
                seat.start()
            for seat in seats:
                seat.join()
            ended_s = time.perf_counter() - started
            found = faults(night, data, kept, tables)
            answers = sorted(night.answers_ms)
            memory = read_on(night, tables * SEATS, readings)
    return {
        "tables": tables,
        "boards": tables * SEATS,
        "pressed_into_s": round(ended_s),
        "accidents": dict(night.happened),
        "answer_ms": {
            "median": round(statistics.median(answers), 1),
            "p95": round(answers[int(0.95 * len(answers))], 1),
        },
        "four_boards_s": {
            "median": round(statistics.median(night.readings_s), 1),
            "worst": round(max(night.readings_s), 1),
        },
        "memory_mb": memory,
        "faults": found,
    }


def main() -> int:
    """Measure and print; the exit code is 1 where anything was lost or doubled."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--tables", type=int, default=40)
    parser.add_argument("--minutes", type=float, default=3.0)
    parser.add_argument("--readings", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    told = measured(given.tables, given.minutes, given.readings, given.seed)
    if given.json:
        print(json.dumps(told))
    else:
        print(*(f"{key}: {value}" for key, value in told.items()), sep="\n")
    return 1 if told["faults"] else 0


if __name__ == "__main__":
    sys.exit(main())
