"""One game as all phones see it, worked out in a worker: cells, doubts, questions, tally, teaching.

A function of what is in the journal and of the readings, and of nothing else.
"""

from __future__ import annotations

import pickle
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from calibrate.types import Table
from desk.beliefs import grid_of
from desk.export import tally_json
from desk.pipeline import hangs_of, seen_twice, with_answers, worth_another_photo
from desk.records import Answer
from desk.scoresheet import state_of
from desk.suspicions import doubts_that_cannot_all_be, ranking
from desk.tally_words import (
    line_keys,
    open_words,
    points_of,
    problem_words,
    stakes,
    total_words,
    verdict,
)
from desk.types import SKIP, Claims, Game, Outcome, Seat
from desk.web.work import table_at
from scoring.doubts import Hang, Hangs
from scoring.legality import liftable_pieces, places_for_next
from scoring.lifting import lifting_cost
from scoring.near_misses import NearMiss, near_misses
from scoring.tally import tally
from scoring.types import Grid
from vision.errors import DifferentBoards
from vision.types import Photo, Reading

LIKELIEST = 2
"""Colours offered first: a thumb finds two large buttons without looking twice."""


@dataclass(frozen=True)
class Look:
    """One photo of a board: its name, its stored file, its reading's file, when it came."""

    name: str
    photo: str
    reading: str
    at: str


@dataclass(frozen=True)
class BoardJob:
    """One player's board: the first photo, and a second where there is one."""

    seat: int
    player: str
    looks: tuple[Look, ...]


@dataclass(frozen=True)
class WeighJob:
    """One game: its table's file, its boards, what people said; ``missing`` players."""

    table: str
    boards: tuple[BoardJob, ...]
    answers: tuple[Answer, ...]
    claims: tuple[tuple[str, tuple[str, ...]], ...]
    facts: tuple[tuple[str, tuple[str, ...]], ...]
    missing: tuple[str, ...] = ()


def weigh_job(job: WeighJob) -> dict[str, Any]:
    """Everything that is shown of one game, ready for JSON."""
    outcome, refused = weighed(job)
    seats = {board.player: board.seat for board in job.boards}
    why = worth_another_photo(outcome.game, outcome.hangs)
    looks = {b.player: [Path(look.reading).stem for look in b.looks] for b in job.boards}
    return {
        "boards": {
            str(seats[seat.player]): {
                **board_view(outcome, seat),
                "looks": looks[seat.player],
                "look_again": why.get(seat.player),
                "second_refused": refused.get(seat.player),
            }
            for seat in outcome.game.seats
        },
        "questions": questions(outcome, seats),
        "tally": tally_view(outcome),
    }


def outcome_of(job: WeighJob) -> Outcome:
    """The tally as it stands."""
    return weighed(job)[0]


def weighed(job: WeighJob) -> tuple[Outcome, dict[str, str]]:
    """The tally as it stands, and why a second photo is not used, by player.

    What people said of a cell counts for more than what a second photo settles there.
    """
    seats = tuple(seat_of(board.player, board.looks[0]) for board in job.boards)
    game = Game(table_at(job.table), seats, Claims(dict(job.claims), dict(job.facts)))
    refused = {}
    for board in job.boards:
        for look in board.looks[1:]:
            try:
                game = seen_twice(game, seat_of(board.player, look), look.at)
            except DifferentBoards as error:
                words = f"the photos show different boards: {error.reason} {error.hint}"
                refused[board.player] = words
    return replace(outcome_with(game, job.answers), missing=job.missing), refused


def outcome_with(game: Game, answers: Sequence[Answer]) -> Outcome:
    """A game's outcome once all answers are in; questions that are open stay open."""
    game = with_answers(game, answers)
    grids = {seat.player: grid_of(seat.reading) for seat in game.seats}
    counted = tally(game.table.sheet, grids, game.claims.cards, game.claims.facts)
    return Outcome(game, grids, counted, hangs_of(game))


@lru_cache(maxsize=64)
def reading_at(path: str) -> Reading:
    """A reading as this program itself wrote it; such a file never changes."""
    return pickle.loads(Path(path).read_bytes())


def seat_of(player: str, look: Look) -> Seat:
    """A seat without its pixels, which weighing does not look at."""
    first = reading_at(look.reading)
    no_pixels = np.empty((0, 0, 3), np.uint8)
    photo = Photo(look.name, no_pixels, 1, (0, 0), Path(look.photo).name, 0.0)
    return Seat(player, b"", photo, first, first, first)


def board_view(outcome: Outcome, seat: Seat) -> dict[str, Any]:
    """One board: what lies where and how sure that is, cards, and what teaching shows."""
    sheet, grid = outcome.game.table.sheet, outcome.grids[seat.player]
    letters = {colour.name: colour.letter for colour in sheet.colours}
    said = {a.cell: a.by for a in outcome.game.answers if a.player == seat.player}
    cells = {
        cell: {
            "colour": colour,
            "letter": letters.get(colour, "–"),
            "state": state_of(outcome.game, seat, cell),
            "doubt": seat.reading.cells[cell].doubt,
            "said_by": said.get(cell),
            "choices": choices(seat, outcome.game.table, cell),
        }
        for cell, colour in grid.items()
    }
    claimed = outcome.game.claims.cards.get(seat.player, ())
    facts = outcome.game.claims.facts.get(seat.player, ())
    return {
        "cells": cells,
        "cards": [card_view(miss) for miss in near_misses(sheet, grid)],
        "may_lie": list(places_for_next(sheet, grid)),
        "may_lift": [
            lift_view(outcome, grid, cell, claimed, facts) for cell in liftable_pieces(sheet, grid)
        ],
    }


def choices(seat: Seat, table: Table, cell: str) -> list[str]:
    """Every colour and "empty", those that cannot be ruled out first, then by likeness."""
    first = [name for name in seat.reading.cells[cell].candidates if name != "odd"]
    ranked = [name for name, _ in ranking(seat.first.evidence, table)[cell]]
    known = [*(colour.name for colour in table.sheet.colours), "empty"]
    return [name for name in dict.fromkeys((*first, *ranked, *known)) if name in known]


def card_view(miss: NearMiss) -> dict[str, Any]:
    """How a card stands on a board: complete here, or what it lacks where it lacks least."""
    changes = [
        {"cell": change.cell, "lies": change.lies, "needed": change.needed}
        for change in miss.changes
    ]
    return {"card": miss.card, "cells": list(miss.cells), "missing": changes, "words": str(miss)}


def lift_view(
    outcome: Outcome, grid: Grid, cell: str, claimed: Sequence[str], facts: Sequence[str]
) -> dict[str, Any]:
    """What lifting one piece costs."""
    cost = lifting_cost(outcome.game.table.sheet, grid, [cell], claimed, facts)
    words = str(cost).partition(": ")[2]
    return {"cell": cell, "points_lost": cost.points_lost, "words": words}


def questions(outcome: Outcome, seats: Mapping[str, int]) -> list[dict[str, Any]]:
    """Doubts worth an answer, the one that settles most first; those left open before come last."""
    by_cell = {(hang.player, hang.cell): hang for hang in outcome.hangs.doubts}
    order = (*outcome.hangs.order, *doubts_that_cannot_all_be(outcome.game))
    left = {(a.player, a.cell) for a in outcome.game.answers if a.colour == SKIP}
    keys = [key for key in dict.fromkeys(order) if key in by_cell]
    return [
        question(by_cell[key], outcome.hangs, seats[key[0]], key in left)
        for key in sorted(keys, key=lambda key: key in left)
    ]


def question(hang: Hang, hangs: Hangs, seat: int, left_open: bool) -> dict[str, Any]:
    """One question in words; the cell's own view has its choices and why it is in doubt."""
    low, high = hangs.ranges[hang.player]
    words = (
        f"Your answer can change {stakes(hang)}. {hang.player} has {low} to {high} points now."
        if hang.matters
        else "It changes no total, but as read more pieces of a colour lie than the box holds."
    )
    return {
        "seat": seat,
        "player": hang.player,
        "cell": hang.cell,
        "stakes": words,
        "left_open": left_open,
    }


def tally_view(outcome: Outcome) -> dict[str, Any]:
    """The tally with its table of rows, and every sentence that belongs beside it."""
    players = outcome.tally.players
    rows = [
        {"rule": key[0], "label": key[1], "points": [points_of(player, key) for player in players]}
        for key in line_keys(outcome)
    ]
    return {
        **tally_json(outcome),
        "rows": rows,
        "totals": [total_words(outcome, player) for player in players],
        "verdict": verdict(outcome),
        "unsure_words": list(open_words(outcome)),
        "problem_words": list(problem_words(outcome))[:-1],
    }
