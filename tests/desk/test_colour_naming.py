"""The command ``sheet colours``: names and letters from pieces in a row or on a laid board."""

from __future__ import annotations

import io
import tomllib
from pathlib import Path

import numpy as np
from PIL import Image, ImageColor

from desk.colour_naming import colours_in_layout, colours_in_row, likenesses, names_for
from desk.tints import plain_colours, tint_named
from samples.finish import encode
from samples.penmarrow import PHOTOS
from scoring.sheet import load_sheet
from tests.desk.practice import Run
from tests.vision.practice import committed, from_pixels
from tests.vision.test_spread import spread_of
from vision.colour import lab_from_linear, linear_from_srgb

SHEET = Path("samples/sheets/penmarrow.toml")
ROW = ["moss", "plum", "slate", "lichen"]


def test_single_pieces_are_lettered_from_left_to_right(tallyglass: Run, tmp_path: Path) -> None:
    shot = spread_of(ROW, "plain", 3)
    photo, out = tmp_path / "row.jpg", tmp_path / "row.png"
    photo.write_bytes(encode(shot.pixels, 92))
    order = np.argsort([x for x, _ in shot.spots_px])
    names = [shot.colours[k] for k in order]
    ended = tallyglass("sheet", "colours", SHEET, photo, "--names", ",".join(names), "--out", out)
    told = tomllib.loads(ended.out[ended.out.index("[[colours]]") :])["colours"]

    assert ended.code == 0, ended.err
    assert [one["name"] for one in told] == names
    assert len({one["letter"] for one in told}) == len(names)
    with Image.open(out) as picture:
        assert picture.width >= 1000
    assert [line for line in ended.out.splitlines() if line.startswith("[[colours]]")] == [
        f"[[colours]] # {number} in the picture" for number in (1, 2, 3, 4)
    ]


def test_row_picture_is_sharp_and_its_numbers_lie_on_the_pieces() -> None:
    shot = spread_of(ROW, "plain", 3)
    sheet = load_sheet(SHEET)
    shown = colours_in_row(from_pixels(shot.pixels), sheet)
    picture = np.asarray(Image.open(io.BytesIO(shown.picture)))
    bright = picture.max(axis=2)

    assert shown.signs == ("1", "2", "3", "4")
    assert 0.001 < ((bright > 0) & (bright < 40)).mean() < 0.05  # the numbers' ink


def test_colours_of_a_laid_board_are_named_by_the_plans_own_signs(
    tallyglass: Run, tmp_path: Path
) -> None:
    sheet = load_sheet(SHEET)
    signs = {"slate": "S", "moss": "%", "rust": "m", "lichen": "2", "plum": "P", "copper": "C"}
    letters = {colour.letter: signs[colour.name] for colour in sheet.colours}
    plan = (PHOTOS / "layout.txt").read_text()
    plan = "\n".join(
        head + ":" + "".join(letters.get(mark, mark) for mark in row)
        for head, row in (line.split(":") for line in plan.splitlines() if ":" in line)
    )
    (tmp_path / "signs.txt").write_text(plan)
    ended = tallyglass(
        "sheet", "colours", SHEET, PHOTOS / "layout-1.jpg", "--plan", tmp_path / "signs.txt",
        "--out", tmp_path / "laid.png",
    )  # fmt: skip
    told = tomllib.loads(ended.out[ended.out.index("[[colours]]") :])["colours"]
    rows = "".join(line.split(":")[1] for line in plan.splitlines())
    order = list(dict.fromkeys(mark for mark in rows if mark in signs.values()))
    given = dict(zip(order, told, strict=True))

    assert ended.code == 0, ended.err
    assert "unlike the other pieces" not in ended.out
    assert {s: given[s]["letter"] for s in "SmPC"} == {"S": "S", "m": "m", "P": "P", "C": "C"}
    assert len({one["letter"] for one in told}) == len({one["name"] for one in told}) == 6
    assert given["P"]["name"] in ("mauve", "maroon", "dark purple", "purple", "violet")


def test_pieces_that_are_not_as_their_sign_says_are_named() -> None:
    sheet = load_sheet(SHEET)
    plan = (PHOTOS / "layout.txt").read_text()
    rows = [line for line in plan.splitlines() if "S" in line and "C" in line]
    head, row = rows[0].split(":")
    wrong = plan.replace(rows[0], head + ":" + row.translate(str.maketrans("SC", "CS")), 1)
    shown = colours_in_layout(committed("layout-1.jpg"), sheet, wrong, None)

    assert len(shown.remarks) == 1
    assert head in shown.remarks[0]
    assert "compare with the plan" in shown.remarks[0]


def test_a_rows_colours_are_put_into_a_sheet_without_cards(tallyglass: Run, tmp_path: Path) -> None:
    photo, sheet = tmp_path / "row.jpg", tmp_path / "game.toml"
    photo.write_bytes(encode(spread_of(ROW, "plain", 3).pixels, 92))
    board = ("--kind", "courses", "--rows", "6,7,6", "--pitch", "22", "--row-pitch", "17.5")
    made = tallyglass("sheet", "new", sheet, "--name", "Roof", "--colour", "any", *board)
    words = ("--names", "moss,plum,slate,lichen", "--put", "--out", tmp_path / "row.png")
    ended = tallyglass("sheet", "colours", sheet, photo, *words)

    assert (made.code, ended.code) == (0, 0), made.err + ended.err
    assert {c.name for c in load_sheet(sheet).colours} == set(ROW)
    assert [c.letter for c in load_sheet(sheet).colours] == ["M", "P", "S", "L"]


def test_too_few_names_are_refused_with_the_number_seen(tallyglass: Run, tmp_path: Path) -> None:
    photo = tmp_path / "row.jpg"
    photo.write_bytes(encode(spread_of(ROW, "plain", 3).pixels, 92))
    ended = tallyglass(
        "sheet", "colours", SHEET, photo, "--names", "moss,rust", "--out", tmp_path / "row.png"
    )

    assert ended.code == 2
    assert "names 2 colours; 4 are seen: 1, 2, 3, 4" in ended.err


def test_names_proposed_are_plain_and_differ_and_near_pairs_are_told() -> None:
    looks = ["#a6452f", "#6f8248", "#71824a", "#26304f", "#e9e7e1", "#dcc36a", "#6a3a5a"]
    lab = lab_from_linear(linear_from_srgb(np.array([ImageColor.getrgb(x) for x in looks])))
    names = names_for(lab)

    assert set(names) <= set(plain_colours())
    assert len(set(names)) == len(names)
    assert names[3] in ("navy", "navy blue", "dark blue", "indigo")
    assert names[4] == "white"
    assert {"olive", "olive green"} & set(names[1:3])
    assert [line.split(" look")[0] for line in likenesses(names, lab)] == [
        f"{names[1]} and {names[2]}"
    ]


def test_more_colours_than_words_are_numbered() -> None:
    lab = np.column_stack([np.linspace(5, 95, 60), np.zeros(60), np.zeros(60)])
    names = names_for(lab)

    assert len(set(names)) == 60
    assert sum(name.startswith("colour ") for name in names) == 60 - len(plain_colours())


def test_a_plain_name_has_the_tint_that_it_was_proposed_for() -> None:
    assert {name: tint_named(name) for name in plain_colours() if " " in name}.items() <= (
        plain_colours().items()
    )
    assert tint_named("dusty forest") == ""
