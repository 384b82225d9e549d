"""Printed pages, rasterised: marks are found at the right size, and nothing leaves the paper."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest

from desk.printing.job import printables
from desk.printing.marks import (
    CORNER_IDS,
    MARK_MM,
    STRIP_MARK_MM,
    marks_text,
    needs_cards,
)
from desk.printing.page import BAR_MM, PAPERS
from desk.printing.sheets import spread_layout
from scoring.grid import parse_grid
from scoring.lattice import columns_of, rows_of
from scoring.sheet import GameSheet, load_sheet, parse_sheet
from scoring.types import EMPTY
from tests.desk.practice import SAMPLES, SHEET, Run
from vision.key_strip import strip_plan

DPI = 200
PX_PER_MM = DPI / 25.4
SHEETS = ("penmarrow", "tarrowfold", "lanternfen")


def rasterised(sheet: GameSheet, paper: str) -> list[np.ndarray]:
    """Every page as grey (H, W) at ``DPI``."""
    with pypdfium2.PdfDocument(printables(sheet, paper)) as pages:
        return [page.render(scale=DPI / 72, grayscale=True).to_numpy() for page in pages]


def marks_in(page: np.ndarray) -> dict[int, np.ndarray]:
    """Corners (4, 2) px by id, as OpenCV finds them."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(page)
    found = [] if ids is None else np.asarray(ids).ravel()
    return {int(i): np.asarray(quad).reshape(4, 2) for i, quad in zip(found, corners, strict=True)}


@pytest.fixture(scope="module", params=[(s, p) for s in SHEETS for p in PAPERS], ids=str)
def printed(request: pytest.FixtureRequest) -> tuple[GameSheet, str, list[np.ndarray]]:
    name, paper = request.param
    sheet = load_sheet(SAMPLES / "sheets" / f"{name}.toml")
    return sheet, paper, rasterised(sheet, paper)


def test_pages_have_the_papers_size(printed) -> None:
    _, paper, pages = printed
    width, height = PAPERS[paper]

    for page in pages:
        assert page.shape == pytest.approx((height * PX_PER_MM, width * PX_PER_MM), abs=2)


def test_corner_cards_are_found_at_their_size(printed) -> None:
    sheet, _, pages = printed
    found = marks_in(pages[0])
    cards = needs_cards(sheet)

    assert set(found) == set(CORNER_IDS if cards else strip_plan(sheet).marks_mm)
    for corners in found.values():
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1) / PX_PER_MM
        np.testing.assert_allclose(sides, MARK_MM if cards else STRIP_MARK_MM, atol=0.15)


def test_the_key_strip_has_two_marks_and_a_slot_a_colour(printed) -> None:
    sheet, _, pages = printed
    found = marks_in(pages[1 if needs_cards(sheet) else 0])

    assert set(found) == set(strip_plan(sheet).marks_mm)
    for corners in found.values():
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1) / PX_PER_MM
        np.testing.assert_allclose(sides, STRIP_MARK_MM, atol=0.15)
    left, right = (found[mark].mean(axis=0) for mark in strip_plan(sheet).marks_mm)
    assert left[1] == pytest.approx(right[1], abs=1)
    assert left[0] < right[0]
    assert len(sheet.colours) > 0


def test_the_field_of_the_marks_is_grey_not_white(printed) -> None:
    _, _, pages = printed
    for page in pages[:2]:
        for corners in marks_in(page).values():
            module = np.linalg.norm(corners[1] - corners[0]) / 6
            x, y = np.round(corners[0] - module).astype(int)
            assert 180 < page[y, x] < 225


def test_every_page_has_the_measuring_bar(printed) -> None:
    _, _, pages = printed
    for page in pages:
        foot = page[-round(14 * PX_PER_MM) : -round(10 * PX_PER_MM)] < 128
        longest = max(int(row.sum()) for row in foot)
        assert longest / PX_PER_MM == pytest.approx(BAR_MM, abs=0.5)


def test_nothing_leaves_the_paper(printed) -> None:
    _, _, pages = printed
    edge = round(5 * PX_PER_MM)
    for page in pages:
        rim = np.concatenate([page[:edge].ravel(), page[-edge:].ravel(),
                              page[:, :edge].ravel(), page[:, -edge:].ravel()])  # fmt: skip
        assert rim.min() == 255


def test_the_known_layout_holds_every_colour_often() -> None:
    for name in SHEETS:
        sheet = load_sheet(SAMPLES / "sheets" / f"{name}.toml")
        plan = spread_layout(sheet)
        counts = {c.name: list(plan.values()).count(c.name) for c in sheet.colours}

        assert min(counts.values()) >= 3
        assert max(counts.values()) - min(counts.values()) <= 8
        assert EMPTY in plan.values()
        for line in (*rows_of(sheet.lattice).values(), *columns_of(sheet.lattice).values()):
            assert {plan[cell] for cell in line} != {EMPTY}


def test_the_lines_for_corner_cards_make_a_sheet_with_marks() -> None:
    bare = load_sheet(SAMPLES / "sheets" / "lanternfen.toml")
    marked = parse_sheet(bare.text + marks_text(bare))

    assert len(marked.marks) == 4
    for corners in marked.marks.values():
        assert cv2.contourArea(np.array(corners, np.float32)) > 0


def test_the_command_writes_pages_and_their_plan(tallyglass: Run, tmp_path: Path) -> None:
    ended = tallyglass("print", SHEET, "--out", tmp_path)
    sheet = load_sheet(SHEET)

    assert ended.code == 0, ended.err
    assert (tmp_path / "printables.pdf").read_bytes().startswith(b"%PDF")
    plan = parse_grid((tmp_path / "layout.txt").read_text(), sheet)
    assert dict(plan) == spread_layout(sheet)


def test_an_unknown_paper_is_named(tallyglass: Run, tmp_path: Path) -> None:
    ended = tallyglass("print", SHEET, "--out", tmp_path, "--paper", "a7")

    assert ended.code == 2
    assert "--paper a7: there is a4 and letter." in ended.err
