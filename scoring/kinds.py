"""What each kind of rule but the cards gives for a board: points and the cells that prove them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from scoring.board import Board
from scoring.plan import NOTHING
from scoring.rules import (
    Adjacent,
    Cards,
    Empties,
    Ends,
    Extras,
    Groups,
    Regions,
    Rule,
    Variety,
)
from scoring.types import Line, Proof


def score_rule(rule: Rule, board: Board, facts: Sequence[str]) -> Line:
    """One rule's line of a tally."""
    proofs = tuple(_proofs(rule, board, facts))
    return Line(rule.label, rule.label, sum(proof.points for proof in proofs), proofs)


def _proofs(rule: Rule, board: Board, facts: Sequence[str]) -> Iterable[Proof]:
    match rule:
        case Groups():
            return groups(rule, board)
        case Extras():
            return extras(rule, board)
        case Regions():
            return regions(rule, board)
        case Variety():
            return variety(rule, board)
        case Adjacent():
            return adjacent(rule, board)
        case Empties():
            return empties(rule, board)
        case Ends():
            return [Proof((), rule.points, rule.fact)] if rule.fact in facts else []
        case Cards():
            raise TypeError("cards are scored together, by cards.py")


def groups(rule: Groups, board: Board) -> Iterator[Proof]:
    """Groups that give points, in cell order."""
    plan = board.plan
    wanted = {plan.colour_index[name] for name in rule.colours}
    found = [group for group in board.groups if group[0] in wanted]
    for colour, cells in _largest(found, rule.only):
        points = rule.points(len(cells))
        if points:
            words = f"{plan.colours[colour]} group of {len(cells)}"
            yield Proof(tuple(plan.ids[i] for i in cells), points, words)


def _largest(
    found: list[tuple[int, tuple[int, ...]]], only: str
) -> list[tuple[int, tuple[int, ...]]]:
    """The groups that count; of equally large ones the first in cell order."""
    if only == "all":
        return found
    best: dict[int, tuple[int, tuple[int, ...]]] = {}
    for colour, cells in found:
        key = colour if only == "largest-of-each-colour" else 0
        if key not in best or len(cells) > len(best[key][1]):
            best[key] = (colour, cells)
    return list(best.values())


def extras(rule: Extras, board: Board) -> Iterator[Proof]:
    """Every piece of the special colour."""
    wanted = board.plan.colour_index[rule.colour]
    for id, colour in zip(board.plan.ids, board.colours, strict=True):
        if colour == wanted:
            yield Proof((id,), rule.each, f"{rule.colour} in {id}")


def regions(rule: Regions, board: Board) -> Iterator[Proof]:
    """Every region that is as needed."""
    for name, cells in rule.regions.items():
        lying = _colours_in(board, cells)
        if NOTHING not in lying and _as_needed(rule.need, lying):
            yield Proof(cells, rule.points, f"{name} is {rule.need.replace('-', ' ')}")


def _as_needed(need: str, lying: list[int]) -> bool:
    if need == "one-colour":
        return len(set(lying)) == 1
    return need == "full" or len(set(lying)) == len(lying)


def variety(rule: Variety, board: Board) -> Iterator[Proof]:
    """Distinct colours in every region, or around every piece of the rule's colour."""
    for name, cells in _places_of_variety(rule, board):
        distinct = set(_colours_in(board, cells)) - {NOTHING}
        points = rule.points(len(distinct))
        if points:
            proving = tuple(c for c in cells if board.colours[board.plan.index[c]] != NOTHING)
            yield Proof(proving, points, f"{len(distinct)} colours in {name}")


def _places_of_variety(rule: Variety, board: Board) -> Iterable[tuple[str, tuple[str, ...]]]:
    if not rule.around:
        return rule.regions.items()
    plan = board.plan
    wanted = plan.colour_index[rule.around]
    return [
        (
            f"the cells around {rule.around} {plan.ids[i]}",
            tuple(plan.ids[j] for j in plan.beside[i]),
        )
        for i, colour in enumerate(board.colours)
        if colour == wanted
    ]


def adjacent(rule: Adjacent, board: Board) -> Iterator[Proof]:
    """Every side at which the two colours meet."""
    plan = board.plan
    wanted = Counter(plan.colour_index[name] for name in rule.colours)
    for i, beside in enumerate(plan.beside):
        for j in beside:
            if i < j and Counter((board.colours[i], board.colours[j])) == wanted:
                ids = (plan.ids[i], plan.ids[j])
                yield Proof(ids, rule.each, f"{' meets '.join(rule.colours)} at {ids[0]} {ids[1]}")


def empties(rule: Empties, board: Board) -> Iterator[Proof]:
    """Every empty cell."""
    for id, colour in zip(board.plan.ids, board.colours, strict=True):
        if colour == NOTHING:
            yield Proof((id,), rule.each, f"{id} is empty")


def _colours_in(board: Board, cells: Iterable[str]) -> list[int]:
    return [board.colours[board.plan.index[cell]] for cell in cells]
