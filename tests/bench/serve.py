"""The web desk under a table's load: from upload to overlay, twelve phones at once, page answers.

    python tests/bench/serve.py [--megapixels 12] [--phones 12] [--json]

A real server is started. Photos are painted by the photographer at the asked size and saved as a
phone would. Figures: seconds from the first byte sent to the overlay being ready, one photo at a
time (median, worst); with all phones uploading at once, photos read, seconds until the last is
read, and the time of the page's own answers meanwhile (ms, median and 95th percentile).
"""

from __future__ import annotations

import argparse
import io
import json
import statistics
import sys
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from desk.web.demo_evening import PRACTICE_TABLE, learn_practice_table  # noqa: E402
from samples.kits import sheet_kit  # noqa: E402
from samples.penmarrow import load_penmarrow  # noqa: E402
from samples.photographer import take_photo  # noqa: E402
from samples.practice import CAFE, PENMARROW_PRINT, game_conditions  # noqa: E402
from scoring.grid import parse_grid  # noqa: E402
from tests.desk.practice import PRACTICE  # noqa: E402
from tests.desk.web.served import served  # noqa: E402

HEADERS = {"X-Tallyglass": "1"}
POLL_S = 0.05


def large_photos(megapixels: float, number: int) -> list[bytes]:
    """So many different photos of boards, painted at this size (not enlarged), JPEG quality 97.

    Three are painted; the others are these with some px cut off, so that none was read before.
    """
    sheet = load_penmarrow()
    width = round((megapixels * 1e6 * 4 / 3) ** 0.5)
    light = replace(CAFE, size_px=(width, round(width * 3 / 4)), supersample=1, noise=0.012)
    board = sheet_kit(sheet, PENMARROW_PRINT, None).board
    rng = np.random.default_rng(3)
    texts = json.loads((PRACTICE / "truth.json").read_text("utf-8"))["grids"].values()
    shots = []
    for seat, text in enumerate(texts):
        conditions = game_conditions(light, seat, rng)
        shots.append(take_photo(board, parse_grid(text, sheet), conditions, rng).pixels)
    return [jpeg(shots[i % len(shots)][i:, i:]) for i in range(number)]


def jpeg(pixels: np.ndarray) -> bytes:
    """As a phone saves it."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=97)
    return out.getvalue()


class Phone:
    """One phone at the table, on an evening of its own."""

    def __init__(self, address: str, number: int) -> None:
        self.client = httpx.Client(base_url=address, headers=HEADERS, timeout=120)
        form = {"name": f"Phone {number}", "table": PRACTICE_TABLE, "players": ["Ana"]}
        self.path = f"/api/evenings/{self.client.post('/api/evenings', json=form).json()['id']}"
        self.answers_ms: list[float] = []
        self.sent = 0

    def timed(self, path: str) -> Any:
        """One of the page's own questions, and how long its answer took."""
        started = time.perf_counter()
        answer = self.client.get(path)
        self.answers_ms.append(1000 * (time.perf_counter() - started))
        answer.raise_for_status()
        return answer.json()

    def overlay_s(self, photo: bytes) -> float:
        """Send a photo; seconds until its overlay can be drawn."""
        self.sent += 1
        started = time.perf_counter()
        path = f"{self.path}/games/1/boards/0/photo"
        self.client.put(f"{path}?upload=bench-{self.sent:04d}", content=photo).raise_for_status()
        while True:
            board = self.timed(self.path)["games"][0]["boards"]["0"]
            if board["state"] != "reading":
                assert board["state"] == "read", board
                self.timed(f"/api/readings/{board['reading']}")
                return time.perf_counter() - started
            time.sleep(POLL_S)


def measured(megapixels: float, phones: int) -> dict[str, Any]:
    """All figures."""
    photos = large_photos(megapixels, phones + 6)
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        data.mkdir()
        learn_practice_table(data / "tables" / f"{PRACTICE_TABLE}.table")
        with served(data, Path(folder) / "archive") as desk:
            first = Phone(desk.address, 0)
            first.overlay_s(photos[-1])  # workers come up
            first.overlay_s(photos[-2])
            alone = [first.overlay_s(photo) for photo in photos[-6:-2]]
            many = together([Phone(desk.address, n + 1) for n in range(phones)], photos)
    return {
        "megapixels": megapixels,
        "photo_mb": round(len(photos[0]) / 1e6, 1),
        "overlay_s": {"median": round(statistics.median(alone), 2), "worst": round(max(alone), 2)},
        **many,
    }


def together(phones: list[Phone], photos: list[bytes]) -> dict[str, Any]:
    """All phones send at once and ask on meanwhile."""
    seconds: list[float] = []
    threads = [
        threading.Thread(target=lambda p=phone, d=photo: seconds.append(p.overlay_s(d)))
        for phone, photo in zip(phones, photos, strict=False)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    answers = sorted(ms for phone in phones for ms in phone.answers_ms)
    return {
        "phones": len(phones),
        "read": len(seconds),
        "last_s": round(max(seconds), 2),
        "answer_ms": {
            "median": round(statistics.median(answers), 1),
            "p95": round(answers[int(0.95 * len(answers))], 1),
            "answers": len(answers),
        },
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--phones", type=int, default=12)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    found = measured(given.megapixels, given.phones)
    if given.json:
        print(json.dumps(found))
        return
    print(f"{found['megapixels']:g} MP, {found['photo_mb']} MB a photo")
    print(
        "upload to overlay, one at a time: {median} s median, {worst} s worst".format(
            **found["overlay_s"]
        )
    )
    print(f"{found['phones']} phones at once: {found['read']} read, last after {found['last_s']} s")
    print(
        "page answers meanwhile: {median} ms median, {p95} ms p95 of {answers}".format(
            **found["answer_ms"]
        )
    )


if __name__ == "__main__":
    main()
