"""New sheets from options, from a drawing and from a photo of the empty board."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from desk.board_size import placed_board
from desk.board_svg import lies_like
from desk.printing.marks import MARK_MM, QUIET_MM
from desk.sheet_new import propose_letters
from samples.board import Mark
from samples.conditions import Conditions
from samples.invent import invent_board
from samples.penmarrow import PHOTOS, load_penmarrow
from samples.photographer import empty_grid, take_photo
from scoring.lattice import cell_centres_mm, regular_lattice
from scoring.regular import Shape
from scoring.sheet import load_sheet
from tests.desk.practice import Run
from vision.decode import load_photo
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
        ((*COURSES, "--anchors", "middle"), "name one of top, bottom"),
        ((*COURSES, "--anchor", "12,9"), "name cells, such as C4"),
        ((*COURSES, "--anchor", "Z9"), "there is no cell Z9"),
        ((*COURSES, "--anchors", "top", "--support", "most"), "support"),
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


GROUPED = """<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
 width="100mm" height="60mm" viewBox="0 0 200 120">
<defs><rect id="c" width="40" height="40"/></defs>
<rect x="0" y="0" width="200" height="120" fill="none" stroke="black"/>
<g transform="translate(20,20)"><use xlink:href="#c"/><use href="#c" x="40"/>
<g transform="rotate(90) translate(40,-40)"><rect width="40" height="40"/></g></g>
<g display="none"><rect x="90" y="20" width="40" height="40"/></g>
<path d="M140 60h40v40h-40z M100 60h40v40h-40z"/><path d="M140 20h40v40h-40v-40"/>
<path d="M0 0 h5 v5"/></svg>"""


def test_groups_transforms_copies_and_frames_of_a_drawing(tallyglass: Run, tmp_path: Path) -> None:
    """Twice the units of mm, a frame around all, a hidden cell, two cells in one path."""
    (tmp_path / "board.svg").write_text(GROUPED)
    out = tmp_path / "game.toml"
    ended = tallyglass(
        "sheet", "new", out, *OPTIONS, "--svg", tmp_path / "board.svg", "--anchor", "50,55",
        "--anchor", "85,15",
    )  # fmt: skip
    lattice = load_sheet(out).lattice
    centres = dict(zip((c.id for c in lattice.cells), cell_centres_mm(lattice), strict=True))

    assert ended.code == 0, ended.err
    expected = {"A1": (20, 20), "A2": (40, 20), "A3": (80, 20)}
    expected |= {"B1": (20, 40), "B2": (60, 40), "B3": (80, 40)}
    assert set(centres) == set(expected)
    for name, centre in expected.items():
        assert centres[name] == pytest.approx(centre, abs=0.05)
    assert lattice.like == "square"
    assert [cell.id for cell in lattice.cells if cell.anchor] == ["A3", "B1", "B2", "B3"]
    assert "1 paths that hold others were taken as frames." in ended.out
    assert "1 open paths are no cells" in ended.out


@pytest.mark.parametrize(("kind", "seed"), [("hex-pointy", 1), ("hex-flat", 2), ("diamond", 3)])
def test_a_drawing_lies_like_the_kind_it_was_drawn_from(kind: str, seed: int) -> None:
    lattice = regular_lattice(kind, Shape((4, 4, 4), 20.0 + seed, 0.6, (9.0, 9.0)))
    cells = [(cell.id, np.array(cell.polygon_mm)) for cell in lattice.cells]

    assert lies_like(cells, lattice.board_size_mm) == kind
    larger = [(name, outline * (1.2 if name == "A1" else 1.0)) for name, outline in cells]
    assert lies_like(larger, (200, 200)) == ""


def test_size_sets_a_drawings_scale(tallyglass: Run, tmp_path: Path) -> None:
    (tmp_path / "board.svg").write_text(SVG)
    svg = ("--svg", tmp_path / "board.svg")
    ended = tallyglass("sheet", "new", tmp_path / "g.toml", *OPTIONS, *svg, "--size", "200x120")
    lattice = load_sheet(tmp_path / "g.toml").lattice
    wrong = tallyglass("sheet", "new", tmp_path / "h.toml", *OPTIONS, *svg, "--size", "200x200")

    assert ended.code == 0, ended.err
    assert lattice.board_size_mm == (200.0, 120.0)
    assert cell_centres_mm(lattice)[0] == pytest.approx((40, 40), abs=0.1)
    assert "--size: does not fit the drawing's page" in wrong.err


def with_corner_cards(tmp_path: Path) -> tuple[Path, np.ndarray, tuple[float, float]]:
    """A photo of an invented board between the program's corner cards, its true corners, size."""
    lattice = regular_lattice("hex-pointy", Shape((4, 5, 4), 24.0, 1.0, (20, 20), None, "centred"))
    width, height = lattice.board_size_mm
    low, right = height - QUIET_MM - MARK_MM, width + QUIET_MM
    spots = ((-QUIET_MM - MARK_MM, QUIET_MM), (right, QUIET_MM), (right, low))
    marks = [
        Mark(i, tuple((x + a * MARK_MM, y + b * MARK_MM) for a, b in UNIT), "card")
        for i, (x, y) in enumerate((*spots, (-QUIET_MM - MARK_MM, low)))
    ]
    board = invent_board(lattice, 11, colours=4, marks=marks)
    light = Conditions(size_px=(1600, 1200), tilt_deg=12.0, turn_deg=4.0)
    shot = take_photo(board, empty_grid(board), light, np.random.default_rng(5))
    (tmp_path / "empty.jpg").write_bytes(shot.jpeg())
    return tmp_path / "empty.jpg", np.array(shot.truth.board_corners_px), (width, height)


UNIT = ((0, 0), (1, 0), (1, 1), (0, 1))


def test_corner_cards_give_corners_scale_and_their_own_lines(
    tallyglass: Run, tmp_path: Path
) -> None:
    photo, corners_px, size_mm = with_corner_cards(tmp_path)
    placed = placed_board(load_photo(photo.read_bytes(), "empty.jpg"), None, None)
    pitch_px = 24.0 * np.linalg.norm(corners_px[1] - corners_px[0]) / size_mm[0]
    ended = tallyglass(
        "sheet", "new", tmp_path / "g.toml", *OPTIONS, "--photo", photo, "--anchors", "top"
    )
    sheet = load_sheet(tmp_path / "g.toml")

    assert np.linalg.norm(placed.corners_px - corners_px, axis=1).max() < 0.12 * pitch_px
    assert placed.size_mm == pytest.approx(size_mm, rel=0.015)
    assert ended.code == 0, ended.err
    assert "by the corner cards" in ended.out
    assert len(sheet.lattice.cells) == 13
    assert sorted(sheet.marks) == [0, 1, 2, 3]


def test_a_photo_without_cards_asks_for_corners_then_for_the_size(
    tallyglass: Run, tmp_path: Path, penmarrow_corners: list[str]
) -> None:
    words = ("sheet", "new", tmp_path / "g.toml", *OPTIONS, "--photo", PHOTOS / "empty-1.jpg")

    assert "give the board's four corners" in tallyglass(*words).err
    assert "give its size in mm" in tallyglass(*words, "--corners", *penmarrow_corners).err


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
        "--overlay", picture, "--anchor", "500,850",
    )  # fmt: skip
    made = load_sheet(out).lattice

    assert ended.code == 0, ended.err
    assert made.kind == "courses"
    assert [cell.id for cell in made.cells if cell.anchor] == [f"G{i}" for i in range(1, 7)]
    assert [cell.id for cell in made.cells] == [cell.id for cell in known.cells]
    assert dict(made.neighbours) == dict(known.neighbours)
    off = np.subtract(cell_centres_mm(made), cell_centres_mm(known))
    assert np.linalg.norm(off, axis=1).max() < 2.2
    assert f"--empty {PHOTOS / 'empty-1.jpg'} --corners {' '.join(penmarrow_corners)}" in ended.out
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
