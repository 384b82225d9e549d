"""A game of three boards under one lamp, from readings to answers."""

from __future__ import annotations

from datetime import datetime

from desk.pipeline import score_game, with_answers
from desk.records import Answer
from desk.types import Game, Question, Seat
from tests.vision.near_boards import BULB, kit, reading, shot
from tests.vision.practice import photo_of

PLAYERS = ("Ana", "Ben", "Cem")
FIRST = 12
"""Seed of Ana's board."""

AT = datetime(2026, 5, 1, 20).isoformat()


def seat(player: str) -> Seat:
    seed = FIRST + PLAYERS.index(player)
    first = reading(seed, BULB)
    return Seat(player, b"", photo_of(shot(seed, BULB)), first, first, first)


def truth(player: str) -> dict[str, str]:
    return dict(shot(FIRST + PLAYERS.index(player), BULB).truth.labels)


def doubtful(game: Game, player: str) -> set[str]:
    cells = next(seat for seat in game.seats if seat.player == player).told.cells
    return {cell for cell, read in cells.items() if read.doubt}


def answer(player: str, cell: str) -> Answer:
    return Answer(player, cell, truth(player)[cell], "Ana", AT)


def test_answers_on_one_board_settle_cells_on_the_others() -> None:
    game = with_answers(Game(kit().table, tuple(map(seat, PLAYERS))), ())
    most = max(PLAYERS, key=lambda player: len(doubtful(game, player)))
    told = with_answers(game, [answer(most, cell) for cell in sorted(doubtful(game, most))])
    others = [player for player in PLAYERS if player != most]
    left = [doubtful(told, player) < doubtful(game, player) for player in others]
    assert any(left), "no other board heard it"
    assert not doubtful(told, most)


def test_boards_scored_together_are_asked_less_than_one_by_one() -> None:
    """Without rules every doubt is idle, so that what is left open is what could be asked."""

    def nobody(_question: Question) -> None:
        return None

    alone = [score_game(Game(kit().table, (seat(player),)), nobody) for player in PLAYERS]
    together = score_game(Game(kit().table, tuple(map(seat, PLAYERS))), nobody)
    assert len(together.hangs.doubts) < sum(len(outcome.hangs.doubts) for outcome in alone)
