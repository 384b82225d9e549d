"""What lifting pieces costs: cards broken, groups split, points lost."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from scoring.board import Board
from scoring.explain import cards_broken, in_points, what_if
from scoring.legality import lifting_order, pieces_of
from scoring.plan import plan_of
from scoring.sheet import GameSheet
from scoring.types import EMPTY


@dataclass(frozen=True)
class LiftingCost:
    """What it costs to lift some pieces.

    ``order`` is an order in which they may be lifted one by one (None: they may not, because others
    would lose their hold); ``groups_split`` holds the cells of every group that falls apart.
    ``points_lost`` may be negative: points gained.
    """

    cells: tuple[str, ...]
    order: tuple[str, ...] | None
    points_lost: int
    cards_broken: tuple[str, ...]
    groups_split: tuple[tuple[str, ...], ...]

    def __str__(self) -> str:
        verdict = "may not be lifted" if self.order is None else f"lift {' '.join(self.order)}"
        parts = [f"{verdict}: {in_points(self.points_lost)} lost"]
        parts += [f"card {card} is broken" for card in self.cards_broken]
        parts += [f"the group {' '.join(group)} falls apart" for group in self.groups_split]
        return "; ".join(parts)


def lifting_cost(
    sheet: GameSheet,
    grid: Mapping[str, str],
    cells: Collection[str],
    claimed: Sequence[str] = (),
    facts: Sequence[str] = (),
) -> LiftingCost:
    """What lifting these pieces off one board would cost its player."""
    order = lifting_order(sheet, grid, cells)
    gone = dict.fromkeys(cells, EMPTY)
    result = what_if(sheet, {"": grid}, {"": gone}, {"": claimed}, {"": facts})
    before, after = result.before.players[0], result.after.players[0]
    return LiftingCost(
        cells=tuple(cells),
        order=order,
        points_lost=before.total - after.total,
        cards_broken=cards_broken(before, after, sheet),
        groups_split=groups_split(sheet, grid, cells),
    )


def groups_split(
    sheet: GameSheet, grid: Mapping[str, str], cells: Collection[str]
) -> tuple[tuple[str, ...], ...]:
    """Groups of which the pieces that stay no longer hang together."""
    plan = plan_of(sheet)
    rest = {**grid, **dict.fromkeys(cells, EMPTY)}
    after = [set(group) for _, group in Board.of(plan, rest).groups]
    split = []
    for _, group in Board.of(plan, grid).groups:
        if sum(not part.isdisjoint(group) for part in after) > 1:
            split.append(tuple(plan.ids[i] for i in group))
    return tuple(split)


def cheapest_to_lift(
    sheet: GameSheet, grid: Mapping[str, str], claimed: Sequence[str] = ()
) -> tuple[LiftingCost, ...]:
    """The cost of every piece that may be lifted alone, least first, then in cell order."""
    costs = [lifting_cost(sheet, grid, [cell], claimed) for cell in sorted(pieces_of(grid))]
    return tuple(sorted((c for c in costs if c.order is not None), key=lambda c: c.points_lost))
