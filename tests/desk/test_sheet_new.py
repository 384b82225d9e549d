"""New sheets from options, from a drawing and from a photo of the empty board."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from desk.sheet_new import propose_letters
from samples.penmarrow import PHOTOS, load_penmarrow
from scoring.lattice import cell_centres_mm
from scoring.sheet import load_sheet
from tests.desk.practice import Run
from vision.lattice_proposal import Proposal, with_cell_at

OPTIONS = ("--name", "Harbour", "--colour", "moss=32", "--colour", "mauve")
COURSES = ("--kind", "courses", "--rows", "6,5,6", "--pitch", "22", "--row-pitch", "18")
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">
<path d="M10 10 h20 v20 h-20 z"/><polygon points="30,10 50,10 50,30 30,30"/>
<path d="M0 0 h5 v5"/><circle cx="20" cy="40" r="9"/></svg>"""


def test_options_become_a_sheet_with_remarks(tallyglass: Run, tmp_path: Path) -> None:
    out = tmp_path / "game.toml"
    ended = tallyglass("sheet", "new", out, *OPTIONS, *COURSES, "--anchors", "bottom")
    sheet = load_sheet(out)

    assert ended.code == 0, ended.err
    assert len(sheet.lattice.cells) == 17
    assert [(c.name, c.letter, c.supply) for c in sheet.colours] == [
        ("moss", "M", 32),
        ("mauve", "A", None),
    ]
    assert [cell.id for cell in sheet.lattice.cells if cell.anchor] == [
        f"C{i}" for i in range(1, 7)
    ]
    assert "# cells" in out.read_text() or "# What is counted" in out.read_text()


def test_a_sheet_is_never_overwritten(tallyglass: Run, tmp_path: Path) -> None:
    out = tmp_path / "game.toml"
    out.write_text("mine")
    ended = tallyglass("sheet", "new", out, *OPTIONS, *COURSES)

    assert (ended.code, out.read_text()) == (2, "mine")
    assert "exists already" in ended.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--kind", "square"), "needs --rows, --pitch"),
        ((*COURSES, "--rows", "6,x"), "--rows: write the cells in each row"),
        ((*COURSES, "--kind", "round"), "kind"),
        (("--photo", "none.jpg"), "four --corners"),
        ((*COURSES, "--drop", "A1"), "--drop: takes cells off"),
        ((*COURSES, "--add", "9,9"), "--add: adds cells"),
        ((*COURSES, "--colour", "moss"), "two colours have this name"),
        ((*COURSES, "--colour", "x=many"), "write COLOUR or COLOUR=PIECES"),
    ],
)
def test_what_cannot_be_made_is_said(
    tallyglass: Run, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    ended = tallyglass("sheet", "new", tmp_path / "game.toml", *OPTIONS, *words)

    assert ended.code == 2
    assert said in ended.err
    assert not (tmp_path / "game.toml").exists()


def test_each_closed_path_of_a_drawing_becomes_a_cell(tallyglass: Run, tmp_path: Path) -> None:
    (tmp_path / "board.svg").write_text(SVG)
    out = tmp_path / "game.toml"
    ended = tallyglass("sheet", "new", out, *OPTIONS, "--svg", tmp_path / "board.svg")
    lattice = load_sheet(out).lattice

    assert ended.code == 0, ended.err
    assert lattice.board_size_mm == (100.0, 60.0)
    assert [cell.id for cell in lattice.cells] == ["A1", "A2", "B1"]
    assert lattice.neighbours["A1"] == ("A2",)
    np.testing.assert_allclose(cell_centres_mm(lattice), [(20, 20), (40, 20), (20, 40)], atol=0.05)


def test_a_file_that_is_no_drawing_is_named(tallyglass: Run, tmp_path: Path) -> None:
    (tmp_path / "board.svg").write_text("no drawing")
    ended = tallyglass(
        "sheet", "new", tmp_path / "g.toml", *OPTIONS, "--svg", tmp_path / "board.svg"
    )

    assert ended.code == 2
    assert "is not an SVG drawing" in ended.err


@pytest.fixture(scope="module")
def penmarrow_corners() -> list[str]:
    truth = json.loads((PHOTOS / "truth.json").read_text())["photos"]["empty-1.jpg"]
    return [f"{x + 2},{y - 2}" for x, y in truth["board_corners_px"]]


def test_a_photo_of_the_empty_board_and_four_taps_become_its_sheet(
    tallyglass: Run, tmp_path: Path, penmarrow_corners: list[str]
) -> None:
    known = load_penmarrow().lattice
    out, picture = tmp_path / "game.toml", tmp_path / "seen.png"
    photo = ("--photo", PHOTOS / "empty-1.jpg", "--size", "194x166.5")
    ended = tallyglass(
        "sheet", "new", out, *OPTIONS, *photo, "--corners", *penmarrow_corners,
        "--overlay", picture,
    )  # fmt: skip
    made = load_sheet(out).lattice

    assert ended.code == 0, ended.err
    assert made.kind == "courses"
    assert [cell.id for cell in made.cells] == [cell.id for cell in known.cells]
    assert dict(made.neighbours) == dict(known.neighbours)
    off = np.subtract(cell_centres_mm(made), cell_centres_mm(known))
    assert np.linalg.norm(off, axis=1).max() < 2.2
    with Image.open(picture) as seen:
        assert max(seen.size) == 1000


def test_a_cell_that_is_none_is_dropped(
    tallyglass: Run, tmp_path: Path, penmarrow_corners: list[str]
) -> None:
    out = tmp_path / "game.toml"
    photo = ("--photo", PHOTOS / "empty-1.jpg", "--size", "194x166.5")
    ended = tallyglass(
        "sheet", "new", out, *OPTIONS, *photo, "--corners", *penmarrow_corners, "--drop", "D4"
    )
    made = load_sheet(out).lattice

    assert ended.code == 0, ended.err
    assert len(made.cells) == len(load_penmarrow().lattice.cells) - 1
    assert made.like == "courses"


def test_a_picture_without_cells_proposes_nothing(tallyglass: Run, tmp_path: Path) -> None:
    noise = np.random.default_rng(3).integers(90, 110, (600, 800, 3)).astype(np.uint8)
    Image.fromarray(noise).save(tmp_path / "plain.png")
    taps = ("20,20", "780,20", "780,580", "20,580")
    photo = ("--photo", tmp_path / "plain.png", "--size", "160x120")
    ended = tallyglass("sheet", "new", tmp_path / "g.toml", *OPTIONS, *photo, "--corners", *taps)

    assert ended.code == 3
    assert ended.err.startswith("plain.png: no regular cells are seen on the board.")


@pytest.mark.parametrize(
    ("kind", "missing"), [("square", (4, 1)), ("courses", (3, 1)), ("diamond", (2, 2))]
)
def test_a_missed_cell_is_added_by_a_point_near_its_middle(
    kind: str, missing: tuple[int, int]
) -> None:
    steps = tuple(
        (u, v)
        for v in range(3)
        for u in range(6)
        if (u if kind == "square" else u + v) % 2 == 0 and (u, v) != missing
    )
    seen = Proposal(kind, 20.0, 17.0, (15.0, 12.0), 1.0, False, steps, 0.5)
    x, y = seen.centre_mm(missing)
    mended = with_cell_at(seen, (x + 4.0, y - 4.0))

    assert set(mended.steps) == {*steps, missing}
    assert with_cell_at(mended, (x, y)).steps == mended.steps


def test_letters_never_clash() -> None:
    names = ["moss", "mauve", "mint", "m", "mm", "slate"]
    letters = propose_letters(names)

    assert len(set(letters.values())) == len(names)
    assert letters["moss"] == "M"
    assert letters["slate"] == "S"
