"""The command ``tally``: photos of one game -> totals with proof, pictures, a record kept."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from calibrate.store import load_table
from calibrate.types import Table
from desk.answers import GivenAnswers, answers_from, load_answers, noting_answers
from desk.archive import Archive, default_archive_folder, now_utc
from desk.durable import write_whole
from desk.export import tally_csv, tally_json
from desk.given import GivenError, PointsPx, load_claims, parse_corners_by_player, parse_seats
from desk.photo_file import photo_bytes, shown_name
from desk.pictures import save_overlay
from desk.pipeline import (
    hangs_of,
    looked_again,
    record_of,
    score_game,
    seat_player,
    with_answers,
    worth_another_photo,
)
from desk.questions import ask_at_terminal, file_name, leave_open
from desk.say import CAUTION, complain, quietly, so_many, working
from desk.scoresheet import score_sheet
from desk.shelf import table_file
from desk.tally_words import tally_words
from desk.types import Ask, Claims, Clock, Game, Outcome, Seat
from scoring.tally import check_names
from scoring.types import EMPTY
from scoring.words import listed
from vision.decode import load_photo
from vision.read import read_boards as boards_in_photo


@dataclass(frozen=True)
class TallyJob:
    """What the command was given."""

    table: Path
    boards: Sequence[str]
    claims: Path | None
    answers: Path | None
    ask: bool
    corners: Sequence[str]
    by: str
    out: Path
    archive: Path | str | None
    again: Sequence[str] = ()
    photos: str | None = None
    keep_metadata: bool = False
    evening: str = ""
    league: str = ""


def run_tally(job: TallyJob, clock: Clock = now_utc) -> None:
    """Read, ask, tally, keep, show. An archive that cannot be used is said before anybody works.

    The game is kept before it is shown, for who reads may stop reading, as ``head`` does.
    """
    job = replace(job, table=table_file(job.table))
    where = job.archive or default_archive_folder()
    archive = Archive(where, clock, photos=job.photos, keep_metadata=job.keep_metadata)
    game = open_game(job, clock)
    outcome = score_game(game, asker_of(job, clock))
    written = write_results(outcome, job.out, clock)
    labels = {"evening": job.evening, "league": job.league}
    number = archive.save(record_of(outcome, job.table.read_bytes(), **labels))
    print(*tally_words(outcome), sep="\n")
    for path in written:
        print(f"Written: {path}")
    print(f"Kept as game {number} in {archive.where}")
    quietly(CAUTION)


def open_game(job: TallyJob, clock: Clock) -> Game:
    """All boards read, and the answers that a file gives."""
    table = load_table(job.table)
    seats = parse_seats(job.boards)
    claims = load_claims(job.claims) if job.claims else Claims()
    given = answers_given(job, table, list(seats))
    again = second_photos(job.again, seats)
    game = read_boards(table, seats, claims, job.corners)
    for player, path in again.items():
        with working(f"Reading {player}'s board once more"):
            game = looked_again(game, player, path, clock)
    for player, why in worth_another_photo(game, hangs_of(game)).items():
        complain(f"{player}'s board: {why} Add --again {player}=PHOTO.")
    if given is None:
        return game
    answers = answers_from(given, clock)
    print(f"{so_many(len(answers), 'answer')} by {given.by} from {job.answers}.")
    return with_answers(game, answers)


def answers_given(job: TallyJob, table: Table, players: Sequence[str]) -> GivenAnswers | None:
    """The answers of a file; where it does not say whose they are, they are those of ``--by``."""
    return load_answers(job.answers, table.sheet, players, job.by) if job.answers else None


def second_photos(words: Sequence[str], seats: Mapping[str, Path]) -> dict[str, Path]:
    """Second photos by player. Raises GivenError where one cannot be a second photo of a board."""
    again = parse_seats(words)
    for player, path in again.items():
        if player not in seats:
            raise GivenError(f"--again {player}", f"begin with a player: {', '.join(seats)}.")
        if list(seats.values()).count(seats[player]) > 1:
            raise GivenError(
                f"--again {player}",
                f"{seats[player].name} shows several boards; give each board a photo of its own.",
            )
        if path.resolve() == seats[player].resolve():
            raise GivenError(f"--again {player}", "is the same photo; snap the board once more.")
    return again


def read_boards(
    table: Table, seats: dict[str, Path], claims: Claims, corners: Sequence[str] = ()
) -> Game:
    """Every player's board read, claims checked before the work begins; all under one light."""
    check_claims(table, seats, claims)
    corners_px = parse_corners_by_player(corners, list(seats))
    read: dict[str, Seat] = {}
    for path in dict.fromkeys(seats.values()):
        players = [player for player, photo in seats.items() if photo == path]
        with working(f"Reading the board of {listed(players)}"):
            for seat in seats_in(table, players, path, corners_px):
                read[seat.player] = seat
    for player in seats:
        first = read[player].first
        if first.alarm:
            complain(f"{player}'s board: {first.alarm}")
        if first.strip and not first.strip.used:
            complain(f"{player}'s board: {first.strip.words}")
    return with_answers(Game(table, tuple(read[player] for player in seats), claims), ())


def seats_in(
    table: Table, players: Sequence[str], path: Path, corners_px: Mapping[str, PointsPx]
) -> Sequence[Seat]:
    """The seats of those whose boards one photo shows: left to right in the order of their names.

    Raises BoardNotFound where the photo does not show just as many boards as it has players, so
    that a photo named twice by mistake never counts twice.
    """
    if len(players) == 1:
        return [seat_player(table, players[0], path, corners_px.get(players[0]))]
    if given := [player for player in players if player in corners_px]:
        raise GivenError(
            f"--corners of {given[0]}",
            f"{path.name} shows several boards; corners can be given for a photo of one.",
        )
    data = photo_bytes(path)
    photo = load_photo(data, shown_name(path))
    readings = boards_in_photo(photo, table, len(players))
    return [
        Seat(player, data, photo, reading, reading, reading)
        for player, reading in zip(players, readings, strict=True)
    ]


def check_claims(table: Table, seats: dict[str, Path], claims: Claims) -> None:
    """Refuse a claim of an unknown player or card before any photo is read."""
    bare = dict.fromkeys(table.sheet.lattice.neighbours, EMPTY)
    check_names(table.sheet, dict.fromkeys(seats, bare), claims.cards, claims.facts)


def asker_of(job: TallyJob, clock: Clock) -> Ask:
    """Who answers: nobody, or the person at the terminal, whose answers are noted at once."""
    if not job.ask:
        return leave_open
    noted = job.out / "answers.toml"
    return noting_answers(ask_at_terminal(job.out, job.by, clock), noted)


def write_results(outcome: Outcome, out: Path, clock: Clock) -> list[Path]:
    """Overlays, score sheet, tally as CSV and JSON; returns the files."""
    sheet = outcome.game.table.sheet
    files = []
    for seat in outcome.game.seats:
        files.append(out / f"{file_name(seat.player)}-read.png")
        save_overlay(seat.photo, seat.reading, sheet, files[-1])
    texts = {
        "score-sheet.html": score_sheet(outcome, clock()),
        "tally.csv": tally_csv(outcome),
        "tally.json": json.dumps(tally_json(outcome), ensure_ascii=False, indent=1) + "\n",
    }
    for name, text in texts.items():
        write_whole(out / name, text.encode())
        files.append(out / name)
    return files
