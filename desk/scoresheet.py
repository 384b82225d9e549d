"""The score sheet: one HTML file that needs nothing else, every number proven on the photo."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from desk.board_picture import BoardPicture, picture_board
from desk.say import CAUTION
from desk.tally_words import line_keys, open_words, points_of, problem_words, total_words, verdict
from desk.types import Game, Outcome, Seat
from scoring.types import EMPTY, Line, PlayerTally, Point
from vision.promise import promise_words

if TYPE_CHECKING:
    from jinja2 import Template

TEMPLATE = Path(__file__).parent / "templates" / "score_sheet.html"

OPEN, ANSWERED, SURE = "open", "answered", "sure"
"""How sure a cell is; on the sheet each has its own sign and outline, not only its own tint."""

SIGNS = {OPEN: "?", ANSWERED: "!", SURE: ""}


@dataclass(frozen=True)
class CellMark:
    """One cell drawn on a board's picture, in its px."""

    outline: str
    middle: Point
    letter: str
    state: str


@dataclass(frozen=True)
class ProofCell:
    """One cell that counts for a line: its outline, and the numbers of the proofs it stands in."""

    outline: str
    middle: Point
    numbers: str


@dataclass(frozen=True)
class LineMark:
    """One row of a player's tally; ``hole`` is an SVG path that dims all but the cells.

    ``singles`` names the cells of a line of which each proof is one cell: they need no numbers.
    """

    line: Line
    cells: tuple[ProofCell, ...]
    singles: tuple[str, ...]
    hole: str


@dataclass(frozen=True)
class Section:
    """One player's part of the sheet."""

    player: PlayerTally
    total: str
    id: str
    picture: BoardPicture
    jpeg: str
    marks: tuple[CellMark, ...]
    lines: tuple[LineMark, ...]
    source: str


def score_sheet(outcome: Outcome, at: datetime) -> str:
    """The whole page."""
    players = outcome.tally.players
    sheet = outcome.game.table.sheet
    rows = [(key[1], [points_of(player, key) for player in players]) for key in line_keys(outcome)]
    sections = [section(outcome, number) for number in range(len(players))]
    return template().render(
        sheet=sheet,
        table=outcome.game.table.name,
        at=f"{at:%Y-%m-%d %H:%M} {at.tzname() or ''}".strip(),
        players=players,
        winners=outcome.tally.winners if outcome.settled else (),
        rows=rows,
        totals=[total_words(outcome, player) for player in players],
        verdict=verdict(outcome),
        warnings=list(problem_words(outcome)),
        unsure=list(open_words(outcome)),
        answers=outcome.game.answers,
        sections=sections,
        caution=CAUTION,
        promise=promise_words(),
    )


@cache
def template() -> Template:
    """The page's template; everything put into it is escaped."""
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(TEMPLATE.read_text("utf-8"))


def section(outcome: Outcome, number: int) -> Section:
    """One player's part."""
    seat, player = outcome.game.seats[number], outcome.tally.players[number]
    picture = picture_board(seat.photo, seat.reading.registration, outcome.game.table.sheet)
    return Section(
        player=player,
        total=total_words(outcome, player),
        id=f"board-{number + 1}",
        picture=picture,
        jpeg=b64encode(picture.jpeg).decode(),
        marks=tuple(cell_marks(outcome, seat, picture)),
        lines=tuple(line_mark(line, picture) for line in player.lines),
        source=f"{seat.photo.name}, SHA-256 {seat.photo.sha256}",
    )


def cell_marks(outcome: Outcome, seat: Seat, picture: BoardPicture) -> Iterator[CellMark]:
    """A letter in every cell, with a sign where it is unsure or was answered."""
    letters = {c.name: c.letter for c in outcome.game.table.sheet.colours} | {EMPTY: "–"}
    states = {cell: state_of(outcome.game, seat, cell) for cell in picture.outlines}
    for cell in sorted(states, key=lambda cell: states[cell] != SURE):  # the marked ones on top
        state, outline = states[cell], picture.outlines[cell]
        letter = letters[outcome.grids[seat.player][cell]] + SIGNS[state]
        yield CellMark(svg_points(outline), middle_of(outline), letter, state)


def state_of(game: Game, seat: Seat, cell: str) -> str:
    """How sure a cell is."""
    if any(a.player == seat.player and a.cell == cell and a.colour != "skip" for a in game.answers):
        return ANSWERED
    return OPEN if seat.reading.cells[cell].doubt else SURE


def line_mark(line: Line, picture: BoardPicture) -> LineMark:
    """One row with the numbers of its proofs, from 1, in every cell that counts."""
    numbers: dict[str, list[str]] = {}
    singles = tuple(cell for proof in line.proofs if len(proof.cells) == 1 for cell in proof.cells)
    singles = singles if len(singles) == len(line.proofs) > 1 else ()
    for number, proof in enumerate(line.proofs, start=1):
        for cell in proof.cells:
            numbers.setdefault(cell, []).append(str(number))
    outlines = {cell: picture.outlines[cell] for cell in numbers}
    cells = tuple(
        ProofCell(
            svg_points(outline), middle_of(outline), "" if singles else ",".join(numbers[cell])
        )
        for cell, outline in outlines.items()
    )
    frame = ((0, 0), (picture.width, 0), (picture.width, picture.height), (0, picture.height))
    hole = " ".join(f"M{svg_points(part)}Z" for part in (frame, *outlines.values()))
    return LineMark(line, cells, singles, hole)


def svg_points(outline: tuple[Point, ...]) -> str:
    """Points as SVG writes them."""
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in outline)


def middle_of(outline: tuple[Point, ...]) -> Point:
    """The middle of an outline's bounding box."""
    x, y = zip(*outline, strict=True)
    return round((min(x) + max(x)) / 2, 1), round((min(y) + max(y)) / 2, 1)
