"""Game sheets: board, colours, cards and rules of a game, read from TOML. They never run code."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import ValidationError

from scoring.build_board import lattice_of
from scoring.build_rules import cards_of, rules_of, tie_breaks_of
from scoring.errors import SheetError
from scoring.given_file import read_given
from scoring.limits import MOST_SHEET_BYTES
from scoring.rules import Card, Rule, TieBreak
from scoring.sheet_form import ColourForm, MarkForm, SheetForm
from scoring.sheet_words import in_words
from scoring.sides import area
from scoring.toml import parse_toml
from scoring.types import EMPTY, Colour, Lattice, Point

NOT_COLOURS = (EMPTY, "odd", "covered")
"""Words that mean something else than a colour of piece."""

Corners = tuple[Point, Point, Point, Point]


@dataclass(frozen=True, eq=False)
class GameSheet:
    """One game: everything that a tally needs to know. Lengths are in mm.

    ``support`` says how many inner sides of a piece must lie against another ("any", "all",
    "none"); ``full_board`` that a finished board has no empty cell. ``marks`` maps the id of each
    printed DICT_4X4_50 corner mark to its corners, clockwise from its own top left, ``marks_on``
    to "board" or "card". ``text`` is the TOML that the sheet came from.
    """

    name: str
    lattice: Lattice
    colours: tuple[Colour, ...]
    cards: tuple[Card, ...]
    rules: tuple[Rule, ...]
    support: str = "any"
    piece_height_mm: float = 0.0
    full_board: bool = False
    marks: Mapping[int, Corners] = field(default_factory=dict)
    marks_on: Mapping[int, str] = field(default_factory=dict)
    tie_breaks: tuple[TieBreak, ...] = ()
    text: str = ""
    about: str = ""


def load_sheet(path: str | Path) -> GameSheet:
    """The game sheet in a TOML file. Raises SheetError naming file, place and reason."""
    where = str(path)
    try:
        data = read_given(Path(path), MOST_SHEET_BYTES)
    except OSError as error:
        raise SheetError(where, f"cannot be read ({error.strerror})") from error
    if len(data) > MOST_SHEET_BYTES:
        raise SheetError(where, f"is too long; a sheet has at most {MOST_SHEET_BYTES} bytes")
    try:
        return parse_sheet(data.decode("utf-8"), where)
    except UnicodeDecodeError as error:
        raise SheetError(where, "is not a text file in UTF-8") from error


def parse_sheet(text: str, where: str = "sheet") -> GameSheet:
    """The game sheet written in this TOML; ``where`` names it in errors."""
    try:
        data = parse_toml(text)
    except ValueError as error:
        raise SheetError(where, str(error)) from error
    try:
        return _sheet(SheetForm.model_validate(data), text)
    except ValidationError as error:
        place, reason = in_words(error.errors(include_url=False), data)
        raise SheetError(f"{where}, {place}", reason) from error
    except SheetError as error:
        raise SheetError(f"{where}, {error.where}", error.reason) from error


def colour_named(sheet: GameSheet, name: str) -> Colour:
    """The colour of this name. Raises SheetError when the sheet has none such."""
    for colour in sheet.colours:
        if colour.name == name:
            return colour
    known = ", ".join(colour.name for colour in sheet.colours)
    raise SheetError(sheet.name, f"there is no colour {name!r}; it has {known}")


def letters(sheet: GameSheet) -> dict[str, str]:
    """Colour name by letter."""
    return {colour.letter: colour.name for colour in sheet.colours}


def _sheet(form: SheetForm, text: str) -> GameSheet:
    lattice = lattice_of(form.board)
    colours = _colours(form.colours)
    cards = cards_of(form.cards, lattice, colours)
    rules = rules_of(form.rules, lattice, colours, bool(cards))
    return GameSheet(
        name=form.name,
        lattice=lattice,
        colours=colours,
        cards=cards,
        rules=rules,
        support=form.board.support,
        piece_height_mm=form.board.piece_height_mm,
        full_board=form.board.full,
        marks=_marks(form.marks),
        marks_on={mark.id: mark.on for mark in form.marks},
        tie_breaks=tie_breaks_of(form.tie_breaks, rules, colours),
        text=text,
        about=form.about,
    )


def _colours(forms: Iterable[ColourForm]) -> tuple[Colour, ...]:
    names: set[str] = set()
    taken: set[str] = set()
    for form in forms:
        if form.name in NOT_COLOURS:
            raise SheetError(f"colours, {form.name}", "this word cannot be a colour's name")
        if form.name in names:
            raise SheetError(f"colours, {form.name}", "two colours have this name")
        if form.letter in taken:
            raise SheetError(f"colours, {form.name}", f"the letter {form.letter} is taken already")
        names.add(form.name)
        taken.add(form.letter)
    return tuple(Colour(f.name, f.letter, f.supply, f.in_patterns) for f in forms)


def _marks(forms: Iterable[MarkForm]) -> dict[int, Corners]:
    marks: dict[int, Corners] = {}
    for form in forms:
        if form.id in marks:
            raise SheetError(f"marks, id {form.id}", "two marks have this id")
        a, b, c, d = form.corners_mm
        if area((a, b, c, d)) <= 0:
            reason = "the corners must run clockwise from the mark's own top left"
            raise SheetError(f"marks, id {form.id}, corners_mm", reason)
        marks[form.id] = (a, b, c, d)
    return marks
