"""The tally to send on: one picture for a message, one PDF with every board's photo and proof."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import matplotlib
from fpdf import FPDF
from PIL import Image

from desk.board_picture import picture_board
from desk.drawing import FAINT, INK, Drawing, Outline, Words, box, to_png
from desk.say import CAUTION
from desk.scoresheet import cell_marks
from desk.tally_words import line_keys, open_words, points_of, problem_words, total_words, verdict
from desk.types import Outcome

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
"""DejaVu Sans comes with matplotlib: names in most scripts print without a font of the system's."""

ROW = 34.0
QUIET = "#5a626d"
WON = "#e4efda"


def table_rows(outcome: Outcome) -> list[list[str]]:
    """Head, a row for each way of scoring, totals."""
    players = outcome.tally.players
    rows = [["", *(player.player for player in players)]]
    for key in line_keys(outcome):
        rows.append([key[1], *(points_of(player, key) for player in players)])
    rows.append(["total", *(total_words(outcome, player) for player in players)])
    return rows


def tally_png(outcome: Outcome, at: datetime) -> bytes:
    """The table of points as a picture, as wide as a phone's screen."""
    rows = table_rows(outcome)
    first = max(160.0, 9.0 * max(len(row[0]) for row in rows))
    other = max(86.0, 10.5 * max(len(word) for row in rows for word in row[1:]))
    width = 40 + first + other * (len(rows[0]) - 1)
    notes = list(wrapped([verdict(outcome), *open_words(outcome), *problem_words(outcome)], width))
    height = 96 + ROW * len(rows) + 24 * len(notes) + 30
    shapes: list[Outline | Words] = [
        Words((20, 34), outcome.game.table.sheet.name, 22, left=True),
        Words((20, 60), f"{at:%Y-%m-%d %H:%M}", 13, QUIET, left=True),
    ]
    winners = outcome.tally.winners if outcome.settled else ()
    for column, name in enumerate(rows[0][1:]):
        if name in winners:
            shapes.append(
                Outline(box(20 + first + other * column, 80, other, ROW * len(rows)), WON, "")
            )
    for number, row in enumerate(rows):
        y = 80 + ROW * (number + 0.5)
        size = 17 if number in (0, len(rows) - 1) else 15
        shapes.append(Words((24, y), row[0], size, left=True))
        for column, word in enumerate(row[1:]):
            shapes.append(Words((20 + first + other * (column + 0.5), y), word, size))
        shapes.append(Outline(box(20, y + ROW / 2, width - 40, 0), "", FAINT))
    for number, line in enumerate(notes):
        y = 80 + ROW * len(rows) + 26 + 24 * number
        shapes.append(Words((20, y), line, 14, INK, left=True))
    return to_png(Drawing((width, height), tuple(shapes)))


def wrapped(lines: list[str], width: float) -> Iterator[str]:
    """Sentences broken to fit; a letter is taken as 7.4 px wide at size 14."""
    import textwrap

    for line in lines:
        yield from textwrap.wrap(line, max(20, int((width - 40) / 7.4)))


def tally_pdf(outcome: Outcome, at: datetime) -> bytes:
    """A4: the table first, then each board with its photo, letters and the cause of every point."""
    pdf = FPDF(format="A4")
    pdf.set_title(f"{outcome.game.table.sheet.name}: tally")
    pdf.set_creator("Tallyglass")
    pdf.add_font("sans", "", FONTS / "DejaVuSans.ttf")
    pdf.add_font("sans", "B", FONTS / "DejaVuSans-Bold.ttf")
    pdf.set_auto_page_break(True, 15)
    pdf.add_page()
    front_page(pdf, outcome, at)
    for number in range(len(outcome.tally.players)):
        pdf.add_page()
        board_page(pdf, outcome, number)
    return bytes(pdf.output())


def say(pdf: FPDF, text: str, size: float = 10, bold: bool = False, gap: float = 1) -> None:
    """A paragraph."""
    pdf.set_font("sans", "B" if bold else "", size)
    pdf.multi_cell(0, size * 0.5, text, new_x="LMARGIN", new_y="NEXT")
    pdf.ln(gap)


def front_page(pdf: FPDF, outcome: Outcome, at: datetime) -> None:
    """Everybody side by side, who won, what is unsure, who answered."""
    say(pdf, outcome.game.table.sheet.name, 18, bold=True)
    say(pdf, f"Scored {at:%Y-%m-%d %H:%M} with the table {outcome.game.table.name}", 9, gap=4)
    say(pdf, verdict(outcome), 12, bold=True, gap=3)
    pdf.set_font("sans", "", 9)
    rows = table_rows(outcome)
    with pdf.table(
        first_row_as_headings=True, text_align=("LEFT", *["RIGHT"] * (len(rows[0]) - 1))
    ) as table:
        for row in rows:
            line = table.row()
            for word in row:
                line.cell(word)
    pdf.ln(3)
    for words in (*open_words(outcome), *problem_words(outcome)):
        say(pdf, words, 9)
    answers = [
        f"{a.player}'s {a.cell}: {'left open' if a.colour == 'skip' else a.colour} ({a.by})"
        for a in outcome.game.answers
    ]
    if answers:
        say(pdf, "Answered by people: " + "; ".join(answers) + ".", 9)
    say(pdf, CAUTION, 8)


def board_page(pdf: FPDF, outcome: Outcome, number: int) -> None:
    """One board: its photo with every cell's letter, and what each line counts."""
    seat, player = outcome.game.seats[number], outcome.tally.players[number]
    say(pdf, f"{player.player}: {total_words(outcome, player)}", 15, bold=True)
    picture = picture_board(seat.photo, seat.reading.registration, outcome.game.table.sheet)
    top = pdf.get_y()
    height = min(105.0, 180.0 * picture.height / picture.width)
    scale = height / picture.height
    with Image.open(io.BytesIO(picture.jpeg)) as image:
        pdf.image(image, pdf.l_margin, top, h=height)
    pdf.set_font("sans", "B", 8)
    for mark in cell_marks(outcome, seat, picture):
        x, y = pdf.l_margin + mark.middle[0] * scale, top + mark.middle[1] * scale
        width = pdf.get_string_width(mark.letter) + 1
        pdf.set_fill_color(255, 255, 255)
        pdf.rect(x - width / 2, y - 1.8, width, 3.6, style="F")
        pdf.text(x - width / 2 + 0.5, y + 1.1, mark.letter)
    pdf.set_y(top + height + 3)
    for line in player.lines:
        say(pdf, f"{line.label}: {line.points}", 10, bold=True, gap=0)
        causes = [f"{p.words} ({' '.join(p.cells)}): {p.points}" for p in line.proofs]
        say(pdf, "; ".join(causes) or line.note or "Nothing counts here.", 8, gap=1.5)
