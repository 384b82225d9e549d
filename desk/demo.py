"""The command ``demo``: the whole job on practice photos of an invented game, nobody asked."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import samples
from calibrate.store import table_bytes
from desk.answers import noting_answers
from desk.archive import Archive, now_utc
from desk.calibrating import KnownThings, judgement, learn_table
from desk.durable import write_whole
from desk.given import load_claims
from desk.pictures import save_crop
from desk.pipeline import record_of, score_game
from desk.questions import crop_path, question_words, seat_of
from desk.records import Answer
from desk.say import CAUTION, quietly
from desk.tally_words import tally_words
from desk.tallying import read_boards, write_results
from desk.types import Ask, Clock, Game, Question, now
from scoring.grid import parse_grid
from scoring.sheet import GameSheet
from scoring.types import Grid

ROOM = Path(samples.__file__).parent
SHEET = ROOM / "sheets" / "penmarrow.toml"
PRACTICE = ROOM / "photos" / "penmarrow"

ANSWERER = "practice truth"
"""Who answers in the demo: nobody sits there, so the photographer's own notes do."""

KEPT = {
    "penmarrow.table": "what calibration learned",
    "questions/": "the picture beside each question",
    "answers.toml": "the answers, as `tally --answers` takes them",
    "*-read.png": "what was read, drawn over each photo",
    "score-sheet.html": "the score sheet: open it, print it",
    "tally.csv, tally.json": "the tally for spreadsheets and programs",
    "archive/": "the record: photos, readings, answers, tally",
}


def run_demo(out: Path, clock: Clock = now_utc) -> None:
    """Calibrate, judge, read, ask, tally, show, keep."""
    print("Step 1: learn the table from two photos of the empty board and two of a known layout.")
    table = learn_table("penmarrow", known_things())
    table_file = out / "penmarrow.table"
    write_whole(table_file, table_bytes(table))
    print(*judgement(table), sep="\n")

    print(f"\nStep 2: read the final boards of one game of {table.sheet.name}.")
    claims = load_claims(PRACTICE / "claims.toml")
    game = read_boards(table, photos_of(list(claims.cards)), claims)
    print(*reading_words(game), sep="\n")

    print(
        "\nStep 3: ask what can change something. Nobody sits here, so each answer comes from the"
    )
    print("notes of whoever laid the pieces, as from a person who looks at the table.")
    (out / "answers.toml").unlink(missing_ok=True)  # of an earlier demo: nobody typed it
    outcome = score_game(game, noting_answers(ask_truth(out, clock), out / "answers.toml"))
    if not outcome.game.answers:
        print("No doubt could change anything: nothing to ask.")

    print("\nStep 4: the tally.")
    print(*tally_words(outcome), sep="\n")
    write_results(outcome, out, clock)
    archive = Archive(out / "archive", clock)
    number = archive.save(record_of(outcome, table_file.read_bytes()))

    print(f"\nStep 5: all is kept in {out.resolve()} (game {number} of its archive):")
    print(*(f"  {name:<22} {what}" for name, what in KEPT.items()), sep="\n")
    quietly(CAUTION)


def known_things() -> KnownThings:
    """The practice photos that a table is learned from."""
    empty, layout = (sorted(PRACTICE.glob(f"{kind}-*.jpg")) for kind in ("empty", "layout"))
    return KnownThings(SHEET, empty, layout, PRACTICE / "layout.txt")


def photos_of(players: list[str]) -> dict[str, Path]:
    """The practice photo of each player's final board."""
    return {player: PRACTICE / "game" / f"{player.lower()}.jpg" for player in players}


def reading_words(game: Game) -> Iterator[str]:
    """One line a board: how it was found, how much is in doubt, how long it took."""
    for seat in game.seats:
        place, cells = seat.reading.registration, seat.reading.cells
        doubts = sum(belief.doubt is not None for belief in cells.values())
        spent = sum(seat.reading.milliseconds.values())
        yield (
            f"- {seat.player}: found by {place.method}, cell centres within "
            f"{place.error_mm:.1f} mm; {doubts} of {len(cells)} cells in doubt; {spent:.0f} ms"
        )


def ask_truth(out: Path, clock: Clock) -> Ask:
    """Print each question with its picture, and answer from the photographer's notes."""
    notes = json.loads((PRACTICE / "truth.json").read_text("utf-8"))["grids"]

    def ask(question: Question) -> Answer:
        hang, sheet = question.hang, question.game.table.sheet
        crop = crop_path(out, hang.player, hang.cell)
        save_crop(seat_of(question.game, hang.player), sheet, hang.cell, crop)
        colour = truth_of(notes, hang.player, sheet)[hang.cell]
        print(*question_words(question, crop)[:-1], f"  Answer: {colour}.", sep="\n")
        return Answer(hang.player, hang.cell, colour, ANSWERER, now(clock))

    return ask


def truth_of(notes: dict[str, str], player: str, sheet: GameSheet) -> Grid:
    """What really lay on a player's board."""
    return parse_grid(notes[player], sheet, f"truth of {player}")
