"""What the boards of one game settle for each other, on tables and photos made from a seed.

    python tests/bench/one_light.py [--seed 7] [--tables 4] [--games 3] [--difficulty 0.5]
                                    [--own-lights]

Each game is three boards that share one box and one light, another than that of the calibration,
each snapped from a stand of its own; with ``--own-lights`` each board has a light of its own.
Printed per table, for boards read one by one and for all of a game together: cells in doubt,
cells silently wrong, questions that a truthful person is asked until no doubt is left, and what is
silently wrong then.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.types import Table
from samples.bench_folder import PLAYERS
from samples.conditions import Conditions
from samples.kits import Kit, invent_kit
from samples.photographer import Shot, take_photo
from scoring.errors import TallyglassError
from tests.bench.second_look import doubts, photo_of, table_of
from tests.bench.yardsticks import below_cover, most_doubtful
from vision.one_light import settle_together
from vision.read import read_photo
from vision.second_look import settle
from vision.types import Reading

SIZE_PX = (1200, 900)
Told = Sequence[Mapping[str, str]]
Settle = Callable[[Sequence[Reading], Told, Table], Sequence[Reading]]


def one_by_one(boards: Sequence[Reading], told: Told, table: Table) -> Sequence[Reading]:
    """Every board after what was said of it, whatever the others show."""
    return [settle(board, its, table) for board, its in zip(boards, told, strict=True)]


WAYS: Mapping[str, Settle] = {"one by one": one_by_one, "together": settle_together}


@dataclass(frozen=True)
class Played:
    """One game's boards as read, and the photos with their truth."""

    table: Table
    boards: tuple[Reading, ...]
    shots: tuple[Shot, ...]


def games_of(
    kit: Kit, number: int, difficulty: float, rng: np.random.Generator, *, own_lights: bool
) -> Iterator[Played]:
    """Games of one table, each in a light of its own; boards that are not found are left out."""
    base = replace(Conditions.random(rng, difficulty), size_px=SIZE_PX, supersample=1.0)
    table = table_of(kit, base, rng)
    for _ in range(number):
        box, light = kit.open_box(), base.in_light(rng, difficulty)
        shots = []
        for _ in range(PLAYERS):
            light = base.in_light(rng, difficulty) if own_lights else light
            stand = replace(light.snapped(rng, difficulty), size_px=SIZE_PX)
            shots.append(take_photo(kit.board, dict(kit.final_board(box, rng)), stand, rng))
        read = list(_read(shots, table))
        yield Played(table, tuple(board for board, _ in read), tuple(shot for _, shot in read))


def _read(shots: Sequence[Shot], table: Table) -> Iterator[tuple[Reading, Shot]]:
    for shot in shots:
        try:
            yield read_photo(photo_of(shot), table), shot
        except TallyglassError as error:
            print(f"not read: {error}", file=sys.stderr)


def figures(game: Played, way: Settle) -> np.ndarray:
    """Cells, those in doubt, silently wrong, questions, and silently wrong once settled."""
    told: list[dict[str, str]] = [{} for _ in game.boards]
    seen = way(game.boards, told, game.table)
    cells, open_cells = sum(len(b.cells) for b in seen), sum(map(doubts, seen))
    wrong = _wrong(game, seen, told)
    now = seen
    while open_cell := _next_doubt(now, game.table, told):
        board, cell = open_cell
        truth = game.shots[board].truth
        told[board][cell] = below_cover(truth.labels, truth.under_cover)[cell]
        now = way(game.boards, told, game.table)
    return np.array([cells, open_cells, wrong, sum(map(len, told)), _wrong(game, now, told)])


def _next_doubt(boards: Sequence[Reading], table: Table, told: Told) -> tuple[int, str] | None:
    for number, (board, its) in enumerate(zip(boards, told, strict=True)):
        if cell := most_doubtful(board, table, its):
            return number, cell
    return None


def _wrong(game: Played, boards: Sequence[Reading], told: Told) -> int:
    return sum(
        read.doubt is None and read.colour != shot.truth.labels[cell]
        for board, shot, its in zip(boards, game.shots, told, strict=True)
        for cell, read in board.cells.items()
        if cell not in its
    )


def main() -> int:
    """Make, read and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--tables", type=int, default=4)
    parser.add_argument("--games", type=int, default=3)
    parser.add_argument("--difficulty", type=float, default=0.5)
    parser.add_argument("--own-lights", action="store_true", help="each board in its own light")
    asked = parser.parse_args()
    print("table                read        cells  doubts  wrong  questions  wrong once settled")
    sums = {way: np.zeros(5) for way in WAYS}
    for number in range(asked.tables):
        seed = 1000 * asked.seed + number
        kit, rng = invent_kit(seed), np.random.default_rng([seed, 0x116])
        rows = {way: np.zeros(5) for way in WAYS}
        for game in games_of(kit, asked.games, asked.difficulty, rng, own_lights=asked.own_lights):
            for way, settled_by in WAYS.items():
                rows[way] += figures(game, settled_by)
        for way, row in rows.items():
            _print(f"{seed} {kit.lattice.kind}", way, row)
            sums[way] += row
    for way, row in sums.items():
        _print("all", way, row)
    return 0


def _print(name: str, way: str, row: np.ndarray) -> None:
    cells, open_cells, wrong, questions, left = row
    words = f"{name:20} {way:11} {cells:5.0f}  {open_cells:6.0f}  {wrong:5.0f}"
    print(f"{words}  {questions:9.0f}  {left:18.0f}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
