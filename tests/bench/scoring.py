"""How fast the scoring core is, in one run beside the plain rules of tests/scoring/plain.py.

    python tests/bench/scoring.py            # a table
    python tests/bench/scoring.py --json     # the same as one JSON object
    python tests/bench/scoring.py --seed 2   # other boards

It measures boards a second on a 60-cell board with 30 cards (program and plain networkx/scipy rules
on the same boards, interleaved, totals compared), the time of what 8 doubtful cells of 4 candidates
each can change (and holds it to full enumeration on fewer cells), of a what-if, of the exact
packing, and how the cost grows up to a board of 2,500 cells. Times are medians of processor time,
so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import json
import random
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path

if not __package__:  # run as a file: its own name would hide the room that it measures
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from scoring.doubts import what_hangs
from scoring.explain import what_if
from scoring.lattice import cells_at_edge, regular_lattice, with_anchors
from scoring.legality import floating_pieces
from scoring.patterns import orientations
from scoring.plan import plan_of
from scoring.regular import Shape
from scoring.rules import Card, Cards, Extras, Groups, Rule, Spot
from scoring.sheet import GameSheet
from scoring.tally import tally
from scoring.types import EMPTY, Colour, Grid, Lattice
from tests.scoring.plain import plain_places, plain_total

NAMES = ("moss", "slate", "rust", "lime", "copper")
COLOURS = tuple(Colour(name, name[0].upper(), in_patterns=name != "copper") for name in NAMES)
COPPER = NAMES[-1]


def lattice_of(kind: str, rows: int, columns: int) -> Lattice:
    """A regular board with its lowest row as anchors."""
    lattice = regular_lattice(kind, Shape((columns,) * rows, 20.0, gap_mm=1.0))
    return with_anchors(lattice, cells_at_edge(lattice, "bottom"))


def random_card(lattice: Lattice, name: str, rng: random.Random, each: bool) -> Card:
    """A card of three to five connected cells, all of colours that count in patterns."""
    cells = [rng.choice(list(lattice.neighbours))]
    size = rng.randint(3, 5)
    while len(cells) < size:
        beside = [b for cell in cells for b in lattice.neighbours[cell] if b not in cells]
        cells.append(rng.choice(beside))
    spots = [Spot(*lattice.places[cell], rng.choice("MSRL")) for cell in cells]
    pattern = orientations(tuple(spots), lattice.like, False, False)[0]
    return Card(name, rng.randint(2, 6), pattern=pattern, each=each, common=True)


def sheet_of(
    lattice: Lattice, cards: int, rng: random.Random, *, packed: bool = False
) -> GameSheet:
    """A game of common practice: cards, groups of three or more, a special colour."""
    rules: tuple[Rule, ...] = (
        Cards("cards", share_cards=not packed, share_copies=not packed),
        Groups("groups", NAMES, min_size=3, each=1),
        Extras("extras", COPPER, 1),
    )
    made = tuple(random_card(lattice, f"card {i}", rng, packed) for i in range(cards))
    return GameSheet("bench", lattice, COLOURS, made, rules)


def random_grid(lattice: Lattice, rng: random.Random) -> Grid:
    """A board nearly full, in patches: a cell often takes a neighbour's colour."""
    cells: dict[str, str] = {}
    for cell in lattice.neighbours:
        near = [cells[b] for b in lattice.neighbours[cell] if cells.get(b, EMPTY) != EMPTY]
        lies = rng.choice(near) if near and rng.random() < 0.45 else rng.choice(NAMES)
        cells[cell] = EMPTY if rng.random() < 0.04 else lies
    return Grid(cells)


def milliseconds(work: Callable[[], object]) -> float:
    """Processor time of one run."""
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1000


def run_over(grids: list[Grid], work: Callable[[Grid], object]) -> None:
    """Does the work on every grid and keeps nothing."""
    for grid in grids:
        work(grid)


def boards_a_second(rng: random.Random) -> dict[str, float]:
    """Program and plain rules by turns over the same 60 boards, their totals compared."""
    lattice = lattice_of("hex-pointy", 6, 10)
    sheet = sheet_of(lattice, 30, rng)
    grids = [random_grid(lattice, rng) for _ in range(60)]
    for card in sheet.cards:
        plain_places(sheet, card)
    plan_of(sheet)
    for grid in grids:
        assert tally(sheet, {"Ada": grid}).players[0].total == plain_total(sheet, grid)
    ours, plain = [], []
    for _ in range(7):
        ours.append(milliseconds(lambda: run_over(grids, lambda grid: tally(sheet, {"Ada": grid}))))
        plain.append(milliseconds(lambda: run_over(grids, lambda grid: plain_total(sheet, grid))))
    mine, theirs = statistics.median(ours) / len(grids), statistics.median(plain) / len(grids)
    return {
        "program_boards_a_second": 1000 / mine,
        "plain_boards_a_second": 1000 / theirs,
        "times_as_many": theirs / mine,
    }


def doubts_on(lattice: Lattice, grid: Grid, number: int, rng: random.Random, *, near: bool):
    """A board with doubtful cells of four candidates, strewn or all in one heap."""
    cells = list(lattice.neighbours)
    chosen = rng.sample(cells, number)
    if near:
        chosen = [rng.choice(cells)]
        while len(chosen) < number:
            beside = [b for c in chosen for b in lattice.neighbours[c] if b not in chosen]
            chosen.append(rng.choice(beside))
    board = {cell: (grid[cell],) for cell in cells}
    for cell in chosen:
        board[cell] = tuple(rng.sample([*NAMES, EMPTY], 4))
    return board


def doubts(rng: random.Random) -> dict[str, float]:
    """What 8 doubtful cells of 4 candidates can change, strewn and in one heap."""
    lattice = lattice_of("hex-pointy", 6, 10)
    sheet = sheet_of(lattice, 30, rng)
    found = {}
    for name, near in (("strewn", False), ("heaped", True)):
        times = []
        for _ in range(15):
            board = doubts_on(lattice, random_grid(lattice, rng), 8, rng, near=near)
            rival = {cell: (lies,) for cell, lies in random_grid(lattice, rng).items()}
            boards = {"Ada": board, "Ben": rival}
            times.append(milliseconds(lambda b=boards: what_hangs(sheet, b)))
        found[f"{name}_ms"] = statistics.median(times)
        found[f"{name}_worst_ms"] = max(times)
    check_ranges(sheet, rng)
    unsure = doubts_on(lattice, random_grid(lattice, rng), len(lattice.cells), rng, near=False)
    found["whole_board_unsure_ms"] = milliseconds(lambda: what_hangs(sheet, {"Ada": unsure}))
    return found


def check_ranges(sheet: GameSheet, rng: random.Random) -> None:
    """Ranges of 5 doubtful cells of 4 candidates equal all 1,024 tallies."""
    board = doubts_on(sheet.lattice, random_grid(sheet.lattice, rng), 5, rng, near=True)
    totals = [tally(sheet, {"Ada": grid}).players[0].total for grid in every_grid(board)]
    assert what_hangs(sheet, {"Ada": board}).ranges["Ada"] == (min(totals), max(totals))


def every_grid(board: dict[str, tuple[str, ...]]) -> Iterator[dict[str, str]]:
    """Every grid that the candidates allow."""
    for choice in product(*board.values()):
        yield dict(zip(board, choice, strict=True))


def single_steps(rng: random.Random) -> dict[str, float]:
    """A what-if and an exact packing of 30 cards that share no piece."""
    lattice = lattice_of("hex-pointy", 6, 10)
    sheet, packed = sheet_of(lattice, 30, rng), sheet_of(lattice, 30, rng, packed=True)
    grids = [random_grid(lattice, rng) for _ in range(31)]
    change = {"C4": "moss"}
    plan_of(sheet)
    plan_of(packed)
    what = [milliseconds(lambda g=g: what_if(sheet, {"Ada": g}, {"Ada": change})) for g in grids]
    pack = [milliseconds(lambda g=g: tally(packed, {"Ada": g})) for g in grids]
    return {"what_if_ms": statistics.median(what), "packed_tally_ms": statistics.median(pack)}


def growth(rng: random.Random) -> dict[str, dict[str, float]]:
    """Cost of a tally and of legality by size of board, with 10 cards."""
    found = {}
    for rows, columns in ((6, 10), (12, 20), (25, 25), (50, 50)):
        lattice = lattice_of("hex-pointy", rows, columns)
        sheet = sheet_of(lattice, 10, rng)
        grids = [random_grid(lattice, rng) for _ in range(9)]
        plan_of(sheet)
        tallies = [milliseconds(lambda s=sheet, g=g: tally(s, {"Ada": g})) for g in grids]
        floats = [milliseconds(lambda s=sheet, g=g: floating_pieces(s, g)) for g in grids]
        cells = rows * columns
        found[str(cells)] = {
            "tally_ms": statistics.median(tallies),
            "tally_us_a_cell": statistics.median(tallies) * 1000 / cells,
            "floating_us_a_cell": statistics.median(floats) * 1000 / cells,
        }
    return found


def measure(seed: int) -> dict[str, dict]:
    """All figures."""
    return {
        "boards": boards_a_second(random.Random(seed)),
        "doubts": doubts(random.Random(seed)),
        "steps": single_steps(random.Random(seed)),
        "growth": growth(random.Random(seed)),
    }


def table(figures: dict[str, dict]) -> str:
    """The figures as lines of text."""
    lines = []
    for name, values in figures.items():
        lines.append(name)
        for key, value in values.items():
            inner = value.items() if isinstance(value, dict) else [("", value)]
            lines += [
                f"  {key} {word}".rstrip().ljust(36) + f"{number:10.2f}" for word, number in inner
            ]
    return "\n".join(lines)


def main() -> None:
    """Command line of the bench."""
    parser = argparse.ArgumentParser(description="Speed of the scoring core.")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    figures = measure(options.seed)
    print(json.dumps(figures, indent=2) if options.json else table(figures))


if __name__ == "__main__":
    main()
