"""The rules of scoring as data: a short list of kinds, each needed by a real rule of the trade.

What each kind gives for a board, with its proof, is in kinds.py and cards.py. Left out on purpose:

- rules about how a board came to be (order of moves, speed, trades): a finished board does not show
  them; what must count is handed in as a fact and scored by ``Ends``;
- formulas: a table of points by size or count says the same and needs no code in a sheet;
- points that hang on another player's board (majorities): no rule asked of us so far needs them;
  as a tie-break they are in ``TieBreak``;
- paths and distances: where they count at all in this family, they count as groups.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Table = tuple[tuple[int, int], ...]
"""Points by number, ascending: (3, 2), (5, 6) gives 2 from three on and 6 from five on."""


def from_table(table: Table, number: int) -> int:
    """Points that a table gives for a number; nothing below its first entry."""
    return max(((n, points) for n, points in table if n <= number), default=(0, 0))[1]


@dataclass(frozen=True)
class Spot:
    """One cell of a card's pattern: a step (u, v) of the lattice and what must lie there.

    ``needs`` is a colour's letter, ``*`` (any piece), ``_`` (no piece), or a digit: equal digits
    are one colour, different digits different colours.
    """

    u: int
    v: int
    needs: str


@dataclass(frozen=True)
class Card:
    """An objective: the arrangement that completes it and its points.

    ``pattern`` may lie anywhere, turned and mirrored as allowed; ``at`` (cell id -> needs) lies in
    its own place. ``each`` counts every completion, not only one. ``common`` cards are open to all
    players; others count for the players who claim them, and cost ``missed`` points if claimed and
    not complete.
    """

    name: str
    points: int
    pattern: tuple[Spot, ...] = ()
    at: tuple[tuple[str, str], ...] = ()
    turns: bool = True
    mirrors: bool = True
    each: bool = False
    common: bool = False
    missed: int = 0


@dataclass(frozen=True)
class Groups:
    """Points for groups: a flat sum, so many a piece, or by a table of sizes, from a least size on.

    ``only`` is "all", "largest" (of the board) or "largest-of-each-colour".
    """

    label: str
    colours: tuple[str, ...]
    min_size: int = 1
    each: int = 0
    flat: int = 0
    by_size: Table = ()
    only: str = "all"

    def points(self, size: int) -> int:
        """Points for one group of this size."""
        if size < self.min_size:
            return 0
        return self.flat + self.each * size + from_table(self.by_size, size)


@dataclass(frozen=True)
class Cards:
    """Points for cards; whether two cards, or two copies of one, may count the same piece."""

    label: str
    share_cards: bool = True
    share_copies: bool = True


@dataclass(frozen=True)
class Extras:
    """Points for every piece of one colour, which goes on counting in groups."""

    label: str
    colour: str
    each: int


@dataclass(frozen=True)
class Regions:
    """Points for each row, column, ring or named region that is as needed.

    ``need`` is "full", "one-colour" or "all-different" (both of them full as well).
    """

    label: str
    regions: Mapping[str, tuple[str, ...]] = field(hash=False)
    points: int
    need: str = "full"


@dataclass(frozen=True)
class Variety:
    """Points by the number of distinct colours in each region, or around each piece of a colour."""

    label: str
    regions: Mapping[str, tuple[str, ...]] = field(hash=False)
    around: str = ""
    each: int = 0
    by_count: Table = ()

    def points(self, distinct: int) -> int:
        """Points for so many distinct colours."""
        return self.each * distinct + from_table(self.by_count, distinct)


@dataclass(frozen=True)
class Adjacent:
    """Points for every whole side at which a piece of one colour lies against one of another."""

    label: str
    colours: tuple[str, str]
    each: int


@dataclass(frozen=True)
class Empties:
    """Points (mostly a cost) for every cell left empty."""

    label: str
    each: int


@dataclass(frozen=True)
class Ends:
    """Points for a given fact of the game's end, such as being the first to fill the board."""

    label: str
    fact: str
    points: int


Rule = Groups | Cards | Extras | Regions | Variety | Adjacent | Empties | Ends


@dataclass(frozen=True)
class TieBreak:
    """What decides between players of equal total.

    ``by`` is "rule" (points of the rule labelled ``of``), "pieces" (of colour ``of``, or of any),
    "cards" (completions that count), "largest-group" (of colour ``of``, or of any) or "fact"
    (whether the fact ``of`` is given).
    """

    by: str
    of: str = ""
    fewer: bool = False
