"""Kits: boards, pieces and boxes ready to be photographed, from a game sheet or wholly invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from samples.board import Board, Mark
from samples.grids import PLENTY, Box, Layout, full_box, known_layout, random_board
from samples.invent import PAINTS, card_marks, invent_board, invent_colours
from samples.strip import Strip, lay_strip
from scoring.lattice import cells_at_edge, pitch_mm, regular_lattice, with_anchors
from scoring.regular import Shape
from scoring.sheet import GameSheet
from scoring.types import Lattice

NEAR_PAIRS = (
    ("rust", "copper"), ("moss", "olive"), ("chalk", "bone"), ("tar", "coal"),
    ("straw", "sand"), ("brick", "rust"), ("plum", "berry"), ("moss", "fern"),
)  # fmt: skip
"""Paints that are hard to tell apart in poor light; every invented table has one such pair."""


@dataclass(frozen=True, eq=False)
class Kit:
    """One set of components: its board, lattice, colours, support rule, a way to open a new box,
    and a key strip beside the board if people use one.
    """

    board: Board
    lattice: Lattice
    colours: tuple[str, ...]
    support: str
    open_box: Callable[[], Box]
    strip: Strip | None = None

    def layout(self, rng: np.random.Generator) -> Layout:
        """Return a known layout to calibrate with."""
        return known_layout(self.lattice, self.colours, rng, support=self.support)

    def final_board(self, box: Box, rng: np.random.Generator) -> Layout:
        """Return a finished board, full or nearly so, its pieces taken out of the box."""
        cells = len(self.lattice.cells)
        gaps = int(rng.poisson(0.06 * cells)) if rng.uniform() < 0.8 else 0
        pieces = min(max(1, cells - gaps), sum(box.left.values()))
        return random_board(self.lattice, box, rng, pieces=pieces, support=self.support)


def sheet_kit(sheet: GameSheet, seed: int, marks: Sequence[Mark] | bool | None = None) -> Kit:
    """Return the kit of this game sheet; ``marks`` as in ``invent_board``."""
    colours = tuple(colour.name for colour in sheet.colours)
    board = invent_board(sheet, seed, marks=marks)
    return Kit(board, sheet.lattice, colours, sheet.support, lambda: full_box(sheet))


def invent_kit(seed: int) -> Kit:
    """Invent lattice, colours (one near pair among them), marks or none, and art."""
    rng = np.random.default_rng([seed, 0x417])
    lattice = invent_lattice(rng)
    colours = pick_colours(rng, int(rng.integers(5, 8)))
    printed: Sequence[Mark] | bool = bool(rng.uniform() < 0.4)
    if not printed and rng.uniform() < 0.4:
        printed = card_marks(lattice.board_size_mm, rng)
    board = invent_board(lattice, seed, colours=colours, marks=printed)
    support = str(rng.choice(["any", "all", "none"], p=[0.7, 0.15, 0.15]))
    return Kit(board, lattice, colours, support, lambda: Box(dict.fromkeys(colours, PLENTY)))


def with_strip(kit: Kit, seed: int) -> Kit:
    """Return the same kit used with a printed key strip."""
    rng = np.random.default_rng([seed, 0x57])
    taken = [mark.id for mark in kit.board.marks]
    pitch = pitch_mm(kit.lattice)
    return replace(kit, strip=lay_strip(kit.colours, pitch, kit.board.size_mm, taken, rng))


def pick_colours(rng: np.random.Generator, number: int) -> tuple[str, ...]:
    """Return colour names, one near pair among them, in random order."""
    pair = NEAR_PAIRS[rng.integers(len(NEAR_PAIRS))]
    others = [name for name in invent_colours(rng, len(PAINTS)) if name not in pair]
    chosen = rng.permutation([*pair, *others[: number - 2]])
    return tuple(str(name) for name in chosen)


def invent_lattice(rng: np.random.Generator) -> Lattice:
    """Return one of the regular lattices with 30 to 60 cells and anchors along one edge."""
    kind = str(rng.choice(["square", "courses", "hex-pointy", "hex-flat", "diamond"]))
    lattice = regular_lattice(kind, invent_shape(kind, rng), None)
    edge = str(rng.choice(["top", "bottom", "left", "rim"]))
    return with_anchors(lattice, cells_at_edge(lattice, edge))


def invent_shape(kind: str, rng: np.random.Generator) -> Shape:
    """Return a size that suits this kind of lattice; the frame is 17 to 22 mm wide."""
    wide, rows = int(rng.integers(5, 8)), int(rng.integers(6, 8))
    lengths = tuple(
        wide - (row % 2) * (kind != "hex-flat" and kind != "square") for row in range(rows)
    )
    pitch = float(rng.choice([17.0, 18.5, 20.0, 22.0]))
    frame = float(rng.uniform(17, 22))
    return Shape(
        rows=lengths,
        pitch_mm=pitch,
        gap_mm=float(rng.choice([0.6, 1.0, 1.4])),
        margin_mm=(frame, frame),
        row_pitch_mm=0.82 * pitch if kind == "courses" else None,
        round_lower=kind == "courses" and bool(rng.uniform() < 0.5),
    )
