"""The printed key strip, photographed with a piece on each slot in several lights."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pypdfium2
import pytest

from desk.printing.job import printables
from desk.printing.marks import needs_cards
from samples.board import ART_PX_PER_MM, Board, Place
from samples.cards import piece_paints
from samples.conditions import Conditions, Lamp
from samples.photographer import Shot, take_photo
from samples.spectra import LAMPS, camera, colour_matrix
from scoring.sheet import GameSheet, load_sheet
from scoring.types import EMPTY
from tests.desk.practice import SAMPLES
from tests.vision.practice import from_pixels, photo_of
from vision.colour import lab_from_linear
from vision.key_strip import read_strip, strip_plan

LIGHTS = {
    "day": (Lamp("daylight", 0.6, (-420.0, -520.0, 1500.0), 200.0), ("daylight", 0.4)),
    "bulb": (Lamp("bulb", 0.5, (300.0, -400.0, 1300.0), 120.0), ("led-warm", 0.5)),
    "tube": (Lamp("tube", 0.6, (0.0, -600.0, 1600.0), 300.0), ("led-cool", 0.4)),
}
HIGH_MM = 2.8


def printed_strip(sheet: GameSheet) -> np.ndarray:
    """The strip as it is cut from the printed page, uint8 sRGB at ``ART_PX_PER_MM``."""
    with pypdfium2.PdfDocument(printables(sheet, "a4")) as pages:
        page = pages[1 if needs_cards(sheet) else 0].render(scale=ART_PX_PER_MM * 25.4 / 72)
        picture = cv2.cvtColor(page.to_numpy()[..., :3], cv2.COLOR_BGR2RGB)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(picture)
    plan = strip_plan(sheet)
    first = list(np.ravel(ids)).index(next(iter(plan.marks_mm)))
    at = np.asarray(corners[first]).reshape(4, 2)[0] - np.array(
        plan.marks_mm[int(np.ravel(ids)[first])]) * ART_PX_PER_MM  # fmt: skip
    (x, y), (wide, tall) = np.round(at).astype(int), plan.size_mm
    return picture[y : y + round(tall * ART_PX_PER_MM), x : x + round(wide * ART_PX_PER_MM)]


def photographed(sheet: GameSheet, light: str, *, without: str = "") -> Shot:
    """The strip on a table with a piece on each slot, but for one."""
    plan = strip_plan(sheet)
    outline = np.array(sheet.lattice.cells[0].polygon_mm)
    outline = outline - (outline.min(axis=0) + outline.max(axis=0)) / 2
    places = tuple(
        Place(name, tuple((float(a), float(b)) for a, b in outline + middle), False)
        for name, middle in plan.slots_mm.items()
    )
    art = printed_strip(sheet)
    paints = piece_paints(sheet, 110)
    strip = Board("strip", plan.size_mm, places, paints, (), art, HIGH_MM, 0.3)
    lamp, ambient = LIGHTS[light]
    stand = replace(
        Conditions(), lamps=(lamp,), ambient=ambient, tilt_deg=18.0, turn_deg=7.0, loose=0,
        size_px=(1200, 900), gloss=0.1, exposure_ev=-0.3,
    )  # fmt: skip
    grid = {name: EMPTY if name == without else name for name in plan.slots_mm}
    return take_photo(strip, grid, stand, np.random.default_rng(4))


@pytest.mark.parametrize("light", LIGHTS)
def test_each_slot_is_found_and_shows_its_colour(light: str, penmarrow: GameSheet) -> None:
    shot = photographed(penmarrow, light)
    names, colours, spots = read_strip(photo_of(shot), strip_plan(penmarrow), HIGH_MM)
    true = np.array([shot.truth.piece_top_px[name] for name in names])
    raw = camera() * LAMPS["daylight"][None, :]
    paints = piece_paints(penmarrow, 110)
    by_day = np.array([colour_matrix(camera()) @ (raw @ paints[name]) for name in names])
    gain = np.exp(np.median(np.log(colours) - np.log(np.maximum(by_day, 0.01)), axis=0))
    off = np.linalg.norm(lab_from_linear(colours / gain)[:, None] - lab_from_linear(by_day), axis=2)

    assert set(names) == {colour.name for colour in penmarrow.colours}
    assert np.linalg.norm(spots - true, axis=1).max() < 12  # a slot is some 130 px wide
    assert np.median(np.diag(off)) < 8


def test_an_empty_slot_gives_no_sample(penmarrow: GameSheet) -> None:
    shot = photographed(penmarrow, "day", without="plum")
    names, _, _ = read_strip(photo_of(shot), strip_plan(penmarrow), HIGH_MM)

    assert "plum" not in names
    assert len(names) == len(penmarrow.colours) - 1


def test_no_strip_gives_nothing(penmarrow: GameSheet) -> None:
    bare = from_pixels(np.full((480, 640, 3), 140, np.uint8))

    assert read_strip(bare, strip_plan(penmarrow), HIGH_MM)[0] == ()


def test_marks_of_the_strip_are_none_of_the_boards() -> None:
    sheet = load_sheet(SAMPLES / "sheets" / "penmarrow.toml")
    crowded = replace(sheet, marks={40: sheet.marks[4], 49: sheet.marks[5]})

    assert list(strip_plan(crowded).marks_mm) == [41, 48]
