"""The command ``sheet card``: cards of a sheet from photos of them, confirmed by a person."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.store import load_table
from calibrate.types import Palette
from desk.card_drawing import (
    NO_CELL,
    TOPS,
    card_toml,
    look_png,
    named_cells,
    pattern_letters,
)
from desk.durable import write_whole
from desk.given import GivenError, is_count, load_toml, parse_corners
from desk.photo_file import photo_in
from desk.say import asked, working
from desk.shelf import table_file
from scoring.sheet import GameSheet, load_sheet, parse_sheet
from vision.cards import CardLook
from vision.find_cards import look_at_cards
from vision.inks import MAYBE_NO_CELL, Ink, Named, tell_inks

NOT_MADE = 1
"""Exit code where a card was left open."""

SIGNS = "*_0123456789" + NO_CELL
ANSWER_KEYS = ("name", "points", "top", "right", "cells")
NUMBERED = re.compile(r"(?P<photo>.+) (?P<card>[1-9][0-9]?)")
"""How answers name one of several cards in a photo."""


@dataclass(frozen=True)
class CardJob:
    """What was asked for: the sheet, photos of cards, and what helps to read them."""

    sheet: Path
    photos: Sequence[Path]
    table: Path | None = None
    answers: Path | None = None
    corners: Sequence[str] | None = None
    add: bool = False
    out: Path = Path("cards-out")


@dataclass(frozen=True, eq=False)
class Draft:
    """The cards of a photo on their way: the photo's name, what was seen of each card, the inks of
    all cells, answers given by card, and what each cell asks for by now.

    A cell is named ``A1``, or ``2A1`` on the second of several cards. ``inks`` count the cells of
    all cards, one card after the other.
    """

    photo: str
    looks: tuple[CardLook, ...]
    inks: tuple[Ink, ...]
    given: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)
    needs: Mapping[str, str] = field(default_factory=dict)

    def names(self) -> list[str]:
        """The name of every cell, card by card."""
        return cell_names(self.looks)

    def names_on(self, card: int) -> list[str]:
        """The names of one card's cells; cards count from 0."""
        start = sum(len(look.cells) for look in self.looks[:card])
        return self.names()[start : start + len(self.looks[card].cells)]

    def doubts(self) -> dict[str, str]:
        """Why each open cell is asked, by its name."""
        names = self.names()
        return {
            names[i]: ink.doubt
            for ink in self.inks
            for i in ink.cells
            if ink.doubt and names[i] not in self.needs
        }

    def named_inks(self, sheet: GameSheet) -> Iterator[tuple[str, NDArray[np.float64]]]:
        """Every ink that stands for a colour by now: the colour, and its CIELAB (3,)."""
        names = self.names()
        for ink in self.inks:
            for need in {self.needs.get(names[i]) for i in ink.cells}:
                colour = colour_asked(sheet, need)
                if colour:
                    yield colour, ink.lab

    def called(self, card: int) -> str:
        """A card's name until it has one."""
        return f"{self.photo}, card {card + 1}" if len(self.looks) > 1 else self.photo


def run_card(job: CardJob) -> int:
    """Read each card, ask, show the drawing, and add to the sheet what a person confirmed.

    Returns the exit code: ``NOT_MADE`` where a photo shows a card of which none was made.
    """
    sheet = load_sheet(job.sheet)
    checked_like(sheet)
    palette = load_table(table_file(job.table)).palette if job.table else None
    given = given_cards(job.answers, [path.name for path in job.photos])
    named: dict[str, list] = {}
    code = 0
    for path in job.photos:
        draft = seen_cards(job, sheet, path, palette, named, given)
        draft = settled(draft, sheet, job.out)
        for colour, lab in draft.named_inks(sheet):
            named.setdefault(colour, []).append(lab)
        for card in range(len(draft.looks)):
            text = confirmed(draft, card, sheet)
            if text is None:
                code = NOT_MADE
                continue
            print("", text, sep="\n")
            sheet = with_text(sheet, text)
            if job.add:
                write_whole(job.sheet, sheet.text.encode())
                print(f"Added to {job.sheet}.")
    return code


def seen_cards(
    job: CardJob,
    sheet: GameSheet,
    path: Path,
    palette: Palette | None,
    named: Named,
    given: Mapping[str, Mapping[int, Any]],
) -> Draft:
    """What one photo shows, with the answers that were given in a file."""
    corners = parse_corners(job.corners) if job.corners else None
    photo = photo_in(path)
    with working(f"Reading {path.name}"):
        looks = look_at_cards(photo, checked_like(sheet), course_height(sheet), corners)
    inks = inks_of(looks, sheet, palette, named)
    said = given.get(path.name, {})
    if any(card >= len(looks) for card in said):
        number = "1 card" if len(looks) == 1 else f"{len(looks)} cards"
        raise GivenError(str(job.answers), f"{path.name} shows {number}.")
    draft = Draft(path.name, looks, inks, said, needs_told(sheet, cell_names(looks), inks))
    return replace(draft, needs={**draft.needs, **checked_cells(sheet, draft)})


def cell_names(looks: Sequence[CardLook]) -> list[str]:
    """A name for each cell of all cards of a photo, as ``Draft`` has them."""
    several = len(looks) > 1
    return [
        f"{number}{name}" if several else name
        for number, look in enumerate(looks, 1)
        for name in named_cells(look)
    ]


def inks_of(
    looks: Sequence[CardLook], sheet: GameSheet, palette: Palette | None, named: Named
) -> tuple[Ink, ...]:
    """The inks of all cards of a photo, as colours that a pattern of this sheet may ask for: an ink
    that several cards show is one."""
    cells = [cell for look in looks for cell in look.cells]
    colours = [colour.name for colour in sheet.colours if colour.in_patterns]
    return tell_inks(cells, colours, palette, named)


def checked_like(sheet: GameSheet) -> str:
    """The regular kind in whose steps the sheet's cards are drawn. Raises GivenError."""
    if not sheet.lattice.like:
        raise GivenError(
            sheet.name, "this board has no regular steps; name the cells of its cards by hand."
        )
    return sheet.lattice.like


def course_height(sheet: GameSheet) -> float:
    """Height of a cell of the board over its width."""
    x, y = zip(*sheet.lattice.cells[0].polygon_mm, strict=True)
    return (max(y) - min(y)) / (max(x) - min(x))


def needs_told(sheet: GameSheet, names: Sequence[str], inks: Sequence[Ink]) -> dict[str, str]:
    """The letter of each cell that is certain."""
    letters = {colour.name: colour.letter for colour in sheet.colours}
    return {names[i]: letters[ink.candidates[0]] for ink in inks if not ink.doubt
            for i in ink.cells}  # fmt: skip


def given_cards(path: Path | None, photos: Sequence[str]) -> dict[str, dict[int, Any]]:
    """Answers by photo and card, each a table of ``name``, ``points``, ``top``, ``right`` and
    ``cells``; one of several cards is named by its number after the photo."""
    found: dict[str, dict[int, Any]] = {}
    for key, said in (load_toml(path) if path else {}).items():
        where = f"{path}, {key}"
        numbered = NUMBERED.fullmatch(key) if key not in photos else None
        photo, card = (numbered["photo"], int(numbered["card"]) - 1) if numbered else (key, 0)
        if photo not in photos:
            raise GivenError(where, f"the photos are {', '.join(photos)}.")
        if not isinstance(said, dict) or set(said) - set(ANSWER_KEYS):
            raise GivenError(where, f"a card has {', '.join(ANSWER_KEYS)} and nothing else.")
        if said.get("top", "up") not in TOPS:
            raise GivenError(f"{where}, top", f"is one of {', '.join(TOPS)}.")
        if not isinstance(said.get("cells", {}), dict):
            raise GivenError(f"{where}, cells", 'write cells = { A1 = "M" }.')
        found.setdefault(photo, {})[card] = said
    return found


def checked_cells(sheet: GameSheet, draft: Draft) -> dict[str, str]:
    """The cells that an answers file settles, checked; by the names that the draft has for them."""
    known = {colour.letter for colour in sheet.colours} | set(SIGNS)
    settled = {}
    for card, said in draft.given.items():
        own = dict(zip(named_cells(draft.looks[card]), draft.names_on(card), strict=True))
        for cell, need in said.get("cells", {}).items():
            where = f"{draft.called(card)}, cells, {cell}"
            if cell not in own:
                raise GivenError(where, f"the card has {', '.join(own)}.")
            if need not in known:
                raise GivenError(where, f"{need!r} is neither a letter of the sheet nor a sign.")
            settled[own[cell]] = need
    return settled


def settled(draft: Draft, sheet: GameSheet, out: Path) -> Draft:
    """The draft after the open inks were asked, each once; an empty answer leaves one open."""
    for card, look in enumerate(draft.looks):
        picture = out / f"{Path(draft.photo).stem}{f'-{card + 1}' * (len(draft.looks) > 1)}.png"
        write_whole(picture, look_png(look, draft.names_on(card), draft.doubts()))
        print(f"{draft.called(card)}: {len(look.cells)} cells (picture: {picture})")
    names = draft.names()
    for ink in draft.inks:
        cells = [names[i] for i in ink.cells if names[i] in draft.doubts()]
        if cells:
            draft = replace(draft, needs={**draft.needs, **typed_needs(sheet, cells, ink)})
    return draft


def typed_needs(sheet: GameSheet, cells: Sequence[str], ink: Ink) -> dict[str, str]:
    """What a person says of cells that are asked together; none where they stay open. Of cells that
    may be none each is asked by itself, unless all are none."""
    need = typed_need(sheet, cells, ink)
    if need and need != NO_CELL and ink.doubt == MAYBE_NO_CELL and len(cells) > 1:
        return {cell: own for cell in cells if (own := typed_need(sheet, [cell], ink))}
    return dict.fromkeys(cells, need) if need else {}


def typed_need(sheet: GameSheet, cells: Sequence[str], ink: Ink) -> str:
    """What a person says of cells of one ink; "" where it stays open."""
    letters = {colour.name: colour.letter for colour in sheet.colours}
    likely = ", ".join(f"{letters[name]} {name}" for name in ink.candidates[:4])
    print(f"{', '.join(cells)}: {ink.doubt}. {f'Likeliest first: {likely}.' if likely else ''}")
    known = ", ".join(f"{colour.letter} {colour.name}" for colour in sheet.colours)
    while True:
        typed = asked(f"  {known}; * any, _ none, a digit, . no cell, ? leave open > ")
        if typed in ("", "?"):
            return ""
        if typed in letters.values() or typed in SIGNS:
            return typed
        print(f"  {typed!r} is none of these.")


def confirmed(draft: Draft, card: int, sheet: GameSheet) -> str | None:
    """A card's lines once a person has said that the drawing is right; None where not."""
    called, given = draft.called(card), draft.given.get(card, {})
    doubts = [name for name in draft.names_on(card) if name in draft.doubts()]
    if doubts:
        print(f"{called}: {', '.join(doubts)} not settled; no card is made of it.")
        return None
    proposed = free_name(sheet)
    name = given.get("name") or asked(f"{called}, its name ({proposed}) > ") or proposed
    points = given.get("points", None) or asked("Points > ")
    if not is_count(str(points).removeprefix("-")):
        print(f"{called}: a card needs whole points; no card is made of it.")
        return None
    top = given.get("top", "up")
    while True:
        letters = letters_of(draft, card, sheet, top)
        print("", letters, "", sep="\n")
        if given.get("right") is True:
            return card_toml(str(name), int(points), letters)
        typed = asked("Is it right? y, n, or which side is the top: right, down, left > ")
        if typed in TOPS:
            top = typed
        elif typed.lower() in ("y", "yes"):
            return card_toml(str(name), int(points), letters)
        else:
            print(f"{called}: not confirmed; no card is made of it.")
            return None


def free_name(sheet: GameSheet) -> str:
    """A name that no card of the sheet has, to be taken or typed over."""
    taken = {card.name for card in sheet.cards}
    return next(name for n in count(1) if (name := f"Card {n}") not in taken)


def letters_of(draft: Draft, card: int, sheet: GameSheet, top: str) -> str:
    """The drawing of a card with this side up."""
    steps = [cell.step for cell in draft.looks[card].cells]
    needs = [draft.needs[name] for name in draft.names_on(card)]
    return pattern_letters(steps, needs, checked_like(sheet), top)


def with_text(sheet: GameSheet, card: str) -> GameSheet:
    """The sheet with a card's lines at its end. Raises SheetError where that is none."""
    return parse_sheet(sheet.text.rstrip("\n") + "\n\n" + card, sheet.name)


def colour_asked(sheet: GameSheet, need: str | None) -> str | None:
    """The colour whose letter a cell asks for; None for a sign."""
    return next((colour.name for colour in sheet.colours if colour.letter == need), None)
