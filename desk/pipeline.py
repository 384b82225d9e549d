"""One game's way, always forward: photos -> readings -> answers -> grids -> tally -> record."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from itertools import count
from pathlib import Path

from calibrate.types import Table
from desk.beliefs import candidates_of, grid_of
from desk.export import tally_json, versions
from desk.photo_file import photo_bytes, shown_name
from desk.records import Answer, BoardRecord, GameRecord
from desk.suspicions import doubts_that_cannot_all_be, suspecting
from desk.types import SKIP, Ask, Clock, Game, Outcome, PointsPx, Question, Seat, now
from scoring.doubts import Hangs, what_hangs
from scoring.tally import tally
from vision.decode import load_photo
from vision.one_light import settle_together
from vision.read import read_photo
from vision.report import reading_json
from vision.second_look import read_together, why_look_again


def score_game(game: Game, ask: Ask) -> Outcome:
    """Ask what matters, then tally."""
    game = settle_doubts(with_answers(game, ()), ask)
    grids = {seat.player: grid_of(seat.reading) for seat in game.seats}
    counted = tally(game.table.sheet, grids, game.claims.cards, game.claims.facts)
    return Outcome(game, grids, counted, hangs_of(game))


def seat_player(table: Table, player: str, path: Path, corners_px: PointsPx | None = None) -> Seat:
    """Read one player's board from its photo file."""
    data = photo_bytes(path)
    photo = load_photo(data, shown_name(path))
    reading = read_photo(photo, table, corners_px)
    return Seat(player, data, photo, reading, reading, reading)


def looked_again(game: Game, player: str, path: Path, clock: Clock) -> Game:
    """``seen_twice`` with a second photo of one player's board from its file."""
    return seen_twice(game, seat_player(game.table, player, path), now(clock))


def seen_twice(game: Game, again: Seat, at: str) -> Game:
    """The game with ``again``, a second photo of one board, read together with the first.

    The photo that leaves fewer doubts becomes the board's. What it alone left open and both settle
    is an answer by the other photo, given ``at`` (ISO 8601), so that the record shows what settled
    it. Raises DifferentBoards where the photos cannot show the same board.
    """
    first = next(seat for seat in game.seats if seat.player == again.player)
    joined = read_together([first.first, again.first], game.table)
    best = min((first, again), key=lambda seat: seat.first.evidence is not joined.evidence)
    other = again if best is first else first
    by = f"the photo {other.photo.name}"
    answers = [
        Answer(again.player, cell, read.colour, by, at)
        for cell, read in joined.cells.items()
        if read.doubt is None and best.first.cells[cell].doubt is not None
    ]
    seen = replace(best, first=joined, told=joined, reading=joined)
    seats = tuple(seen if seat is first else seat for seat in game.seats)
    return with_answers(replace(game, seats=seats), answers)


def worth_another_photo(game: Game, hangs: Hangs) -> dict[str, str]:
    """Why a second photo of a board would settle more than questions would, by player.

    Boards whose doubts change nothing need none. ``hangs``: what the doubts can change.
    """
    asked = {hang.player for hang in hangs.doubts if hang.matters}
    seats = [seat for seat in game.seats if seat.player in asked]
    why = {seat.player: why_look_again(seat.told, game.table) for seat in seats}
    return {player: words for player, words in why.items() if words}


def settle_doubts(game: Game, ask: Ask) -> Game:
    """Put questions, the one that settles most first, until none is left that changes anything."""
    for number in count(1):
        question = next_question(game, number)
        answer = ask(question) if question else None
        if answer is None:
            break
        game = with_answers(game, [answer])
    return game


def next_question(game: Game, number: int) -> Question | None:
    """The doubt most worth an answer among those not asked yet; None where none matters.

    After those that change something come those that keep the boards from being possible at all.
    """
    asked = {(answer.player, answer.cell) for answer in game.answers}
    hangs = hangs_of(game)
    by_cell = {(hang.player, hang.cell): hang for hang in hangs.doubts}
    worth = (*hangs.order, *doubts_that_cannot_all_be(game))
    key = next((key for key in worth if key not in asked), None)
    return Question(number, game, by_cell[key], hangs) if key else None


def with_answers(game: Game, answers: Sequence[Answer]) -> Game:
    """The game after these answers, the light of all its boards fitted anew to all that was said.

    With none it is the game as its boards, read under one light, leave it.
    """
    known = (*game.answers, *answers)
    told = [told_of(known, seat.player) for seat in game.seats]
    readings = settle_together([seat.first for seat in game.seats], told, game.table)
    seats = tuple(
        replace(seat, told=reading) for seat, reading in zip(game.seats, readings, strict=True)
    )
    return suspecting(replace(game, seats=seats, answers=known))


def told_of(answers: Sequence[Answer], player: str) -> dict[str, str]:
    """What people said lies in the cells of a player's board, without those left open."""
    return {a.cell: a.colour for a in answers if a.player == player and a.colour != SKIP}


def hangs_of(game: Game) -> Hangs:
    """What the doubts that are left can change."""
    boards = {seat.player: candidates_of(seat.reading, game.table.sheet) for seat in game.seats}
    return what_hangs(game.table.sheet, boards, game.claims.cards, game.claims.facts)


def record_of(
    outcome: Outcome, table_file: bytes, *, evening: str = "", league: str = ""
) -> GameRecord:
    """All of a game that the archive keeps."""
    game = outcome.game
    boards = tuple(
        BoardRecord(
            player=seat.player,
            photo_name=seat.photo.name,
            photo=seat.data,
            reading=reading_json(seat.reading),
            grid=dict(outcome.grids[seat.player]),
        )
        for seat in game.seats
    )
    return GameRecord(
        sheet_name=game.table.sheet.name,
        sheet_text=game.table.sheet.text,
        table_name=game.table.name,
        table_sha256=hashlib.sha256(table_file).hexdigest(),
        boards=boards,
        answers=game.answers,
        claims={"cards": dict(game.claims.cards), "facts": dict(game.claims.facts)},
        tally=tally_json(outcome),
        versions=versions(),
        table_file=table_file,
        evening=evening,
        league=league,
    )
