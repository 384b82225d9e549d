"""Corner cards and the key strip: printed marks that cameras find (OpenCV's DICT_4X4_50)."""

from __future__ import annotations

import cv2
from fpdf import FPDF

from desk.printing.page import GREY, MARGIN_MM, add_page, filled, outline, words
from desk.tints import tints_of
from scoring.sheet import GameSheet
from vision.key_strip import MARK_MM as STRIP_MARK_MM
from vision.key_strip import strip_plan

MODULES = 6
"""A DICT_4X4 mark is four modules across and one of black rim on each side."""

MARK_MM = 24.0
QUIET_MM = 2 * MARK_MM / MODULES
CARD_MM = MARK_MM + 2 * QUIET_MM
CORNER_IDS = (0, 1, 2, 3)
CORNERS = ("top left", "top right", "bottom right", "bottom left")
BLACK = (25, 25, 25)


def draw_mark(document: FPDF, mark: int, left: float, top: float, side_mm: float) -> None:
    """One mark as vector boxes on a grey field, with a quiet zone of two modules around."""
    module = side_mm / MODULES
    quiet = 2 * module
    side = side_mm + 2 * quiet
    filled(document, (left - quiet, top - quiet, side, side), (GREY,) * 3)
    filled(document, (left, top, side_mm, side_mm), BLACK)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    bits = cv2.aruco.generateImageMarker(dictionary, mark, MODULES)
    for row in range(MODULES):
        for column in range(MODULES):
            if bits[row, column]:
                box = (left + column * module, top + row * module, module, module)
                filled(document, box, (GREY,) * 3)


def needs_cards(sheet: GameSheet) -> bool:
    """Whether corner cards help: not beside a board that has marks of its own printed on it."""
    return not any(sheet.marks_on.get(mark, "board") == "board" for mark in sheet.marks)


def corner_cards(document: FPDF, sheet: GameSheet) -> None:
    """A page of four cards, one for each corner of the board."""
    top = add_page(
        document,
        f"Corner cards for {sheet.name}",
        "Print at 100 % (actual size) on matt paper: shine hides a mark. The field is grey on "
        "purpose, because white burns out under a lamp. Cut along the thin lines, leave the grey "
        "whole. Lay each card flat against the board's left or right side, its upper edge level "
        "with the board's upper edge (below: lower with lower), turned as printed here.",
    )
    for index, (mark, corner) in enumerate(zip(CORNER_IDS, CORNERS, strict=True)):
        x = MARGIN_MM + (index in (1, 2)) * (CARD_MM + 22)
        y = top + (index in (2, 3)) * (CARD_MM + 20)
        draw_mark(document, mark, x + QUIET_MM, y + QUIET_MM, MARK_MM)
        outline(document, [(x, y), (x + CARD_MM, y), (x + CARD_MM, y + CARD_MM), (x, y + CARD_MM)])
        words(document, (x, y + CARD_MM + 1), f"{corner}, mark {mark}", 8)


def marks_text(sheet: GameSheet) -> str:
    """The lines of TOML that tell a sheet where its corner cards lie."""
    width, height = sheet.lattice.board_size_mm
    left, right = -(QUIET_MM + MARK_MM), width + QUIET_MM
    high, low = QUIET_MM, height - QUIET_MM - MARK_MM
    spots = ((left, high), (right, high), (right, low), (left, low))
    lines = ["# Where the corner cards lie beside the board, mm: part of a game sheet."]
    for mark, (x, y) in zip(CORNER_IDS, spots, strict=True):
        square = [(x, y), (x + MARK_MM, y), (x + MARK_MM, y + MARK_MM), (x, y + MARK_MM)]
        corners = ", ".join(f"[{a:.1f}, {b:.1f}]" for a, b in square)
        lines += ["", "[[marks]]", f"id = {mark}", 'on = "card"', f"corners_mm = [{corners}]"]
    return "\n".join([*lines, ""])


def key_strip(document: FPDF, sheet: GameSheet) -> None:
    """A strip with a slot for one spare piece of each colour, in the sheet's order, and two marks.

    Where a strip is longer than the paper is wide, it runs on in a second row of slots.
    """
    top = add_page(
        document,
        f"Key strip for {sheet.name}",
        "Print at 100 % on matt paper, cut out, and lay it flat beside the board, in the same "
        "light. Put one spare piece of each colour on its slot, in every photo.",
    )
    plan = strip_plan(sheet)
    slot, (wide, tall) = plan.slot_mm, plan.size_mm
    frame = [(MARGIN_MM, top), (MARGIN_MM + wide, top)]
    frame += [(x, top + tall) for x, _ in reversed(frame)]
    filled(document, (MARGIN_MM, top, wide, tall), (GREY,) * 3)
    for mark, (x, y) in plan.marks_mm.items():
        draw_mark(document, mark, MARGIN_MM + x, top + y, STRIP_MARK_MM)
    outline(document, frame)
    tints = tints_of(sheet)
    for colour in sheet.colours:
        x = MARGIN_MM + plan.slots_mm[colour.name][0] - slot / 2
        y = top + plan.slots_mm[colour.name][1] - slot / 2
        box = [(x + 1, y + 1), (x + slot - 1, y + 1), (x + slot - 1, y + slot - 1)]
        outline(document, [*box, (x + 1, y + slot - 1)], (GREY,) * 3)
        filled(document, (x + 1, y + slot, 3, 3), rgb_of(tints[colour.name]))
        words(document, (x + 4, y + slot - 0.5), f"{colour.letter} {colour.name}"[:9], 6.5)


def rgb_of(tint: str) -> tuple[int, int, int]:
    """The parts of ``#rrggbb``."""
    return int(tint[1:3], 16), int(tint[3:5], 16), int(tint[5:7], 16)
