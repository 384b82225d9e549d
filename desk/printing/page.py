"""Pages at true size: paper, measuring bar, words, outlines. Lengths in mm, origin top left."""

from __future__ import annotations

from collections.abc import Sequence

from fpdf import FPDF

from desk.given import GivenError
from scoring.types import Point

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 12.0
BAR_MM = 100.0
GREY = 205
"""Of the field behind corner marks, 0 to 255: white burns out under a lamp and eats the mark."""

RGB = tuple[int, int, int]


def new_document(paper: str, title: str) -> FPDF:
    """An empty document on "a4" or "letter". Raises GivenError for another paper."""
    if paper not in PAPERS:
        raise GivenError(f"--paper {paper}", f"there is {' and '.join(PAPERS)}.")
    document = FPDF(unit="mm", format=PAPERS[paper])
    document.set_auto_page_break(False)
    document.set_title(latin(title))
    return document


def add_page(document: FPDF, heading: str, advice: str) -> float:
    """A page with heading, advice and measuring bar; returns the y from which there is room."""
    document.add_page()
    words(document, (MARGIN_MM, MARGIN_MM), heading, 14, bold=True)
    document.set_font("helvetica", size=9)
    document.set_xy(MARGIN_MM, MARGIN_MM + 8)
    document.multi_cell(document.w - 2 * MARGIN_MM, 4.2, latin(advice), align="L")
    top = document.get_y() + 6
    measuring_bar(document)
    return float(top)


def measuring_bar(document: FPDF) -> None:
    """A bar of exactly ``BAR_MM`` at the foot: measured with a ruler, it proves the scale."""
    x, y = MARGIN_MM, document.h - MARGIN_MM
    document.set_draw_color(0)
    document.set_line_width(0.3)
    document.line(x, y, x + BAR_MM, y)
    for k in range(11):
        document.line(x + 10 * k, y, x + 10 * k, y - (4 if k % 5 == 0 else 2.4))
    said = f"{BAR_MM:g} mm: measure this bar. If it is not, print again at 100 % (actual size)."
    words(document, (x, y - 9), said, 8)


def words(
    document: FPDF, at: Point, text: str, size: float, *, bold: bool = False, ink: RGB = (0, 0, 0)
) -> None:
    """One line of text whose top left is at a point."""
    document.set_font("helvetica", style="B" if bold else "", size=size)
    document.set_text_color(*ink)
    document.set_xy(*at)
    document.cell(text=latin(text))


def paragraph(document: FPDF, at: Point, text: str, size: float, width: float) -> None:
    """Text broken into lines of a width, its top left at a point."""
    document.set_font("helvetica", size=size)
    document.set_text_color(0)
    document.set_xy(*at)
    document.multi_cell(width, 0.42 * size, latin(text), align="L")


def centred(document: FPDF, at: Point, text: str, size: float, ink: RGB = (0, 0, 0)) -> None:
    """One line of text whose middle is at a point."""
    document.set_font("helvetica", size=size)
    wide = document.get_string_width(latin(text))
    left = at[0] - wide / 2 - document.c_margin
    words(document, (left, at[1] - size * 0.18), text, size, ink=ink)


def filled(document: FPDF, box: tuple[float, float, float, float], rgb: RGB) -> None:
    """A filled box without outline: left, top, width, height."""
    document.set_fill_color(*rgb)
    document.rect(*box, style="F")


def outline(
    document: FPDF, points: Sequence[Point], rgb: RGB | None = None, line: int = 60
) -> None:
    """A closed thin outline in a grey of 0 to 255, filled where ``rgb`` is given."""
    document.set_draw_color(line)
    document.set_line_width(0.2)
    if rgb:
        document.set_fill_color(*rgb)
    document.polygon(list(points), style="DF" if rgb else "D")


def latin(text: str) -> str:
    """Text as the built-in fonts can print it; what they lack becomes a question mark."""
    return text.encode("latin-1", "replace").decode("latin-1")
