"""The value types that cross the walls of scoring. Lengths are in mm; x runs right, y runs down."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

EMPTY = "empty"
"""What a grid says of a cell without a piece."""

Point = tuple[float, float]


@dataclass(frozen=True)
class Cell:
    """One place for one piece: id such as ``C4``, outline in board mm, whether it is an anchor."""

    id: str
    polygon_mm: tuple[Point, ...]
    anchor: bool = False


@dataclass(frozen=True, eq=False)
class Lattice:
    """The cells of a board, which share a whole side, and which sides lie toward the anchors.

    ``neighbours`` maps each cell id to the ids it shares a whole side with, in cell order;
    ``inner`` to those of them that lie toward the anchors. ``board_size_mm`` is (width, height).
    ``places`` maps each cell id to its step (u, v) on the regular lattice ``like`` in which
    patterns are written, as regular.py says; both are empty on an irregular board.
    """

    kind: str
    cells: tuple[Cell, ...]
    board_size_mm: tuple[float, float]
    neighbours: Mapping[str, tuple[str, ...]]
    inner: Mapping[str, tuple[str, ...]]
    places: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    like: str = ""


@dataclass(frozen=True)
class Colour:
    """One colour of piece: plain name, one letter, and how many the box holds (None: not said).

    A colour with ``in_patterns`` False never takes part in a card's pattern.
    """

    name: str
    letter: str
    supply: int | None = None
    in_patterns: bool = True


@dataclass(frozen=True)
class Grid(Mapping[str, str]):
    """What lies on one board: every cell id of the lattice -> colour name or ``EMPTY``."""

    cells: Mapping[str, str]

    def __getitem__(self, cell: str) -> str:
        return self.cells[cell]

    def __iter__(self) -> Iterator[str]:
        return iter(self.cells)

    def __len__(self) -> int:
        return len(self.cells)


@dataclass(frozen=True, slots=True)
class Proof:
    """One cause of points: these cells give these points, said in words a player understands."""

    cells: tuple[str, ...]
    points: int
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a player's tally: a rule of the sheet (or a card), its points and their proofs."""

    rule: str
    label: str
    points: int
    proofs: tuple[Proof, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Problem:
    """Something that cannot be so on a finished board; never repaired in silence."""

    player: str
    cells: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class PlayerTally:
    """One player's total and the lines that add up to it."""

    player: str
    total: int
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Tally:
    """All players' totals in the order given, the winner or winners, what broke a tie, problems."""

    players: tuple[PlayerTally, ...]
    winners: tuple[str, ...]
    tie_break: str = ""
    problems: tuple[Problem, ...] = field(default=())
