"""The command ``sheet card``: cards of a sheet from photos of them, confirmed by a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

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
from desk.given import GivenError, load_toml, parse_corners, text_of
from desk.photo_file import photo_in
from desk.say import working
from desk.shelf import table_file
from scoring.sheet import GameSheet, load_sheet, parse_sheet
from vision.cards import CardLook, look_at_card
from vision.inks import Ink, Named, tell_inks

SIGNS = "*_0123456789" + NO_CELL
ANSWER_KEYS = ("name", "points", "top", "right", "cells")


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
    """A card on its way: its photo's name, what was seen, its cells' names, inks, answers given."""

    photo: str
    look: CardLook
    names: tuple[str, ...]
    inks: tuple[Ink, ...]
    given: Mapping[str, Any]
    needs: Mapping[str, str] = field(default_factory=dict)

    def doubts(self) -> dict[str, str]:
        """Why each open cell is asked, by its name."""
        return {
            self.names[i]: ink.doubt
            for ink in self.inks
            for i in ink.cells
            if ink.doubt and self.names[i] not in self.needs
        }


def run_card(job: CardJob) -> None:
    """Read each card, ask, show the drawing, and add to the sheet what a person confirmed."""
    sheet = load_sheet(job.sheet)
    checked_like(sheet)
    palette = load_table(table_file(job.table)).palette if job.table else None
    given = given_cards(job.answers, [path.name for path in job.photos])
    named: dict[str, list] = {}
    for path in job.photos:
        draft = seen_card(job, sheet, path, palette, named, given.get(path.name, {}))
        draft = settled(draft, sheet, job.out)
        text = confirmed(draft, sheet)
        if text is None:
            continue
        for ink in draft.inks:
            for colour in {_colour(sheet, draft.needs[draft.names[i]]) for i in ink.cells}:
                if colour:
                    named.setdefault(colour, []).append(ink.lab)
        print("", text, sep="\n")
        if job.add:
            sheet = add_card(job.sheet, text)
            print(f"Added to {job.sheet}.")


def seen_card(
    job: CardJob,
    sheet: GameSheet,
    path: Path,
    palette: Palette | None,
    named: Named,
    given: Mapping[str, Any],
) -> Draft:
    """What one photo shows, with the answers that were given in a file."""
    corners = parse_corners(job.corners) if job.corners else None
    photo = photo_in(path)
    with working(f"Reading {path.name}"):
        look = look_at_card(photo, sheet.lattice.like, course_height(sheet), corners)
    names = tuple(named_cells(look))
    inks = inks_of(look, sheet, palette, named)
    draft = Draft(path.name, look, names, inks, given, needs_told(sheet, names, inks))
    said = checked_cells(sheet, draft)
    return replace(draft, needs={**draft.needs, **said})


def inks_of(
    look: CardLook, sheet: GameSheet, palette: Palette | None, named: Named
) -> tuple[Ink, ...]:
    """The inks of a card's cells, as colours that a pattern of this sheet may ask for."""
    colours = [colour.name for colour in sheet.colours if colour.in_patterns]
    return tell_inks(look.cells, colours, palette, named)


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


def given_cards(path: Path | None, photos: Sequence[str]) -> dict[str, Any]:
    """Answers by photo, each a table of ``name``, ``points``, ``top``, ``right`` and ``cells``."""
    data = load_toml(path) if path else {}
    for photo, said in data.items():
        where = f"{path}, {photo}"
        if photo not in photos:
            raise GivenError(where, f"the photos are {', '.join(photos)}.")
        if not isinstance(said, dict) or set(said) - set(ANSWER_KEYS):
            raise GivenError(where, f"a card has {', '.join(ANSWER_KEYS)} and nothing else.")
        if said.get("top", "up") not in TOPS:
            raise GivenError(f"{where}, top", f"is one of {', '.join(TOPS)}.")
        if not isinstance(said.get("cells", {}), dict):
            raise GivenError(f"{where}, cells", 'write cells = { A1 = "M" }.')
    return data


def checked_cells(sheet: GameSheet, draft: Draft) -> dict[str, str]:
    """The cells that an answers file settles, checked."""
    known = {colour.letter for colour in sheet.colours} | set(SIGNS)
    cells = draft.given.get("cells", {})
    for cell, need in cells.items():
        where = f"{draft.photo}, cells, {cell}"
        if cell not in draft.names:
            raise GivenError(where, f"the card has {', '.join(draft.names)}.")
        if need not in known:
            raise GivenError(where, f"{need!r} is neither a letter of the sheet nor a sign.")
    return dict(cells)


def settled(draft: Draft, sheet: GameSheet, out: Path) -> Draft:
    """The draft after the open inks were asked; an empty answer leaves one open."""
    picture = out / f"{Path(draft.photo).stem}.png"
    write_whole(picture, look_png(draft.look, draft.names, draft.doubts()))
    print(f"{draft.photo}: {len(draft.names)} cells (picture: {picture})")
    for ink in draft.inks:
        cells = [draft.names[i] for i in ink.cells if draft.names[i] in draft.doubts()]
        if cells:
            need = typed_need(sheet, cells, ink)
            if need:
                draft = replace(draft, needs={**draft.needs, **dict.fromkeys(cells, need)})
    return draft


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


def asked(words: str) -> str:
    """What is typed; "" at the end of the input."""
    try:
        return input(words).strip()
    except EOFError:
        print()
        return ""


def confirmed(draft: Draft, sheet: GameSheet) -> str | None:
    """The card's lines once a person has said that the drawing is right; None where not."""
    doubts = draft.doubts()
    if doubts:
        print(f"{draft.photo}: {', '.join(doubts)} not settled; no card is made of it.")
        return None
    name = draft.given.get("name") or asked("Name of the card > ")
    points = draft.given.get("points", None) or asked("Points > ")
    if not name or not str(points).lstrip("-").isdigit():
        print(f"{draft.photo}: a card needs a name and whole points; no card is made of it.")
        return None
    top = draft.given.get("top", "up")
    while True:
        letters = letters_of(draft, sheet, top)
        print("", letters, "", sep="\n")
        if draft.given.get("right") is True:
            return card_toml(str(name), int(points), letters)
        typed = asked("Is it right? y, n, or which side is the top: right, down, left > ")
        if typed in TOPS:
            top = typed
        elif typed.lower() in ("y", "yes"):
            return card_toml(str(name), int(points), letters)
        else:
            print(f"{draft.photo}: not confirmed; no card is made of it.")
            return None


def letters_of(draft: Draft, sheet: GameSheet, top: str) -> str:
    """The drawing with this side up."""
    steps = [cell.step for cell in draft.look.cells]
    needs = [draft.needs[name] for name in draft.names]
    return pattern_letters(steps, needs, sheet.lattice.like, top)


def add_card(path: Path, text: str) -> GameSheet:
    """Append a card to a sheet's file, which stays as it is where the result is no sheet."""
    whole = text_of(path).rstrip("\n") + "\n\n" + text
    sheet = parse_sheet(whole, str(path))
    write_whole(path, whole.encode())
    return sheet


def _colour(sheet: GameSheet, need: str) -> str | None:
    return next((colour.name for colour in sheet.colours if colour.letter == need), None)
