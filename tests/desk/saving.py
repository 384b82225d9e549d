"""Saves games one after another and says each number once it is acknowledged; made to be killed."""

from __future__ import annotations

import hashlib
import io
import random
import sys
from pathlib import Path
from typing import Any

from PIL import Image

from desk.archive import Archive
from desk.keeping.recount import counted
from desk.records import Answer, BoardRecord, GameRecord
from scoring.grid import parse_grid
from scoring.types import Grid
from tests.desk.fakes import ANA, BEN, SHEET, sheet

TABLE_FILE = b"a table that nobody reads"


def photo(seed: int) -> bytes:
    pixels = random.Random(seed).randbytes(160 * 120 * 3)
    out = io.BytesIO()
    Image.frombytes("RGB", (160, 120), pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


GRIDS = (ANA, BEN, *(ANA.replace("A: . M", f"A: {two}") for two in ("M M", ". .", "S M", "M .")))
"""Boards of the trial game in letters."""


def reading(player: str, grid: Grid) -> dict[str, Any]:
    cells = {c: {"colour": k, "candidates": [k], "doubt": None} for c, k in grid.items()}
    return {"photo": f"{player}.jpg", "found": True, "method": "marks", "cells": cells}


def board(player: str, seed: int) -> BoardRecord:
    grid = parse_grid(GRIDS[seed // 2 % len(GRIDS)] if player == "Ana" else BEN, sheet())
    return BoardRecord(
        player, f"{player}.jpg", photo(seed), reading(player, grid), dict(grid.items())
    )


def game(
    seed: int, players: tuple[str, ...] = ("Ana", "Ben"), evening: str = "", league: str = ""
) -> GameRecord:
    """A game of the trial sheet whose boards, photos and tally follow from the seed."""
    boards = tuple(board(player, 2 * seed + seat) for seat, player in enumerate(players))
    claims = {"cards": {players[0]: ["Stile"]}, "facts": {}}
    return GameRecord(
        sheet_name="Trial Field",
        sheet_text=SHEET,
        table_name="trial",
        table_sha256=hashlib.sha256(TABLE_FILE).hexdigest(),
        boards=boards,
        answers=(Answer(players[0], "A2", "moss", "host", "2026-11-25T18:00:00+00:00"),),
        claims=claims,
        tally=counted(sheet(), {b.player: b.grid for b in boards}, claims),
        versions={"tallyglass": "0.1.0"},
        table_file=TABLE_FILE,
        evening=evening,
        league=league,
    )


if __name__ == "__main__":
    archive = Archive(Path(sys.argv[1]))
    for seed in range(int(sys.argv[2]), 10_000):
        print(archive.save(game(seed)), seed, flush=True)
