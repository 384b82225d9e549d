"""What is the same for all boards of a sheet, worked out once: cells as numbers, cards as bits.

A cell's bit is v * stride + u, from its step (u, v) on the lattice, so that a whole pattern is
looked for in all places at once: one shift and one "and" a spot. The stride leaves room for the
widest pattern on both sides, so that no shift runs from one row into the next. On a board without
steps the bits just number the cells.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from scoring.patterns import Spots, orientations
from scoring.regular import Step
from scoring.rules import Card
from scoring.sheet import GameSheet
from scoring.types import EMPTY

NOTHING = -1
"""Number of an empty cell's colour."""

Cells = tuple[int, ...]


@dataclass(frozen=True)
class Way:
    """One way for a pattern to lie, offsets counted in bits from its first spot.

    ``spots`` holds (offset, what is needed there); ``slots`` (offset, slot): the slot numbers the
    set of cells that will do, a colour's number or ``Plan.any_piece`` or ``Plan.no_piece``;
    ``start`` is the number in ``Plan.starts`` of the first two of them, which many ways share,
    ``shifts`` the numbers in ``Plan.shifts`` of the others. ``pairs`` holds (offset of the first,
    bits apart, whether of one colour) for digits. ``within`` are the bits at which the first spot
    may lie: all (-1), or one for a card that lies in its own place.
    """

    spots: tuple[tuple[int, str], ...]
    slots: tuple[tuple[int, int], ...]
    start: int
    shifts: tuple[int, ...]
    pairs: tuple[tuple[int, int, bool], ...]
    within: int


@dataclass(frozen=True, eq=False)
class Plan:
    """Cells and colours by number, and how every card may lie.

    ``beside[i]`` are the numbers of the cells that share a whole side with cell i; ``bits[i]`` is
    its bit, ``numbers`` the way back; ``ways`` holds for each card name every distinct way to lie,
    ``shifts`` every different (offset, slot) that they look at, ``starts`` every different first
    two of these, by number.
    """

    ids: tuple[str, ...]
    index: Mapping[str, int]
    colours: tuple[str, ...]
    colour_index: Mapping[str, int]
    letter_index: Mapping[str, int]
    in_patterns: tuple[bool, ...]
    beside: tuple[Cells, ...]
    bits: tuple[int, ...]
    numbers: Mapping[int, int]
    ways: Mapping[str, tuple[Way, ...]]
    shifts: tuple[tuple[int, int], ...]
    starts: tuple[tuple[int, int], ...]

    @property
    def any_piece(self) -> int:
        """Slot of the pieces that may count in patterns."""
        return len(self.colours)

    @property
    def no_piece(self) -> int:
        """Slot of the empty cells."""
        return len(self.colours) + 1


@lru_cache(maxsize=64)
def plan_of(sheet: GameSheet) -> Plan:
    """The plan of a sheet, made once."""
    lattice = sheet.lattice
    ids = tuple(cell.id for cell in lattice.cells)
    index = {id: i for i, id in enumerate(ids)}
    letters = {colour.letter: i for i, colour in enumerate(sheet.colours)}
    lying = {
        card.name: orientations(card.pattern, lattice.like, card.turns, card.mirrors)
        for card in sheet.cards
        if card.pattern
    }
    stride = _stride(lattice.places.values(), lying.values())
    bits = _bits(ids, lattice.places, stride)
    looks = _Looks({}, {})
    ways = {
        name: tuple(_way(_drawn(spots, stride), letters, looks, fixed=False) for spots in ways)
        for name, ways in lying.items()
    }
    for card in sheet.cards:
        if card.at:
            ways[card.name] = (_way(_fixed(card, index, bits), letters, looks, fixed=True),)
    return Plan(
        ids=ids,
        index=index,
        colours=tuple(colour.name for colour in sheet.colours),
        colour_index={colour.name: i for i, colour in enumerate(sheet.colours)} | {EMPTY: NOTHING},
        letter_index=letters,
        in_patterns=tuple(colour.in_patterns for colour in sheet.colours),
        beside=tuple(tuple(index[b] for b in lattice.neighbours[id]) for id in ids),
        bits=bits,
        numbers={bit: i for i, bit in enumerate(bits)},
        ways=ways,
        shifts=tuple(looks.shifts),
        starts=tuple(looks.starts),
    )


def _stride(steps: Iterable[Step], lying: Iterable[tuple[Spots, ...]]) -> int:
    us = [u for u, _ in steps] or [0]
    widest = max((s.u for ways in lying for spots in ways for s in spots), default=0)
    return max(us) - min(us) + widest + 1


def _bits(ids: Sequence[str], places: Mapping[str, Step], stride: int) -> tuple[int, ...]:
    if not places:
        return tuple(range(len(ids)))
    least_u = min(u for u, _ in places.values())
    least_v = min(v for _, v in places.values())
    return tuple((places[id][1] - least_v) * stride + places[id][0] - least_u for id in ids)


Needed = Sequence[tuple[int, str]]


def _drawn(spots: Spots, stride: int) -> Needed:
    return [(spot.v * stride + spot.u, spot.needs) for spot in spots]


def _fixed(card: Card, index: Mapping[str, int], bits: Sequence[int]) -> Needed:
    return [(bits[index[cell]], needs) for cell, needs in card.at]


@dataclass(frozen=True)
class _Looks:
    """Numbers given so far to what ways look at."""

    shifts: dict[tuple[int, int], int]
    starts: dict[tuple[int, int], int]

    def shift(self, slot: tuple[int, int]) -> int:
        return self.shifts.setdefault(slot, len(self.shifts))

    def start(self, first: int, second: int) -> int:
        return self.starts.setdefault((first, second), len(self.starts))


def _way(bits: Needed, letters: Mapping[str, int], looks: _Looks, *, fixed: bool) -> Way:
    first = min(bit for bit, _ in bits)
    needed = sorted((bit - first, needs) for bit, needs in bits)
    known = {**letters, "_": len(letters) + 1}
    slots = tuple((offset, known.get(needs, len(letters))) for offset, needs in needed)
    shifts = [looks.shift(slot) for slot in slots]
    digits = [(offset, needs) for offset, needs in needed if needs.isdigit()]
    return Way(
        spots=tuple(needed),
        slots=slots,
        start=looks.start(shifts[0], shifts[min(1, len(shifts) - 1)]),
        shifts=tuple(shifts[2:]),
        pairs=tuple(
            (min(a, b), abs(a - b), first == second)
            for (a, first), (b, second) in combinations(digits, 2)
        ),
        within=1 << first if fixed else -1,
    )
