"""Saves that are killed at random moments, and what must be true of the archive afterwards."""

from __future__ import annotations

import hashlib
import os
import random
import select
import signal
import sys
from pathlib import Path

from desk.archive import Archive
from desk.records import GameRecord
from tests.desk.saving import game

Place = tuple[Path | str, str | None]
"""Where an archive lies, and where its photos lie if not beside it."""

DISTINCT = 60
"""Different games that are saved in turn."""


def check(place: Place, kills: int, rng: random.Random) -> int:
    """Kill a saving process so often; returns how many games were acknowledged."""
    where, photos = place
    games = [game(seed) for seed in range(DISTINCT)]
    Archive(where, photos=photos)
    acknowledged: dict[int, int] = {}
    for kill in range(kills):
        acknowledged |= killed_while_saving(where, games, kill * 7, rng.uniform(0, 0.06))
    archive = Archive(where)
    for number, seed in acknowledged.items():
        kept = archive.game(number)
        assert kept["tally"] == games[seed].tally
        assert len(kept["answers"]) == 1
        assert len(kept["boards"]) == 2
        for board in kept["boards"]:
            stored = archive.photo(board["photo_file"])
            assert hashlib.sha256(stored).hexdigest() in board["photo_file"]
    assert len(archive.games()) >= len(acknowledged) > kills / 3
    return len(acknowledged)


def killed_while_saving(
    where: Path | str, games: list[GameRecord], first: int, after_s: float
) -> dict[int, int]:
    """Seeds by number of the games that a process acknowledged before SIGKILL ended it.

    The process is forked, not started: 1,000 kills then take minutes, and it dies no less.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        save_for_ever(where, games, first, writer)
    os.close(writer)
    with os.fdopen(reader) as told:
        select.select([told], [], [], 60)  # the first save is done, or the process has failed
        select.select([], [], [], after_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = [line for line in told.read().splitlines(keepends=True) if line.endswith("\n")]
    return dict(tuple(map(int, line.split())) for line in lines)  # type: ignore[misc]


def save_for_ever(where: Path | str, games: list[GameRecord], first: int, writer: int) -> None:
    """Save one game after another, saying each once it is acknowledged, until killed."""
    try:
        archive = Archive(where)
        for turn in range(first, first + 100_000):
            seed = turn % len(games)
            number = archive.save(games[seed])
            os.write(writer, f"{number} {seed}\n".encode())
    finally:
        sys.stderr.flush()
        os._exit(1)
