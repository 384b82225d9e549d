"""What doubts can change, against a full enumeration of all that they may be."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring import bounds, doubted, knots, standing, terms
from scoring.doubts import what_hangs
from scoring.errors import SheetError
from scoring.rules import Extras
from scoring.tally import tally
from scoring.types import EMPTY
from tests.strategies import NAMES, cases, games


@st.composite
def doubtful_games(draw, most=4, players=2):
    """A game in which a few cells of the boards have several candidates."""
    sheet, grids, claims, facts = draw(games(players=players))
    boards = {}
    for player, grid in grids.items():
        boards[player] = {cell: (colour,) for cell, colour in grid.items()}
        doubtful = draw(st.lists(st.sampled_from(list(grid)), unique=True, max_size=most))
        for cell in doubtful:
            options = st.lists(
                st.sampled_from([*NAMES, EMPTY]), unique=True, min_size=2, max_size=3
            )
            boards[player][cell] = tuple(draw(options))
    return sheet, boards, claims, facts


LIMITS = (
    "LARGEST_TABLE",
    "GREATEST_RANK",
    "MOST_RANKS",
    "LARGEST_BUCKET",
    "LARGEST_CLUSTER",
    "LARGEST_PART",
)


class Enumeration:
    """Every tally that the doubts allow, and what changes when one doubt alone changes."""

    def __init__(self, sheet, boards, claims, facts):
        self.keys = [(p, c) for p, cells in boards.items() for c in cells if len(cells[c]) > 1]
        self.tallies = {}
        for choice in product(*(boards[p][c] for p, c in self.keys)):
            grids = {
                p: {c: options[0] for c, options in cells.items()} for p, cells in boards.items()
            }
            for (player, cell), colour in zip(self.keys, choice, strict=True):
                grids[player][cell] = colour
            self.tallies[choice] = tally(sheet, grids, claims, facts)

    def totals(self, player):
        return [
            p.total
            for result in self.tallies.values()
            for p in result.players
            if p.player == player
        ]

    def winners(self):
        return {name for result in self.tallies.values() for name in result.winners}

    def hangs(self, key, of):
        """Whether something of the tally can change with this doubt alone."""
        i = self.keys.index(key)
        seen = defaultdict(set)
        for choice, result in self.tallies.items():
            seen[choice[:i] + choice[i + 1 :]].add(of(result))
        return any(len(values) > 1 for values in seen.values())


def total_of(player):
    return lambda result: next(p.total for p in result.players if p.player == player)


@cases(60)
@given(doubtful_games())
def test_ranges_winners_and_what_hangs_equal_full_enumeration(game):
    sheet, boards, claims, facts = game
    hangs = what_hangs(sheet, boards, claims, facts)
    every = Enumeration(sheet, boards, claims, facts)

    assert hangs.exact
    assert hangs.ranges == {p: (min(every.totals(p)), max(every.totals(p))) for p in boards}
    assert set(hangs.winners) == every.winners()
    assert [(hang.player, hang.cell) for hang in hangs.doubts] == every.keys
    for hang in hangs.doubts:
        key = (hang.player, hang.cell)
        assert hang.total == every.hangs(key, total_of(hang.player))
        assert hang.winner == every.hangs(key, lambda result: result.winners)


@cases(30)
@given(doubtful_games(players=1))
def test_a_card_hangs_on_a_cell_if_its_completions_can_change_with_it(game):
    sheet, boards, claims, facts = game
    shared = next(rule for rule in sheet.rules if rule.label == "cards")
    if not (shared.share_cards and shared.share_copies):
        return
    hangs = what_hangs(sheet, boards, claims, facts)
    every = Enumeration(sheet, boards, claims, facts)

    for hang in hangs.doubts:
        for card in sheet.cards:
            expected = every.hangs(
                (hang.player, hang.cell), lambda r, c=card: completions(r, c.name)
            )
            assert (card.name in hang.cards) == expected


def completions(result, card):
    lines = [line for line in result.players[0].lines if line.label == card]
    return sum(bool(proof.cells) for line in lines for proof in line.proofs)


@cases(40)
@given(doubtful_games(players=3))
def test_questions_are_asked_about_what_matters_and_about_nothing_else(game):
    hangs = what_hangs(*game)

    assert sorted(hangs.order) == sorted((h.player, h.cell) for h in hangs.doubts if h.matters)
    deciding = {(h.player, h.cell) for h in hangs.doubts if h.winner}
    asked = [key in deciding for key in hangs.order]
    assert asked == sorted(asked, reverse=True)


@cases(40)
@given(doubtful_games(most=5))
def test_where_a_limit_is_reached_the_answer_is_wider_and_says_so(game):
    sheet, boards, claims, facts = game
    exact = what_hangs(sheet, boards, claims, facts)
    with pytest.MonkeyPatch.context() as patch:
        for module in (bounds, doubted, knots, standing, terms):
            for name in LIMITS:
                if hasattr(module, name):
                    patch.setattr(module, name, 3)
        rough = what_hangs(sheet, boards, claims, facts)

    for player, (low, high) in exact.ranges.items():
        assert rough.ranges[player][0] <= low
        assert rough.ranges[player][1] >= high
        assert not rough.exact or rough.ranges[player] == (low, high)
    assert set(exact.winners) <= set(rough.winners)
    for sure, loose in zip(exact.doubts, rough.doubts, strict=True):
        assert loose.total >= sure.total
        assert loose.winner >= sure.winner
        assert set(loose.cards) >= set(sure.cards)


@cases(20)
@given(doubtful_games(most=0))
def test_without_doubts_the_range_is_the_total(game):
    sheet, boards, claims, facts = game
    hangs = what_hangs(sheet, boards, claims, facts)
    grids = {p: {c: options[0] for c, options in cells.items()} for p, cells in boards.items()}
    result = tally(sheet, grids, claims, facts)

    assert hangs.ranges == {p.player: (p.total, p.total) for p in result.players}
    assert set(hangs.winners) == set(result.winners)
    assert hangs.doubts == hangs.order == ()


@cases(20)
@given(doubtful_games())
def test_answering_never_widens_a_range(game):
    sheet, boards, claims, facts = game
    before = what_hangs(sheet, boards, claims, facts)
    for hang in before.doubts:
        for colour in boards[hang.player][hang.cell]:
            cells = {**boards[hang.player], hang.cell: (colour,)}
            after = what_hangs(sheet, {**boards, hang.player: cells}, claims, facts)
            low, high = before.ranges[hang.player]
            assert low <= after.ranges[hang.player][0] <= after.ranges[hang.player][1] <= high
            if not hang.total:
                assert after.ranges == before.ranges


def test_a_cell_without_candidates_is_named(practice_board):
    sheet, board = practice_board

    with pytest.raises(SheetError, match="board of Ada, cell A1: has no candidate"):
        what_hangs(sheet, {"Ada": {**board, "A1": ()}})
    with pytest.raises(SheetError, match="board of Ada, cell A1: has a candidate twice"):
        what_hangs(sheet, {"Ada": {**board, "A1": ("ash", "ash")}})
    with pytest.raises(SheetError, match="Ada, cell A1: there is no colour 'gold'"):
        what_hangs(sheet, {"Ada": {**board, "A1": ("ash", "gold")}})


@pytest.fixture
def practice_board():
    from tests.scoring.test_legality import sheet_on
    from tests.strategies import made

    sheet = sheet_on(made("square", (2, 2)), "none")
    return sheet, dict.fromkeys(sheet.lattice.neighbours, ("ash",))


@cases(30)
@given(doubtful_games(players=1))
def test_no_other_question_alone_settles_more_than_the_first(game):
    """Settled is what an answer takes off the range of the total, on average over the answers."""
    sheet, boards, claims, facts = game
    hangs = what_hangs(sheet, boards, claims, facts)
    ((player, cells),) = boards.items()

    def width_after(cell):
        widths = []
        for colour in cells[cell]:
            answered = {player: {**cells, cell: (colour,)}}
            low, high = what_hangs(sheet, answered, claims, facts).ranges[player]
            widths.append(high - low)
        return sum(widths) / len(widths)

    widths = {cell: width_after(cell) for _, cell in hangs.order}
    assert not widths or widths[hangs.order[0][1]] == pytest.approx(min(widths.values()))


def test_two_cells_that_no_rule_joins_are_asked_about_by_what_they_are_worth(practice_board):
    sheet, board = practice_board
    rules = (Extras("bricks", "brick", 1), Extras("chalks", "chalk", 3))
    game = replace(sheet, rules=rules)
    doubtful = {**board, "A1": ("ash", "brick"), "B2": ("ash", "chalk")}
    hangs = what_hangs(game, {"Ada": doubtful})

    assert hangs.order == (("Ada", "B2"), ("Ada", "A1"))
    assert hangs.ranges == {"Ada": (0, 4)}


def test_a_doubt_that_changes_nothing_is_not_asked_about(practice_board):
    sheet, board = practice_board
    hangs = what_hangs(sheet, {"Ada": {**board, "A1": ("ash", "brick")}})

    assert hangs.order == ()
    assert [hang.matters for hang in hangs.doubts] == [False]


def test_a_doubt_of_the_loser_who_cannot_catch_up_does_not_change_the_winner(practice_board):
    sheet, board = practice_board
    game = replace(sheet, rules=(Extras("ash", "ash", 1),))
    doubtful = dict.fromkeys(board, ("brick",)) | {"A1": ("ash", "brick")}
    hangs = what_hangs(game, {"Ada": board, "Ben": doubtful})

    assert hangs.winners == ("Ada",)
    assert hangs.doubts[0].total
    assert not hangs.doubts[0].winner
