"""What a second photo of the same board settles, on tables and photos made from a seed.

    python tests/bench/second_look.py [--seed 7] [--tables 3] [--boards 4] [--difficulty 0.6]

Each board is snapped twice with the same pieces lying in the same places, from two stands, with
another hand's shadow, another exposure and perhaps a die. Printed per table: cells in doubt and
silently wrong in a photo alone (mean of the two), and in both read together.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.learn import calibrate
from calibrate.types import Table
from samples.conditions import Conditions
from samples.kits import Kit, invent_kit
from samples.photographer import Shot, empty_grid, take_photo
from scoring.errors import TallyglassError
from scoring.types import Grid
from tests.vision.practice import sheet_of
from vision.decode import load_photo
from vision.read import read_photo
from vision.second_look import read_together, why_look_again
from vision.types import Photo, Reading

COVERED = "covered"


@dataclass(frozen=True)
class Pair:
    """Two shots of one board, and what each makes of it alone and both together."""

    shots: tuple[Shot, Shot]
    alone: tuple[Reading, Reading]
    together: Reading
    advice: str | None


def table_of(kit: Kit, light: Conditions, rng: np.random.Generator) -> Table:
    """The table calibrated on two photos of the empty board and two of a layout in this light."""
    board, layout = kit.board, kit.layout(rng)
    sheet = sheet_of(board, kit.lattice)
    calm = [replace(light.snapped(rng, 0.3), dice=0, fingers=0) for _ in range(4)]
    empty = [take_photo(board, empty_grid(board), stand, rng) for stand in calm[:2]]
    laid = [take_photo(board, layout, stand, rng) for stand in calm[2:]]
    corners = None if sheet.marks else np.array(empty[0].truth.board_corners_px)
    known = [(photo_of(shot), Grid(layout)) for shot in laid]
    return calibrate(board.title, sheet, [photo_of(shot) for shot in empty], known, corners)


def photo_of(shot: Shot) -> Photo:
    """The shot as it comes back from the file that the phone saves."""
    return load_photo(shot.jpeg(), "photo.jpg")


def two_looks(
    kit: Kit, grid: dict[str, str], stands: Sequence[Conditions], seed: int
) -> tuple[Shot, Shot]:
    """Two photos of the same pieces in the same places: what is drawn of pieces is drawn alike."""
    first, second = (
        take_photo(kit.board, grid, stand, np.random.default_rng(seed)) for stand in stands
    )
    return first, second


def pairs_of(kit: Kit, boards: int, difficulty: float, rng: np.random.Generator) -> Iterator[Pair]:
    """Pairs of photos of finished boards of one table in one light."""
    light = replace(Conditions.random(rng, difficulty), size_px=(1200, 900), supersample=1.0)
    table = table_of(kit, light, rng)
    for number in range(boards):
        grid = dict(kit.final_board(kit.open_box(), rng))
        stands = [_same_pieces(light.snapped(rng, difficulty), light) for _ in range(2)]
        shots = two_looks(kit, grid, stands, int(rng.integers(1 << 30)) + number)
        try:
            alone = [read_photo(photo_of(shot), table) for shot in shots]
            together = read_together(alone, table)
        except TallyglassError as error:
            print(f"not read: {error}", file=sys.stderr)
            continue
        yield Pair(shots, (alone[0], alone[1]), together, why_look_again(alone[0], table))


def _same_pieces(stand: Conditions, light: Conditions) -> Conditions:
    return replace(
        stand, jitter_mm=light.jitter_mm, jitter_deg=light.jitter_deg, loose=0, size_px=(1200, 900)
    )


def doubts(reading: Reading) -> int:
    """How many cells are in doubt."""
    return sum(read.doubt is not None for read in reading.cells.values())


def silent(reading: Reading, truths: Sequence[Shot]) -> int:
    """How many certain cells are wrong; what is covered in one photo counts as what lies there."""
    below = {cell: label for shot in truths for cell, label in shot.truth.under_cover.items()}
    truth = {
        cell: below.get(cell, label) if label == COVERED else label
        for cell, label in truths[0].truth.labels.items()
    }
    certain = {cell: read.colour for cell, read in reading.cells.items() if read.doubt is None}
    return sum(colour != truth[cell] for cell, colour in certain.items())


def main() -> int:
    """Make, read and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--tables", type=int, default=3)
    parser.add_argument("--boards", type=int, default=4)
    parser.add_argument("--difficulty", type=float, default=0.6)
    asked = parser.parse_args()
    print("table                cells | alone: doubts silent | together: doubts silent | advised")
    sums = np.zeros(6)
    for number in range(asked.tables):
        seed = 1000 * asked.seed + number
        kit = invent_kit(seed)
        row = np.zeros(6)
        for pair in pairs_of(kit, asked.boards, asked.difficulty, np.random.default_rng(seed)):
            row += _figures(pair)
        _print(f"{seed} {kit.lattice.kind}", row)
        sums += row
    _print("all", sums)
    return 0


def _figures(pair: Pair) -> np.ndarray:
    return np.array(
        [
            len(pair.together.cells),
            sum(doubts(reading) for reading in pair.alone) / 2,
            sum(map(silent, pair.alone, ([shot] for shot in pair.shots))) / 2,
            doubts(pair.together),
            silent(pair.together, pair.shots),
            pair.advice is not None,
        ]
    )


def _print(name: str, row: np.ndarray) -> None:
    cells, alone, wrong, together, both_wrong, advised = row
    print(
        f"{name:20} {cells:5.0f} | {alone:13.1f} {wrong:6.1f} | {together:16.0f} {both_wrong:6.0f}"
        f" | {advised:4.0f}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
