"""Questions at the terminal: which cell, what it may be, why it is in doubt, what hangs on it."""

from __future__ import annotations

import re
from pathlib import Path

from desk.pictures import save_crop
from desk.records import Answer
from desk.tally_words import ANYTHING, may_be, stakes
from desk.types import SKIP, Ask, Clock, Game, Question, Seat, now
from scoring.sheet import GameSheet
from scoring.types import EMPTY

EMPTY_SIGNS = (".", "0", EMPTY)
SKIP_SIGNS = ("?", SKIP)


def seat_of(game: Game, player: str) -> Seat:
    """The seat of a player."""
    return next(seat for seat in game.seats if seat.player == player)


def crop_path(folder: Path, player: str, cell: str) -> Path:
    """Where the picture beside a question goes."""
    return folder / "questions" / f"{file_name(player)}-{cell}.png"


def file_name(words: str) -> str:
    """A player's name as part of a file name, the same name always the same."""
    plain = re.sub(r"[^\w-]+", "-", words.lower()).strip("-")
    return plain if plain == words.lower() else f"{plain}-{hash_of(words)}".lstrip("-")


def hash_of(words: str) -> str:
    """Six letters that keep apart two names which look alike as file names."""
    import hashlib

    return hashlib.sha256(words.encode()).hexdigest()[:6]


def question_words(question: Question, crop: Path) -> list[str]:
    """The lines of one question, the choices last."""
    game, hang = question.game, question.hang
    sheet, seat = game.table.sheet, seat_of(game, hang.player)
    doubt = seat.reading.cells[hang.cell].doubt or "it is in doubt"
    options = may_be(seat, sheet, hang.cell)
    likely = "It may be anything" if options == ANYTHING else f"Likeliest first: {options}"
    return [
        f"Question {question.number}: {hang.player}, cell {hang.cell}  (picture: {crop})",
        f"  {doubt[0].upper()}{doubt[1:]}. {likely}.",
        f"  {why_asked(question)}",
        f"  {choices(sheet)}",
    ]


def why_asked(question: Question) -> str:
    """What the answer is good for, as a sentence."""
    if question.hang.matters:
        return f"The answer can change {stakes(question.hang)}; {totals_now(question)}."
    return "It changes no total; but as read, more pieces of a colour lie than the box holds."


def totals_now(question: Question) -> str:
    """Between which totals the player lies before the answer."""
    low, high = question.hangs.ranges[question.hang.player]
    return f"{question.hang.player} has {low} to {high} points now"


def choices(sheet: GameSheet) -> str:
    """What may be typed."""
    letters = ", ".join(f"{colour.letter} {colour.name}" for colour in sheet.colours)
    return f"Type {letters}, 0 empty, or ? to leave it open."


def understood(sheet: GameSheet, typed: str) -> str | None:
    """The colour name, ``empty`` or ``skip`` that was typed; None where it is none of them."""
    typed = typed.strip()
    exact = {colour.letter: colour.name for colour in sheet.colours}
    exact |= {colour.name: colour.name for colour in sheet.colours}
    exact |= dict.fromkeys(EMPTY_SIGNS, EMPTY) | dict.fromkeys(SKIP_SIGNS, SKIP)
    if typed in exact:
        return exact[typed]
    alike = {name for sign, name in exact.items() if sign.lower() == typed.lower()}
    return alike.pop() if len(alike) == 1 else None


def ask_at_terminal(folder: Path, by: str, clock: Clock) -> Ask:
    """Questions are printed and answers typed; the end of the input leaves the rest open."""

    def ask(question: Question) -> Answer | None:
        game, hang = question.game, question.hang
        crop = crop_path(folder, hang.player, hang.cell)
        save_crop(seat_of(game, hang.player), game.table.sheet, hang.cell, crop)
        print("", *question_words(question, crop), sep="\n")
        colour = typed_colour(game.table.sheet)
        if colour is None:
            return None
        return Answer(hang.player, hang.cell, colour, by, now(clock))

    return ask


def typed_colour(sheet: GameSheet) -> str | None:
    """What was typed, asked again until it is understood; None where the input has ended."""
    while True:
        try:
            typed = input("> ")
        except EOFError:
            print("No more answers; what is left stays open.")
            return None
        colour = understood(sheet, typed)
        if colour:
            return colour
        print(f"  {typed.strip()!r} is no such piece. {choices(sheet)}")


def leave_open(_question: Question) -> None:
    """The asker that asks nothing."""
