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
from samples.conditions import Conditions, HandShadow, Lamp
from samples.kits import invent_kit, with_strip
from samples.photographer import Shot, take_photo
from samples.spectra import LAMPS, camera, colour_matrix
from scoring.sheet import GameSheet, load_sheet
from scoring.types import EMPTY
from tests.bench.strip import sheet_of
from tests.desk.practice import SAMPLES
from tests.vision.practice import from_pixels, photo_of
from vision.colour import lab_from_linear, linear_from_srgb
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


BAD_LIGHTS = {
    "tilted": {"tilt_deg": 33.0, "turn_deg": 160.0, "k1": 0.02},
    "hand's shadow": {"shadows": (HandShadow((20.0, 95.0), 80.0, 45.0, 10.0, 0.7),)},
    "glare": {"gloss": 0.8, "lamps": (Lamp("bulb", 0.6, (60.0, 260.0, 420.0), 60.0),)},
}


@pytest.mark.parametrize("light", BAD_LIGHTS)
def test_strip_beside_a_board_is_read_and_its_empty_slots_are_not(light: str) -> None:
    kit = with_strip(invent_kit(731), 731)
    stand = replace(Conditions(), size_px=(1600, 1200), loose=0, **BAD_LIGHTS[light])
    slots = kit.strip.slots_mm
    laid = dict(list(slots.items())[::2])
    grid = kit.final_board(kit.open_box(), np.random.default_rng(1))
    half = replace(kit.strip, slots_mm=laid)
    shot = take_photo(kit.board, grid, stand, np.random.default_rng(2), half)
    photo = photo_of(shot)
    names, colours, spots = read_strip(photo, strip_plan(sheet_of(kit)), kit.board.piece_mm)
    true = np.array([shot.truth.strip_px[name] for name in names])
    there = [np.median(photo.pixels[y - 4 : y + 5, x - 4 : x + 5], axis=(0, 1))
             for x, y in np.round(true).astype(int)]  # fmt: skip
    off = lab_from_linear(linear_from_srgb(np.array(there, np.uint8))) - lab_from_linear(colours)

    assert set(names) == set(laid)
    assert np.linalg.norm(spots - true, axis=1).max() < 20  # a slot is some 100 px wide
    assert np.linalg.norm(off, axis=1).max() < 4


def test_strip_of_the_practice_photos_is_the_one_that_is_printed() -> None:
    for seed in (731, 732):
        kit = with_strip(invent_kit(seed), seed)
        plan = strip_plan(sheet_of(kit))

        assert kit.strip.ids == tuple(plan.marks_mm)
        assert kit.strip.size_mm == pytest.approx(plan.size_mm)
        assert list(kit.strip.slots_mm) == list(plan.slots_mm)
        assert np.allclose(list(kit.strip.slots_mm.values()), list(plan.slots_mm.values()))


def test_no_strip_gives_nothing(penmarrow: GameSheet) -> None:
    bare = from_pixels(np.full((480, 640, 3), 140, np.uint8))

    assert read_strip(bare, strip_plan(penmarrow), HIGH_MM)[0] == ()


def test_marks_of_the_strip_are_none_of_the_boards() -> None:
    sheet = load_sheet(SAMPLES / "sheets" / "penmarrow.toml")
    crowded = replace(sheet, marks={40: sheet.marks[4], 49: sheet.marks[5]})

    assert list(strip_plan(crowded).marks_mm) == [41, 48]
