"""Sheets for the table: plan of the known layout, blank score sheet, list of the cards."""

from __future__ import annotations

from collections.abc import Mapping

from fpdf import FPDF

from desk.drawing import Outline, Words
from desk.printing.marks import rgb_of
from desk.printing.page import MARGIN_MM, add_page, centred, outline, words
from desk.sheet_picture import draw_pattern, moves_in_words, points_in_words
from desk.tints import tints_of
from scoring.lattice import cell_centres_mm
from scoring.sheet import GameSheet
from scoring.types import EMPTY

PLAYERS = 6
LINE_MM = 9.0
CARD_MM = 42.0


def spread_layout(sheet: GameSheet) -> dict[str, str]:
    """A known layout: every colour equally often, here and there, every seventh cell bare.

    The pieces of one colour come round every few cells, each row moved on by two, so that a colour
    lies in bright and in dark places and hardly beside itself.
    """
    names = [colour.name for colour in sheet.colours]
    plan: dict[str, str] = {}
    laid = 0
    for index, cell in enumerate(sheet.lattice.cells):
        if index % 7 == 6 and len(sheet.lattice.cells) > 3 * len(names):
            plan[cell.id] = EMPTY
            continue
        row = ord(cell.id[0]) - ord("A")
        plan[cell.id] = names[(laid + 2 * row) % len(names)]
        laid += 1
    return plan


def layout_plan(document: FPDF, sheet: GameSheet, plan: Mapping[str, str]) -> None:
    """The known layout, at true size where the paper is wide enough, with its letters."""
    top = add_page(
        document,
        f"Known layout for {sheet.name}",
        "Lay the pieces on the board just as shown (a full stop: leave the cell empty), "
        "photograph it one to three times, and calibrate with the plan that was written beside "
        "this page.",
    )
    width, height = sheet.lattice.board_size_mm
    room = (document.w - 2 * MARGIN_MM, document.h - top - 30)
    scale = min(1.0, room[0] / width, room[1] / height)
    letters = {colour.name: colour.letter for colour in sheet.colours} | {EMPTY: "."}
    tints = tints_of(sheet)
    corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
    outline(document, [(MARGIN_MM + x * scale, top + y * scale) for x, y in corners])
    for cell, (x, y) in zip(sheet.lattice.cells, cell_centres_mm(sheet.lattice), strict=True):
        name = plan[cell.id]
        points = [(MARGIN_MM + a * scale, top + b * scale) for a, b in cell.polygon_mm]
        outline(document, points, rgb_of(tints[name]) if name != EMPTY else None)
        middle = (MARGIN_MM + x * scale, top + y * scale)
        filled_letter(document, middle, letters[name])
    words(document, (MARGIN_MM, top + height * scale + 2), f"Shown at {scale:.0%} of its size.", 8)


def filled_letter(document: FPDF, at: tuple[float, float], letter: str) -> None:
    """A letter on a white disc, readable on any colour."""
    document.set_fill_color(255)
    document.circle(at[0], at[1], 2.6, style="F")
    centred(document, at, letter, 11)


def score_sheet(document: FPDF, sheet: GameSheet) -> None:
    """A blank score sheet: a line a rule, a column a player."""
    top = add_page(document, f"Score sheet: {sheet.name}", "One column a player.")
    lines = ["Player", *(rule.label for rule in sheet.rules), "Total"]
    label = 58.0
    column = (document.w - 2 * MARGIN_MM - label) / PLAYERS
    for row, text in enumerate(lines):
        y = top + row * LINE_MM
        for left, wide in [(0.0, label)] + [(label + k * column, column) for k in range(PLAYERS)]:
            x = MARGIN_MM + left
            outline(document, [(x, y), (x + wide, y), (x + wide, y + LINE_MM), (x, y + LINE_MM)])
        words(document, (MARGIN_MM + 1, y + 2.2), text[:34], 9, bold=row in (0, len(lines) - 1))


def card_list(document: FPDF, sheet: GameSheet) -> None:
    """Every card as a drawn picture with its points; no page where a game has none."""
    across = int((document.w - 2 * MARGIN_MM) // (CARD_MM + 4))
    room = across * int((document.h - 60) // (CARD_MM + 12))
    top = 0.0
    for number, card in enumerate(sheet.cards):
        index = number % room
        if index == 0:
            top = add_page(document, f"Cards of {sheet.name}", "Digits: equal ones, one colour.")
        x = MARGIN_MM + (index % across) * (CARD_MM + 4)
        y = top + (index // across) * (CARD_MM + 12)
        right, low = x + CARD_MM, y + CARD_MM + 9
        outline(document, [(x, y), (right, y), (right, low), (x, low)])
        words(document, (x + 1, y + 1), card.name[:28], 7, bold=True)
        said = f"{points_in_words(card)}; {moves_in_words(card)}"
        words(document, (x + 1, low - 4), said[:48], 5.5)
        for shape in draw_pattern(sheet, card, (x + 4, y + 7, CARD_MM - 8, CARD_MM - 6)):
            drawn(document, shape)


def drawn(document: FPDF, shape: Outline | Words) -> None:
    """A shape of a picture, its px taken as mm."""
    if isinstance(shape, Words):
        centred(document, shape.at, shape.text, min(9.0, 2.8 * shape.size))
    else:
        outline(document, shape.points, rgb_of(shape.fill) if shape.fill else None)
