"""Saves games one after another and says each number once it is acknowledged; made to be killed."""

from __future__ import annotations

import io
import random
import sys
from pathlib import Path

from PIL import Image

from desk.archive import Archive
from desk.records import Answer, BoardRecord, GameRecord


def photo(seed: int) -> bytes:
    pixels = random.Random(seed).randbytes(160 * 120 * 3)
    out = io.BytesIO()
    Image.frombytes("RGB", (160, 120), pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


def board(player: str, seed: int) -> BoardRecord:
    reading = {"photo": f"{player}.jpg", "found": True}
    return BoardRecord(player, f"{player}.jpg", photo(seed), reading, {"A1": "moss"})


def game(seed: int) -> GameRecord:
    return GameRecord(
        sheet_name="Trial",
        sheet_text="name = 'Trial'",
        table_name="trial",
        table_sha256="0" * 64,
        boards=(board("Ana", 2 * seed), board("Ben", 2 * seed + 1)),
        answers=(Answer("Ana", "A1", "moss", "host", "2026-11-25T18:00:00+00:00"),),
        claims={"Ana": ["crest"]},
        tally={
            "players": [{"player": "Ana", "total": seed}, {"player": "Ben", "total": 3}],
            "winners": ["Ana"],
        },
        versions={"tallyglass": "0.1.0"},
    )


if __name__ == "__main__":
    archive = Archive(Path(sys.argv[1]))
    for seed in range(int(sys.argv[2]), 10_000):
        print(archive.save(game(seed)), seed, flush=True)
