"""What the cards give: where each is complete; where pieces may not count twice, which count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence

from scoring.board import Board
from scoring.choose import best_choice
from scoring.plan import Cells
from scoring.rules import Card, Cards
from scoring.types import Line, Proof

Found = Mapping[str, list[Cells]]
"""Placements that complete each card, by the card's name."""


def score_cards(
    cards: Sequence[Card], rule: Cards, board: Board, claimed: Collection[str]
) -> list[Line]:
    """A line for every card that counts for the player, in the sheet's order."""
    counting = [card for card in cards if card.common or card.name in claimed]
    found = {card.name: board.placements(card) for card in counting}
    counted = choose_placements(counting, rule, found)
    return [_line(card, rule, board, found[card.name], counted[card.name]) for card in counting]


def choose_placements(cards: Sequence[Card], rule: Cards, found: Found) -> dict[str, list[Cells]]:
    """The placements that count for each card: the choice worth most, exact, always the same.

    Cards that cost points leave no choice: every completion of theirs counts (once if the card
    counts once) and uses up no piece.
    """
    free = [card for card in cards if is_free(card, rule)]
    tied = [card for card in cards if not is_free(card, rule)]
    counted = {card.name: found[card.name][: None if card.each else 1] for card in free}
    counted.update({card.name: [] for card in tied})
    candidates = [(card, cells) for card in tied for cells in found[card.name]]
    worth = [card.points - card.missed for card, _ in candidates]
    for i in best_choice(worth, exclusive_sets(candidates, rule)):
        counted[candidates[i][0].name].append(candidates[i][1])
    return counted


def exclusive_sets(candidates: Sequence[tuple[Card, Cells]], rule: Cards) -> Iterator[list[int]]:
    """Sets of candidates of which at most one may count."""
    by_card: dict[str, list[int]] = defaultdict(list)
    by_cell: dict[int, list[int]] = defaultdict(list)
    for i, (card, cells) in enumerate(candidates):
        by_card[card.name].append(i)
        for cell in cells:
            by_cell[cell].append(i)
    for members in by_card.values():
        if not candidates[members[0]][0].each:
            yield members
    for members in by_cell.values():
        yield from _exclusive_at_cell(members, candidates, rule)


def _exclusive_at_cell(
    members: list[int], candidates: Sequence[tuple[Card, Cells]], rule: Cards
) -> Iterator[list[int]]:
    if not rule.share_cards and not rule.share_copies:
        yield members
        return
    for k, i in enumerate(members):
        for j in members[k + 1 :]:
            same = candidates[i][0] is candidates[j][0]
            if not (rule.share_copies if same else rule.share_cards):
                yield [i, j]


def is_free(card: Card, rule: Cards) -> bool:
    """Whether a card counts wherever it is complete, without using up pieces."""
    if card.points <= card.missed or (rule.share_cards and rule.share_copies):
        return True
    return rule.share_cards and not card.each


def _line(card: Card, rule: Cards, board: Board, found: list[Cells], counted: list[Cells]) -> Line:
    ids = board.plan.ids
    proofs = [
        Proof(tuple(ids[i] for i in cells), card.points, f"card {card.name}") for cells in counted
    ]
    note = ""
    if not counted:
        note = "complete, but its pieces count for other cards" if found else "not complete"
        if card.missed:
            proofs.append(Proof((), card.missed, f"card {card.name} claimed, but {note}"))
    points = sum(proof.points for proof in proofs)
    return Line(rule.label, card.name, points, tuple(proofs), note)
