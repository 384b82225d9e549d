"""Every command on real photo files: what it prints, writes and keeps, and how it fails."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from desk.keeping import store as photo_store
from scoring.grid import parse_grid
from scoring.sheet import load_sheet
from scoring.tally import tally
from tests.desk.practice import PRACTICE, SHEET, Run

PLAYERS = ("Isla", "Joss", "Wren")
BOARDS = [f"{player}={PRACTICE / 'game' / f'{player.lower()}.jpg'}" for player in PLAYERS]
CLAIMS = PRACTICE / "claims.toml"
READING_KEYS = {
    "photo",
    "found",
    "method",
    "error_mm",
    "board_corners_px",
    "alarm",
    "key_strip",
    "cells",
    "milliseconds",
}


def truth() -> dict[str, dict[str, str]]:
    """What really lies on every board."""
    sheet = load_sheet(SHEET)
    notes = json.loads((PRACTICE / "truth.json").read_text("utf-8"))["grids"]
    return {player: dict(parse_grid(notes[player], sheet)) for player in PLAYERS}


def true_totals() -> dict[str, int]:
    """Every player's total by the true boards."""
    claims = tomllib.loads(CLAIMS.read_text("utf-8"))
    result = tally(load_sheet(SHEET), truth(), claims)
    return {player.player: player.total for player in result.players}


@pytest.fixture(scope="module")
def noise(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo of nothing."""
    pixels = np.random.default_rng(5).integers(0, 256, (600, 800, 3), dtype=np.uint8)
    path = tmp_path_factory.mktemp("noise") / "noise.jpg"
    Image.fromarray(pixels).save(path, quality=90)
    return path


def totals(out: Path) -> dict[str, int]:
    """The totals in a tally that was written."""
    players = json.loads((out / "tally.json").read_text("utf-8"))["players"]
    return {player["player"]: player["total"] for player in players}


def test_calibrate_judges_the_table_and_cautions(calibrated: tuple[Path, str]) -> None:
    table, printed = calibrated

    assert f"{table}: the table for The Roof at Penmarrow is learned." in printed
    assert "\n- " in printed
    assert "Ask before you photograph" in printed


def test_read_prints_one_json_object_a_photo(tallyglass: Run, table: Path) -> None:
    photos = [PRACTICE / "game" / "isla.jpg", PRACTICE / "game" / "joss.jpg"]

    ended = tallyglass("read", table, *photos, "--json")

    assert ended.code == 0, ended.err
    readings = [json.loads(line) for line in ended.out.splitlines()]
    assert [reading["photo"] for reading in readings] == ["isla.jpg", "joss.jpg"]
    for reading in readings:
        assert set(reading) == READING_KEYS
        assert reading["found"] is True
        assert len(reading["board_corners_px"]) == 4
        assert set(reading["milliseconds"]) == {"decode", "find", "sample", "classify"}
        assert set(reading["cells"]) == set(truth()["Isla"])
        for cell in reading["cells"].values():
            assert set(cell) == {"colour", "candidates", "doubt"}


def test_read_for_people_shows_the_grid_and_every_doubt(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    ended = tallyglass("read", table, PRACTICE / "game" / "joss.jpg", "--overlay", tmp_path)

    assert ended.code == 0, ended.err
    assert "joss.jpg: found by" in ended.out
    assert "of 45 cells in doubt" in ended.out
    with Image.open(tmp_path / "joss-read.png") as image:
        assert image.width > 300


def test_read_says_why_a_board_was_not_found_and_reads_on(
    tallyglass: Run, table: Path, noise: Path
) -> None:
    ended = tallyglass("read", table, noise, PRACTICE / "game" / "isla.jpg", "--json")

    missing, found = map(json.loads, ended.out.splitlines())
    assert ended.code == 3
    assert set(missing) == {"photo", "found", "reason", "hint"}
    assert missing["photo"] == "noise.jpg"
    assert missing["found"] is False
    assert found["found"] is True


def test_a_photo_that_is_not_there_does_not_stop_the_others(tallyglass: Run, table: Path) -> None:
    ended = tallyglass("read", table, "none.jpg", PRACTICE / "game" / "isla.jpg", "--json")

    missing, found = map(json.loads, ended.out.splitlines())
    assert ended.code == 2
    assert missing["reason"] == "there is no such file."
    assert found["found"] is True


def test_read_takes_two_boards_of_one_photo(tallyglass: Run, table: Path, tmp_path: Path) -> None:
    boards = [Image.open(PRACTICE / f"game/{name}.jpg") for name in ("wren", "isla")]
    both = Image.new("RGB", (boards[0].width * 2, boards[0].height))
    both.paste(boards[0])
    both.paste(boards[1], (boards[0].width, 0))
    both.save(tmp_path / "both.png", compress_level=1)
    ended = tallyglass("read", table, tmp_path / "both.png", "--json", "--boards", "2")
    left, right = (json.loads(line) for line in ended.out.splitlines())

    assert ended.code == 0
    assert max(x for x, _ in left["board_corners_px"]) < boards[0].width
    assert min(x for x, _ in right["board_corners_px"]) > boards[0].width
    assert set(left["cells"]) == set(right["cells"])


def test_corners_are_of_one_board_only(tallyglass: Run, table: Path) -> None:
    photo, spots = PRACTICE / "game/isla.jpg", ["1,1", "9,1", "9,9", "1,9"]
    ended = tallyglass("read", table, photo, "--boards", "2", "--corners", *spots)

    assert ended.code == 2
    assert "--corners: they are those of one board; leave --boards out." in ended.err


def test_read_takes_corners_by_hand(tallyglass: Run, table: Path) -> None:
    photo = json.loads((PRACTICE / "truth.json").read_text("utf-8"))["photos"]["game/isla.jpg"]
    corners = [f"{x},{y}" for x, y in photo["board_corners_px"]]

    ended = tallyglass("read", table, PRACTICE / "game/isla.jpg", "--json", "--corners", *corners)

    assert ended.code == 0, ended.err
    given = np.array(photo["board_corners_px"])
    assert np.abs(np.array(json.loads(ended.out)["board_corners_px"]) - given).max() < 6


SPOILED = {
    "cut.jpg": (PRACTICE / "game" / "isla.jpg").read_bytes()[:40_000],
    "words.jpg": b"These are words, not a photo.",
    "empty.jpg": b"",
}


@pytest.mark.parametrize("name", SPOILED)
def test_a_file_that_is_no_whole_photo_is_named_in_one_sentence(
    tallyglass: Run, table: Path, tmp_path: Path, name: str
) -> None:
    (tmp_path / name).write_bytes(SPOILED[name])

    ended = tallyglass("read", table, tmp_path / name)

    assert ended.code == 2
    assert ended.out == ""
    assert ended.err.startswith(f"{name}: ")
    assert len(ended.err.strip().splitlines()) == 1


@pytest.mark.parametrize("content", [b"", b"no table", b"PK\x03\x04 half a table"])
def test_a_file_that_is_no_table_is_named(tallyglass: Run, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.table").write_bytes(content)

    ended = tallyglass("read", tmp_path / "x.table", PRACTICE / "game" / "isla.jpg")

    assert ended.code == 2
    assert "x.table" in ended.err
    assert len(ended.err.strip().splitlines()) == 1


def test_tally_without_questions_says_between_which_totals_each_player_lies(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    words = ["--claims", CLAIMS, "--no-questions", "--out", out, "--archive", tmp_path / "archive"]

    ended = tallyglass("tally", table, *BOARDS, *words)

    assert ended.code == 0, ended.err
    made = json.loads((out / "tally.json").read_text("utf-8"))
    for player in made["players"]:
        low, high = player["between"]
        assert low <= player["total"] <= high
    assert made["answers"] == []
    assert (made["settled"] is False) == ("may win" in ended.out or "Unsure: " in ended.out)
    assert "Ask before you photograph" in ended.out


def test_tally_with_every_answer_gives_the_true_totals_and_keeps_the_game(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    out, kept = tmp_path / "out", tmp_path / "archive"
    lines = ['by = "Wren"']
    for player, grid in truth().items():
        lines += [f"[{player}]", *(f'{cell} = "{colour}"' for cell, colour in grid.items())]
    (tmp_path / "answers.toml").write_text("\n".join(lines), "utf-8")

    ended = tallyglass(
        *("tally", table, *BOARDS, "--claims", CLAIMS, "--answers", tmp_path / "answers.toml"),
        *("--out", out, "--archive", kept),
    )

    assert ended.code == 0, ended.err
    assert totals(out) == true_totals()
    assert "Question" not in ended.out
    assert "135 answers by Wren" in ended.out
    for name in ("score-sheet.html", "tally.csv", "isla-read.png", "joss-read.png"):
        assert (out / name).stat().st_size > 500
    listed = tallyglass("archive", "list", "--archive", kept)
    assert "The Roof at Penmarrow: Isla" in listed.out
    shown = tallyglass("archive", "show", "1", "--archive", kept)
    assert "Wren said of Isla's A1" in shown.out
    record = json.loads(tallyglass("archive", "show", "1", "--archive", kept, "--json").out)
    assert len(record["boards"]) == 3
    assert (kept / record["boards"][0]["photo_file"]).exists()
    assert record["versions"]["tallyglass"]


def test_questions_are_asked_one_by_one_and_noted_at_once(
    tallyglass: Run, table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    monkeypatch.setattr("sys.stdin", io.StringIO("nonsense\n" + "?\n" * 300))

    ended = tallyglass(
        *("tally", table, *BOARDS[1:], "--by", "Jo"),
        *("--out", out, "--archive", tmp_path / "archive"),
    )

    assert ended.code == 0, ended.err
    asked = [line for line in ended.out.splitlines() if line.startswith(("Question", "> Question"))]
    crops = list((out / "questions").glob("*.png")) if asked else []
    assert len(crops) == len(asked)
    if asked:
        assert "'nonsense' is no such piece. Type S slate" in ended.out
        noted = tomllib.loads((out / "answers.toml").read_text("utf-8"))
        assert noted.pop("by") == "Jo"
        assert sum(len(cells) for cells in noted.values()) == len(asked)


def test_the_end_of_the_input_leaves_the_rest_open(
    tallyglass: Run, table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))

    ended = tallyglass(
        *("tally", table, BOARDS[2], "--out", tmp_path / "out", "--archive", tmp_path / "archive")
    )

    assert ended.code == 0, ended.err
    assert totals(tmp_path / "out").keys() == {PLAYERS[2]}


def test_a_claim_of_an_unknown_card_is_refused_before_any_work(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    (tmp_path / "claims.toml").write_text('Isla = ["Golden Gate"]', "utf-8")

    ended = tallyglass("tally", table, *BOARDS, "--claims", tmp_path / "claims.toml")

    assert ended.code == 2
    assert ended.err == "claims of Isla: there is no card 'Golden Gate'\n"


def test_a_board_that_is_not_found_ends_the_tally_with_code_3(
    tallyglass: Run, table: Path, noise: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "archive"

    ended = tallyglass("tally", table, f"Ana={noise}", "--archive", kept, "--out", tmp_path / "o")

    assert ended.code == 3
    assert ended.err.startswith("noise.jpg: ")
    assert len(ended.err.strip().splitlines()) == 1
    assert "No game is kept here yet" in tallyglass("archive", "list", "--archive", kept).out


def test_an_archive_that_cannot_be_used_is_named_before_any_work(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    (tmp_path / "taken").write_text("a file", "utf-8")
    words = ["--out", tmp_path / "out", "--archive", tmp_path / "taken"]

    ended = tallyglass("tally", table, BOARDS[0], *words)

    assert ended.code == 2
    assert ended.out == ""
    assert "cannot be written" in ended.err
    assert not (tmp_path / "out").exists()


def test_a_plan_that_is_no_text_is_named(tallyglass: Run, tmp_path: Path) -> None:
    photo = PRACTICE / "layout-1.jpg"
    words = ["--sheet", SHEET, "--layout", photo, "--plan", photo, "--out", tmp_path / "a.table"]

    ended = tallyglass("calibrate", *words)

    assert ended.code == 2
    assert ended.err == f"{photo}: is not a text file in UTF-8.\n"


def test_a_full_disk_is_named_and_nothing_is_half_kept(
    tallyglass: Run, table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    kept = tmp_path / "archive"
    monkeypatch.setattr(photo_store, "write_durably", full)
    words = ["--no-questions", "--out", tmp_path / "out", "--archive", kept]

    ended = tallyglass("tally", table, BOARDS[0], *words)

    assert ended.code == 2
    assert ended.err == (
        f"The archive in {kept} cannot be written: No space left on device. Nothing was saved.\n"
    )
    assert "No game is kept here yet" in tallyglass("archive", "list", "--archive", kept).out


def test_a_game_is_kept_though_nobody_reads_the_tally_to_its_end(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "archive"
    words = ["--no-questions", "--out", tmp_path / "out", "--archive", kept]
    command = [sys.executable, "-m", "desk.start", "tally", table, BOARDS[0], *words]
    reader, writer = os.pipe()
    os.close(reader)  # as `head` does once it has seen enough

    ended = subprocess.run(
        list(map(str, command)), stdout=writer, stderr=subprocess.PIPE, text=True
    )
    os.close(writer)

    assert ended.stderr == ""
    assert "Isla" in tallyglass("archive", "list", "--archive", kept).out


def test_answers_of_a_file_that_names_nobody_are_by_whom_the_command_names(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    (tmp_path / "said.toml").write_text('[Isla]\nB7 = "copper"\n', "utf-8")
    given = ["--answers", tmp_path / "said.toml", "--by", "Jo", "--no-questions"]
    kept = ["--out", tmp_path / "out", "--archive", tmp_path / "archive"]

    ended = tallyglass("tally", table, BOARDS[0], *given, *kept)

    assert ended.code == 0, ended.err
    assert "1 answer by Jo from" in ended.out


def test_a_folder_that_is_a_file_is_named(tallyglass: Run, table: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", "utf-8")
    words = ["--no-questions", "--out", tmp_path / "taken", "--archive", tmp_path / "archive"]

    ended = tallyglass("tally", table, BOARDS[0], *words)

    assert ended.code == 2
    assert "taken" in ended.err
    assert len(ended.err.strip().splitlines()) == 1


def test_the_demo_does_the_whole_job_and_its_totals_are_true(
    tallyglass: Run, tmp_path: Path
) -> None:
    ended = tallyglass("demo", "--out", tmp_path)

    assert ended.code == 0, ended.err
    assert totals(tmp_path) == true_totals()
    assert str(tmp_path) in ended.out
    for name in ("penmarrow.table", "score-sheet.html", "tally.csv", "wren-read.png"):
        assert (tmp_path / name).exists()
    assert (tmp_path / "archive" / "archive.sqlite").exists()


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One photo of Wren's board and, to the right of it, Joss'."""
    boards = [np.array(Image.open(PRACTICE / "game" / name)) for name in ("wren.jpg", "joss.jpg")]
    path = tmp_path_factory.mktemp("both") / "both.png"
    Image.fromarray(np.hstack(boards)).save(path)
    return path


def test_one_photo_of_two_boards_counts_for_its_players_left_to_right(
    both: Path, table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    words = ("--no-questions", "--out", tmp_path, "--archive", tmp_path / "archive")
    ended = tallyglass("tally", table, BOARDS[0], f"Wren={both}", f"Joss={both}", *words)
    made = json.loads((tmp_path / "tally.json").read_text("utf-8"))["players"]

    true = {p.player: p.total for p in tally(load_sheet(SHEET), truth()).players}

    assert ended.code == 0, ended.err
    assert [player["player"] for player in made] == ["Isla", "Wren", "Joss"]
    for player in made:
        low, high = player["between"]
        assert low <= true[player["player"]] <= high


def test_a_photo_of_one_board_never_counts_for_two_players(
    table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    photo = PRACTICE / "game" / "wren.jpg"
    ended = tallyglass("tally", table, f"Wren={photo}", f"Joss={photo}", "--out", tmp_path)

    assert ended.code != 0
    assert "wren.jpg: only 1 of 2 boards could be proven to be in the photo." in ended.err
    assert not (tmp_path / "tally.json").exists()


def test_corners_are_refused_for_a_photo_of_several_boards(
    both: Path, table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    corners = ("--corners", "Joss=1,1 9,1 9,9 1,9", "--out", tmp_path)
    ended = tallyglass("tally", table, f"Wren={both}", f"Joss={both}", *corners)

    assert ended.code != 0
    assert "both.png shows several boards; corners can be given for a photo of one." in ended.err


def test_a_second_photo_settles_what_lies_covered_in_the_first(
    twice: tuple[Path, Path], table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    first, second = twice

    def doubts(*more: str) -> tuple[int, str]:
        out = tmp_path / str(len(more))
        words = ("--no-questions", "--out", out, "--archive", f"{out}-kept")
        ended = tallyglass("tally", table, f"Isla={first}", *more, *words)
        assert ended.code == 0, ended.err
        shown = tallyglass("archive", "show", "1", "--archive", f"{out}-kept", "--json").out
        board = json.loads(shown)["boards"][0]
        right = truth()["Isla"]
        cells = board["reading"]["cells"]
        certain = {cell: read["colour"] for cell, read in cells.items() if read["doubt"] is None}
        assert all(right[cell] == colour for cell, colour in certain.items())
        return len(cells) - len(certain), shown

    alone, _ = doubts()
    together, shown = doubts("--again", f"Isla={second}")

    assert alone > 0
    assert together <= alone / 2
    assert "the photo isla-" in shown


@pytest.mark.parametrize(
    ("again", "said"),
    [
        ("Ben=there.jpg", "begin with a player: Isla."),
        (BOARDS[0], "is the same photo"),
    ],
)
def test_a_second_photo_that_is_none_is_refused_before_any_work(
    again: str, said: str, table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    ended = tallyglass("tally", table, BOARDS[0], "--again", again, "--out", tmp_path)

    assert ended.code != 0
    assert said in ended.err
    assert not (tmp_path / "tally.json").exists()


def test_a_second_photo_of_another_board_is_refused(
    table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    joss = PRACTICE / "game" / "joss.jpg"
    ended = tallyglass("tally", table, BOARDS[0], "--again", f"Isla={joss}", "--out", tmp_path)

    assert ended.code != 0
    assert "show different boards" in ended.err
    assert not (tmp_path / "tally.json").exists()
