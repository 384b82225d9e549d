"""Sheets for the table: plan of the known layout, blank score sheet, list of the cards."""

from __future__ import annotations

from collections.abc import Mapping

from fpdf import FPDF

from desk.drawing import FAINT, Outline, Words, ink_on
from desk.printing.marks import rgb_of
from desk.printing.page import MARGIN_MM, add_page, centred, outline, paragraph, words
from desk.sheet_picture import draw_pattern, moves_in_words, points_in_words
from desk.tints import tints_of
from scoring.lattice import cell_centres_mm, rows_of
from scoring.regular import row_of
from scoring.sheet import GameSheet
from scoring.types import EMPTY

PLAYERS = 6
LINE_MM = 9.0
CARD_MM = 42.0


def spread_layout(sheet: GameSheet) -> dict[str, str]:
    """A known layout: every colour equally often, here and there, every seventh cell bare,
    each row's two cells farther left, so that no column stays bare.

    The pieces of one colour come round every few cells, each row moved on by two, so that a colour
    lies in bright and in dark places and hardly beside itself.
    """
    names = [colour.name for colour in sheet.colours]
    plan: dict[str, str] = {}
    laid = 0
    rows = {letter: number for number, letter in enumerate(rows_of(sheet.lattice))}
    for index, cell in enumerate(sheet.lattice.cells):
        row = rows[row_of(cell.id)]
        if (index + 2 * row) % 7 == 6 and len(sheet.lattice.cells) > 3 * len(names):
            plan[cell.id] = EMPTY
            continue
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
        tall = max(b for _, b in points) - middle[1]
        ink = rgb_of(ink_on(tints[name] if name != EMPTY else "#ffffff"))
        centred(document, (middle[0], middle[1] + 0.62 * tall), cell.id, 5.5, ink)
    key = ", ".join(f"{colour.letter} {colour.name}" for colour in sheet.colours)
    said = f"{key}. Tints only hint at the pieces; the letters count. Drawn at {scale:.0%}."
    paragraph(document, (MARGIN_MM, top + height * scale + 3), said, 9, room[0])


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
            top = add_page(
                document,
                f"Cards of {sheet.name}",
                "A letter is that colour; equal digits are one colour, different digits differ.",
            )
        x = MARGIN_MM + (index % across) * (CARD_MM + 4)
        y = top + (index // across) * (CARD_MM + 12)
        right, low = x + CARD_MM, y + CARD_MM + 9
        outline(document, [(x, y), (right, y), (right, low), (x, low)])
        words(document, (x + 1, y + 1), card.name[:28], 7, bold=True)
        said = f"{points_in_words(card)}; {moves_in_words(card)}"
        paragraph(document, (x + 1, low - 6.5), said, 6, CARD_MM - 2)
        for shape in draw_pattern(sheet, card, (x + 4, y + 7, CARD_MM - 8, CARD_MM - 8)):
            drawn(document, shape)


def drawn(document: FPDF, shape: Outline | Words) -> None:
    """A shape of a picture, its px taken as mm."""
    if isinstance(shape, Words):
        centred(document, shape.at, shape.text, min(9.0, 2.8 * shape.size), rgb_of(shape.ink))
    else:
        line = 200 if shape.stroke == FAINT else 60
        outline(document, shape.points, rgb_of(shape.fill) if shape.fill else None, line)
