"""How far a card is from complete: the place that needs the fewest changes, and which."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from scoring.board import Board
from scoring.plan import NOTHING, Plan, plan_of
from scoring.rules import Card
from scoring.sheet import GameSheet
from scoring.types import EMPTY

Spot = tuple[int, str]
"""Number of a cell and what the card needs there."""

ANY = "any piece"


@dataclass(frozen=True)
class Change:
    """What would have to be otherwise: in this cell lies one thing where another is needed."""

    cell: str
    lies: str
    needed: str

    def __str__(self) -> str:
        return f"{self.cell} is {self.lies} where {self.needed} is needed"


@dataclass(frozen=True)
class NearMiss:
    """The place where a card is nearest to complete: its cells, and the fewest changes."""

    card: str
    cells: tuple[str, ...]
    changes: tuple[Change, ...]

    def __str__(self) -> str:
        if not self.changes:
            return f"{self.card} is complete: {' '.join(self.cells)}"
        away = "one piece away" if len(self.changes) == 1 else f"{len(self.changes)} pieces away"
        return f"{self.card}, {', '.join(map(str, self.changes))}, {away}"


def near_miss(sheet: GameSheet, grid: Mapping[str, str], card: Card) -> NearMiss:
    """The place that needs the fewest changes to complete a card; the first in a fixed order.

    Where several colours would do, the one that most of the cells have already is named.
    """
    plan = plan_of(sheet)
    colours = Board.of(plan, grid).colours
    best: tuple[int, list[tuple[int, int | str]], list[Spot]] | None = None
    for spots in _places(plan, card):
        surely = _sure_changes(plan, colours, spots)
        if best and len(surely) >= best[0]:
            continue
        changes = surely + _digit_changes(plan, colours, spots)
        if best is None or len(changes) < best[0]:
            best = (len(changes), changes, spots)
    assert best is not None, "the sheet has proven that every card fits the board"
    _, changes, spots = best
    return NearMiss(
        card=card.name,
        cells=tuple(plan.ids[cell] for cell, _ in sorted(spots)),
        changes=tuple(_in_words(plan, colours, *change) for change in sorted(changes, key=_cell)),
    )


def near_misses(sheet: GameSheet, grid: Mapping[str, str]) -> tuple[NearMiss, ...]:
    """For every card the place where it is nearest to complete; nearest cards first."""
    found = [near_miss(sheet, grid, card) for card in sheet.cards]
    return tuple(sorted(found, key=lambda miss: len(miss.changes)))


def _cell(change: tuple[int, int | str]) -> int:
    return change[0]


def _places(plan: Plan, card: Card) -> Iterator[list[Spot]]:
    """Every place on the board in which a card fits."""
    for way in plan.ways[card.name]:
        for bit in plan.bits:
            if way.within >> bit & 1 and all(bit + o in plan.numbers for o, _ in way.spots):
                yield [(plan.numbers[bit + offset], needs) for offset, needs in way.spots]


def _sure_changes(
    plan: Plan, colours: Sequence[int], spots: Sequence[Spot]
) -> list[tuple[int, int | str]]:
    """Cells that do not hold the very thing needed, and what it is."""
    changes: list[tuple[int, int | str]] = []
    for cell, needs in spots:
        lies = colours[cell]
        if needs == "_":
            if lies != NOTHING:
                changes.append((cell, NOTHING))
        elif needs == "*":
            if not _counts(plan, lies):
                changes.append((cell, ANY))
        elif not needs.isdigit() and lies != plan.letter_index[needs]:
            changes.append((cell, plan.letter_index[needs]))
    return changes


def _counts(plan: Plan, colour: int) -> bool:
    return colour != NOTHING and plan.in_patterns[colour]


def _digit_changes(
    plan: Plan, colours: Sequence[int], spots: Sequence[Spot]
) -> list[tuple[int, int | str]]:
    """Fewest changes that give equal digits one colour and different digits different ones."""
    digits = sorted({needs for _, needs in spots if needs.isdigit()})
    if not digits:
        return []
    classes = [[cell for cell, needs in spots if needs == digit] for digit in digits]
    _, chosen = _assign(plan, colours, classes, frozenset())
    spare = iter(c for c, counts in enumerate(plan.in_patterns) if counts and c not in chosen)
    named = [next(spare) if colour is None else colour for colour in chosen]
    pairs = zip(classes, named, strict=True)
    return [(cell, colour) for own, colour in pairs for cell in own if colours[cell] != colour]


def _assign(
    plan: Plan, colours: Sequence[int], classes: Sequence[list[int]], taken: frozenset[int]
) -> tuple[int, list[int | None]]:
    """(cells that are right, colours): a different colour for each class of cells, or None.

    Most cells have theirs already; None leaves it open which of the other colours a class gets.
    """
    if not classes:
        return 0, []
    own, rest = classes[0], classes[1:]
    right, chosen = _assign(plan, colours, rest, taken)
    best: tuple[int, list[int | None]] = (right, [None, *chosen])
    for colour in sorted({colours[cell] for cell in own} - taken):
        if _counts(plan, colour):
            right, chosen = _assign(plan, colours, rest, taken | {colour})
            right += sum(colours[cell] == colour for cell in own)
            best = max(best, (right, [colour, *chosen]), key=lambda found: found[0])
    return best


def _in_words(plan: Plan, colours: Sequence[int], cell: int, needed: int | str) -> Change:
    names = [*plan.colours, EMPTY]
    needed = needed if isinstance(needed, str) else names[needed]
    return Change(plan.ids[cell], names[colours[cell]], needed)
