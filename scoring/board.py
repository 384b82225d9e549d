"""One board made ready for counting: colours as bits of one number, groups, complete cards."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

from scoring.plan import NOTHING, Cells, Plan, Way
from scoring.rules import Card


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
    def slots(self) -> list[int]:
        """Bits of each colour's cells, of all pieces that count in patterns, of the empty cells."""
        plan = self.plan
        masks = [0] * (len(plan.colours) + 1)
        for bit, colour in zip(plan.bits, self.colours, strict=True):
            masks[colour] |= 1 << bit
        empty = masks.pop()
        return [
            *masks,
            union(m for m, counts in zip(masks, plan.in_patterns, strict=True) if counts),
            empty,
        ]

    @cached_property
    def shifted(self) -> list[int]:
        """The bits of every slot, moved as the cards' patterns look at them."""
        slots = self.slots
        return [slots[slot] >> offset for offset, slot in self.plan.shifts]

    @cached_property
    def started(self) -> list[int]:
        """The bits at which the first two spots of patterns are as needed."""
        shifted = self.shifted
        return [shifted[first] & shifted[second] for first, second in self.plan.starts]

    @cached_property
    def groups(self) -> list[tuple[int, Cells]]:
        """(colour, cells) of every group, each from its first cell on, cells ascending."""
        return list(groups_of(self.colours, self.plan.beside))

    def placements(self, card: Card) -> list[Cells]:
        """Distinct sets of cells that complete a card, each ascending, in a fixed order."""
        found: set[Cells] = set()
        shifted, started, numbers = self.shifted, self.started, self.plan.numbers
        for way in self.plan.ways[card.name]:
            hits = started[way.start]
            for shift in way.shifts:
                if not hits:
                    break
                hits &= shifted[shift]
            if hits:
                for bit in bits_of(self._with_pairs(way, hits & way.within)):
                    found.add(tuple(sorted([numbers[bit + offset] for offset, _ in way.slots])))
        return sorted(found)

    def _with_pairs(self, way: Way, hits: int) -> int:
        """Those hits at which equal digits have one colour and different digits different ones."""
        for low, apart, same in way.pairs:
            hits &= self._meet(apart, same) >> low
        return hits

    def _meet(self, apart: int, same: bool) -> int:
        """Bits of pieces whose piece so many bits on has the same (or another) colour."""
        found = self._meeting.get((apart, same))
        if found is None:
            *colours, pieces, _ = self.slots
            equal = union(mask & (mask >> apart) for mask in colours)
            found = equal if same else pieces & (pieces >> apart) & ~equal
            self._meeting[apart, same] = found
        return found


def union(masks: Iterator[int]) -> int:
    """All bits of several sets."""
    found = 0
    for mask in masks:
        found |= mask
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
