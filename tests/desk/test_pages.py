"""The score sheet and the picture of a game sheet."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from desk.drawing import DrawingFormatError, ink_on, save_drawing, to_png, to_svg
from desk.scoresheet import score_sheet
from desk.sheet_picture import draw_sheet
from desk.tints import tint_named, tints_of
from scoring.sheet import load_sheet
from tests.desk import fakes

SHEETS = sorted((Path(__file__).parents[2] / "samples" / "sheets").glob("*.toml"))
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


class Page(HTMLParser):
    """Every tag with its attributes, and all text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def page() -> Page:
    ana = fakes.seat("Ana", fakes.ANA, {"A2": ("moss", "slate")})
    ben = fakes.seat("<b>Ben</b>", fakes.BEN)
    return Page(score_sheet(fakes.outcome(ana, ben), NOON))


def test_the_score_sheet_needs_nothing_from_outside(page: Page) -> None:
    links = [
        value
        for _, attributes in page.tags
        for name, value in attributes.items()
        if name in ("src", "href")
    ]

    assert all(str(link).startswith(("data:image/jpeg", "#")) for link in links)
    assert not [tag for tag, _ in page.tags if tag in ("script", "link", "iframe")]


def test_names_are_shown_and_never_become_markup(page: Page) -> None:
    assert "<b>Ben</b>" in page.text
    assert "Ben" not in [tag for tag, _ in page.tags]


def test_every_cell_has_its_letter_on_the_photo_and_doubts_a_sign(page: Page) -> None:
    assert "M?" in page.text
    assert "unsure (dashed)" in page.text
    assert [a["class"] for t, a in page.tags if t == "polygon"].count("edge open") == 1
    assert [a["class"] for t, a in page.tags if t == "polygon"].count("edge sure") == 23


def test_every_number_has_its_proof(page: Page) -> None:
    for words in ("card Stile", "A2 A3 A4", "slate group of 5", "15 (10 to 15)"):
        assert words in page.text


def test_the_caution_stands_at_the_foot(page: Page) -> None:
    assert "Ask before you photograph" in page.text
    assert "referee decide" in page.text


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_a_game_sheet_is_drawn_with_every_cell_colour_and_card(path: Path) -> None:
    sheet = load_sheet(path)
    drawing = draw_sheet(sheet)

    words = [node.text or "" for node in ET.fromstring(to_svg(drawing)).iter() if node.text]

    assert not {cell.id for cell in sheet.lattice.cells} - set(words)
    assert not {card.name for card in sheet.cards} - set(words)
    assert all(any(colour.name in word for word in words) for colour in sheet.colours)


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_nothing_is_drawn_beyond_the_paper(path: Path) -> None:
    drawing = draw_sheet(load_sheet(path))
    spots = [
        point
        for shape in drawing.shapes
        for point in (getattr(shape, "points", None) or [getattr(shape, "at", (0, 0))])
    ]

    assert all(0 <= x <= drawing.size[0] and 0 <= y <= drawing.size[1] for x, y in spots)


def test_a_sheet_becomes_a_png_of_its_size() -> None:
    drawing = draw_sheet(fakes.sheet())

    with Image.open(io.BytesIO(to_png(drawing))) as image:
        assert image.size == tuple(round(2 * side) for side in drawing.size)


def test_another_format_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DrawingFormatError, match=re.escape("written as .svg or .png")):
        save_drawing(draw_sheet(fakes.sheet()), tmp_path / "sheet.bmp")


def test_letters_are_readable_on_every_tint() -> None:
    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
        return sum(w * v for w, v in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    for tint in (*tints_of(fakes.sheet()).values(), "#c06a3a", "#66788a", "#d99a1c", "#808080"):
        low, high = sorted([luminance(tint), luminance(ink_on(tint))])
        assert (high + 0.05) / (low + 0.05) >= 3.9


def test_a_tint_follows_the_name() -> None:
    assert tint_named("dark moss") == tint_named("moss") != ""
    assert tint_named("navy") == "#000080"
    assert tint_named("qwertz") == ""
