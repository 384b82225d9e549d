"""One board made ready for counting: cells as numbers, colours as bits of one whole number.

A cell's bit is v * stride + u, from its step (u, v) on the lattice, so that a whole pattern is
looked for in all places at once: one shift and one "and" a spot. The stride leaves room for the
widest pattern, so that no shift runs from one row into the next. On a board without steps the bits
just number the cells.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

from scoring.patterns import Spots, orientations
from scoring.rules import Card
from scoring.sheet import GameSheet
from scoring.types import EMPTY

NOTHING = -1
"""Number of an empty cell's colour."""

Way = tuple[tuple[int, str], ...]
"""One way for a pattern to lie: (offset in bits, what is needed there)."""

Cells = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Plan:
    """What is the same for all boards of a sheet.

    ``beside[i]`` are the numbers of the cells that share a whole side with cell i; ``bits[i]`` is
    its bit, ``numbers`` the way back; ``ways`` holds for each card name every distinct way to lie.
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


@lru_cache(maxsize=64)
def plan_of(sheet: GameSheet) -> Plan:
    """The plan of a sheet, made once."""
    lattice = sheet.lattice
    ids = tuple(cell.id for cell in lattice.cells)
    index = {id: i for i, id in enumerate(ids)}
    lying = {
        card.name: orientations(card.pattern, lattice.like, card.turns, card.mirrors)
        for card in sheet.cards
        if card.pattern
    }
    stride = _stride(lattice.places, lying)
    bits = _bits(ids, lattice.places, stride)
    ways = {name: tuple(_way(spots, stride) for spots in ways) for name, ways in lying.items()}
    ways.update((card.name, (_fixed(card, index, bits),)) for card in sheet.cards if card.at)
    return Plan(
        ids=ids,
        index=index,
        colours=tuple(colour.name for colour in sheet.colours),
        colour_index={colour.name: i for i, colour in enumerate(sheet.colours)} | {EMPTY: NOTHING},
        letter_index={colour.letter: i for i, colour in enumerate(sheet.colours)},
        in_patterns=tuple(colour.in_patterns for colour in sheet.colours),
        beside=tuple(tuple(index[b] for b in lattice.neighbours[id]) for id in ids),
        bits=bits,
        numbers={bit: i for i, bit in enumerate(bits)},
        ways=ways,
    )


def _stride(places: Mapping[str, tuple[int, int]], lying: Mapping[str, tuple[Spots, ...]]) -> int:
    us = [u for u, _ in places.values()] or [0]
    widest = max((s.u for ways in lying.values() for spots in ways for s in spots), default=0)
    return max(us) - min(us) + widest + 1


def _bits(
    ids: Sequence[str], places: Mapping[str, tuple[int, int]], stride: int
) -> tuple[int, ...]:
    if not places:
        return tuple(range(len(ids)))
    least_u = min(u for u, _ in places.values())
    least_v = min(v for _, v in places.values())
    return tuple((places[id][1] - least_v) * stride + places[id][0] - least_u for id in ids)


def _way(spots: Spots, stride: int) -> Way:
    return tuple((spot.v * stride + spot.u, spot.needs) for spot in spots)


def _fixed(card: Card, index: Mapping[str, int], bits: Sequence[int]) -> Way:
    """A card that lies in its own place: the offsets are the bits themselves, found at bit 0."""
    return tuple((bits[index[cell]], needs) for cell, needs in card.at)


class Board:
    """One player's board: the number of the colour in each cell, and what is found on it."""

    def __init__(self, plan: Plan, colours: Sequence[int]) -> None:
        self.plan = plan
        self.colours = colours
        self._meeting: dict[tuple[int, bool], int] = {}

    @classmethod
    def of(cls, plan: Plan, grid: Mapping[str, str]) -> Board:
        """The board of a grid (cell id -> colour name or "empty")."""
        return cls(plan, [plan.colour_index[grid[id]] for id in plan.ids])

    @cached_property
    def masks(self) -> list[int]:
        """For each colour its cells' bits."""
        masks = [0] * (len(self.plan.colours) + 1)
        for bit, colour in zip(self.plan.bits, self.colours, strict=True):
            masks[colour] |= 1 << bit
        return masks

    @cached_property
    def empty(self) -> int:
        """Bits of the empty cells."""
        return self.masks[NOTHING]

    @cached_property
    def pieces(self) -> int:
        """Bits of the pieces that may count in patterns."""
        found = 0
        for mask, counts in zip(self.masks, self.plan.in_patterns, strict=False):
            found |= mask if counts else 0
        return found

    @cached_property
    def groups(self) -> list[tuple[int, Cells]]:
        """(colour, cells) of every group, each from its first cell on, cells ascending."""
        return list(groups_of(self.colours, self.plan.beside))

    def placements(self, card: Card) -> list[Cells]:
        """Distinct sets of cells that complete a card, each ascending, in a fixed order."""
        found: set[Cells] = set()
        numbers = self.plan.numbers
        for way in self.plan.ways[card.name]:
            hits = self._hits(way) & (1 if card.at else -1)
            for bit in bits_of(hits):
                found.add(tuple(sorted(numbers[bit + offset] for offset, _ in way)))
        return sorted(found)

    def _hits(self, way: Way) -> int:
        """Bits at which a pattern's origin lies wherever it is complete."""
        hits = -1
        for offset, needs in way:
            hits &= self._mask(needs) >> offset
            if not hits:
                return 0
        return self._same_and_different(way, hits)

    def _mask(self, needs: str) -> int:
        if needs == "_":
            return self.empty
        number = self.plan.letter_index.get(needs)
        return self.pieces if number is None else self.masks[number]

    def _same_and_different(self, way: Way, hits: int) -> int:
        digits = [(offset, needs) for offset, needs in way if needs.isdigit()]
        for (a, first), (b, second) in combinations(digits, 2):
            low, apart = min(a, b), abs(a - b)
            hits &= self._meet(apart, first == second) >> low
        return hits

    def _meet(self, apart: int, same: bool) -> int:
        """Bits of pieces whose piece so many bits on has the same (or another) colour."""
        found = self._meeting.get((apart, same))
        if found is None:
            equal = 0
            for mask in self.masks[:NOTHING]:
                equal |= mask & (mask >> apart)
            found = equal if same else self.pieces & (self.pieces >> apart) & ~equal
            self._meeting[apart, same] = found
        return found


def bits_of(mask: int) -> Iterator[int]:
    """Positions of the set bits, ascending."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def groups_of(colours: Sequence[int], beside: Sequence[Cells]) -> Iterator[tuple[int, Cells]]:
    """(colour, cells ascending) of every group of one colour joined by whole sides."""
    seen = bytearray(len(colours))
    for start, colour in enumerate(colours):
        if seen[start] or colour == NOTHING:
            continue
        seen[start] = 1
        group = [start]
        for cell in group:
            for other in beside[cell]:
                if colours[other] == colour and not seen[other]:
                    seen[other] = 1
                    group.append(other)
        yield colour, tuple(sorted(group))
