"""The command ``count``: pieces on the table against the box."""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path

import pytest

from desk.given import GivenError
from desk.packing import Whole, balance, counted_by_hand, notes
from samples.finish import encode
from samples.penmarrow import load_penmarrow
from scoring.sheet import load_sheet
from tests.desk.practice import Run
from tests.vision.test_spread import spread_of


def test_pieces_are_counted_and_the_open_places_drawn(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    names = ["moss"] * 8 + ["plum"] * 8
    photo = tmp_path / "spread.jpg"
    photo.write_bytes(encode(spread_of(names, "plain", 5).pixels, 92))
    ended = tallyglass("count", table, photo, "--out", tmp_path)
    lines = ended.out.splitlines()
    counted = sum(int(line.split(": ")[1].split(" ")[0]) for line in lines if " of " in line)

    assert ended.code == 0, ended.err
    assert "spread.jpg: 16 pieces seen" in ended.out
    assert counted + sum(line.startswith("  ") for line in lines) >= 16
    assert (tmp_path / "spread-counted.png").stat().st_size > 10_000


def test_a_supply_is_told_by_a_whole_count_only(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    names = [colour.name for colour in load_penmarrow().colours] * 3
    photo = tmp_path / "spread.jpg"
    photo.write_bytes(encode(spread_of(names, "plain", 5).pixels, 92))
    asked = tallyglass("count", table, photo, "--out", tmp_path)
    lines = [line for line in asked.out.splitlines() if " of " in line]
    counted = {line.split(" (")[0]: int(line.split(": ")[1].split(" ")[0]) for line in lines}
    open_now = tallyglass("count", table, photo, "--supply", "--out", tmp_path)
    left = [f"--and={name}={names.count(name) - number}" for name, number in counted.items()]
    sheet = tmp_path / "game.toml"
    sheet.write_text(load_penmarrow().text)
    words = ("--supply", "--put", sheet, *left, "--out", tmp_path)
    whole = tallyglass("count", table, photo, *words)
    told = tomllib.loads(whole.out[whole.out.index("# Counted") :])["colours"]

    assert sum(counted.values()) < len(names), "the photo must leave a doubt"
    assert open_now.code == 2
    assert "only told by a whole count" in open_now.err
    assert whole.code == 0, whole.err
    assert {one["name"]: one["supply"] for one in told} == {
        name: names.count(name) for name in counted
    }
    assert [one["letter"] for one in told] == [c.letter for c in load_penmarrow().colours]
    assert {colour.supply for colour in load_sheet(sheet).colours} == {3}


def test_the_same_photo_is_not_counted_twice(tallyglass: Run, table: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "first.jpg", tmp_path / "second.jpg"
    for path in (first, second):
        path.write_bytes(encode(spread_of(["moss"] * 8, "plain", 5).pixels, 92))
    ended = tallyglass("count", table, first, second, "--out", tmp_path)

    assert ended.code == 2
    assert f"{second}: is the same photo as {first}; its pieces would count twice." in ended.err


def test_pieces_counted_by_hand_are_of_the_sheets_colours() -> None:
    assert counted_by_hand(["moss=2", "M = 1", "plum=0"], load_penmarrow()) == {
        "moss": 3, "plum": 0,
    }  # fmt: skip
    for word in ("mos=2", "moss=²", "moss=-1", "moss=99999999999"):
        with pytest.raises(GivenError, match="write COLOUR=PIECES"):
            counted_by_hand([word], load_penmarrow())


def test_what_is_missing_is_said_for_each_colour() -> None:
    whole = Whole(Counter(moss=30, slate=36, rust=31), 0, ())
    said = [line.words for line in balance(load_penmarrow(), whole)]

    assert said[:3] == [
        "slate (S): 36 of 36, complete",
        "moss (M): 30 of 32, 2 missing",
        "rust (R): 31 of 30, 1 too many",
    ]
    assert list(notes(whole)) == []
    assert whole.final


def test_open_places_may_hold_any_colour() -> None:
    whole = Whole(Counter(rust=31), 3, ())
    said = [line.words for line in balance(load_penmarrow(), whole)]

    assert said[0] == "slate (S): 0 of 36, at most 36 missing"
    assert said[2] == "rust (R): 31 of 30, at least 1 too many"
    assert next(notes(whole)).startswith("3 places are not counted")
    assert not whole.final


def test_a_colour_like_the_table_itself_may_lie_there_unseen() -> None:
    whole = Whole(Counter(moss=30, rust=29), 0, ("moss",))
    said = [line.words for line in balance(load_penmarrow(), whole)]

    assert said[1:3] == ["moss (M): 30 of 32, at most 2 missing", "rust (R): 29 of 30, 1 missing"]
    assert "In this light moss may look like the table itself" in next(notes(whole))
    assert not whole.final
