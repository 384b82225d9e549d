"""Loose pieces on the phone: counted at pack-up, their colours named, as the commands do."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from samples.finish import encode
from samples.penmarrow import load_penmarrow
from scoring.sheet import load_sheet
from scoring.types import Colour
from tests.desk.practice import PRACTICE
from tests.desk.web.conftest import TABLE, furnished
from tests.desk.web.served import served
from tests.desk.web.test_journey import CHROMIUM, Phone, browser
from tests.vision.test_spread import spread_of

__all__ = ["browser"]

BARE = np.full((480, 640, 3), 120, np.uint8)
PIECES = ["moss"] * 8 + ["plum"] * 8
ALL = [colour.name for colour in load_penmarrow().colours]
ROW = ["moss", "plum", "slate", "lichen"]

needs_chromium = pytest.mark.skipif(
    not CHROMIUM.exists(), reason="there is no /usr/bin/chromium on this machine"
)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, table: Path) -> Iterator[tuple[str, Path]]:
    """The address of a desk, and its data folder."""
    folder = tmp_path_factory.mktemp("spreads")
    with served(furnished(folder / "data", table), folder / "archive") as desk:
        yield desk.address, folder / "data"


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Pieces spread out, other ones, and four in a row."""
    folder = tmp_path_factory.mktemp("pieces")
    lying = {"first": (PIECES, 5), "second": (ALL * 3, 6), "row": (ROW, 3)}
    for name, (names, seed) in lying.items():
        shot = spread_of(names, "plain", seed)
        (folder / f"{name}.jpg").write_bytes(encode(shot.pixels, 92))
    return {name: folder / f"{name}.jpg" for name in lying}


def rows(page: Any) -> dict[str, int]:
    """Pieces counted by colour, as the table on the screen says."""
    lines = [row.inner_text().split("\t")[:2] for row in page.locator("tbody tr").all()]
    return {colour.split()[1]: int(number) for colour, number in lines}


@needs_chromium
def test_a_box_is_counted_on_a_phone_and_its_supply_taken(
    browser: Any, desk: tuple[str, Path], photos: dict[str, Path]
) -> None:
    address, data = desk
    host = Phone(browser, address)
    page = host.page
    host.go("/#/tables", "text=Count the pieces")
    host.press("text=Count the pieces", "[data-key=count-photo]")
    page.set_input_files("[data-key=count-photo]", photos["first"])
    page.wait_for_selector(f"text={len(PIECES)} pieces seen.")
    first, left = rows(page), page.locator("ol li").count()
    host.check("count")
    wide = page.locator(".zoom img").bounding_box()["width"]
    page.click("text=Larger")
    assert page.locator(".zoom img").bounding_box()["width"] == pytest.approx(2 * wide, abs=2)
    page.set_input_files("[data-key=count-photo]", photos["second"])
    page.wait_for_selector("text=in 2 photos together")
    both = rows(page)

    assert sum(first.values()) + left >= len(PIECES)
    assert all(first[name] <= both[name] <= (PIECES + ALL * 3).count(name) for name in first)
    assert page.query_selector("[data-key=supply]") is None

    # The same photo is no further photo; what a person finds at the open places makes it whole.
    page.set_input_files("[data-key=count-photo]", photos["second"])
    page.wait_for_selector("#say >> text=was counted already")
    host.errors.clear()  # the browser logs a refused request
    truth = {name: (PIECES + ALL * 3).count(name) for name in ALL}
    for name in ALL:
        page.fill(f"[name=hand-{name}]", str(truth[name] - both[name]))
    page.click("[data-key=hand]")
    page.wait_for_selector("caption:has-text('Every place is counted')")
    assert rows(page) == truth
    host.check("count-whole")
    page.click("[data-key=supply]")
    page.wait_for_selector("p:has-text('version 2')")
    assert {c.name: c.supply for c in load_sheet(data / "sheets/penmarrow.toml").colours} == truth
    host.clean()


@needs_chromium
def test_colours_of_a_row_and_of_a_laid_board_are_taken_into_a_sheet(
    browser: Any, desk: tuple[str, Path], photos: dict[str, Path]
) -> None:
    address, data = desk
    (data / "sheets" / "plain.toml").write_text(without_cards(load_penmarrow().text))
    host = Phone(browser, address)
    page = host.page
    host.go("/#/sheets/plain", "text=Colours from a photo")
    host.press("text=Colours from a photo", "[data-key=colours-photo]")
    page.set_input_files("[data-key=colours-photo]", photos["row"])
    page.wait_for_selector("text=4 pieces are seen.")
    page.fill("[name=name-2]", "Heather Pink")
    page.fill("[name=letter-2]", "k")
    page.fill("[name=pieces-2]", "24")
    host.check("colours")
    page.click("[data-key=accept]")
    page.wait_for_selector("text=k heather pink")
    colours = load_sheet(data / "sheets" / "plain.toml").colours

    assert len(colours) == len({colour.letter for colour in colours}) == 4
    assert colours[1] == Colour("heather pink", "k", 24)

    # A laid board in signs of one's own; it has printed marks, so that no corners are asked for.
    host.press("text=Colours from a photo", "summary:has-text('laid on the board')")
    page.click("summary:has-text('laid on the board')")
    assert page.input_value("[name=signs]").startswith("A: . . . . . .\nB:")
    plan = (PRACTICE / "layout.txt").read_text().replace(" S", " 1").replace(" C", " 2")
    page.fill("[name=signs]", plan)
    page.set_input_files("[data-key=laid-photo]", PRACTICE / "layout-1.jpg")
    page.wait_for_selector("text=6 kinds of pieces are seen.")
    assert page.input_value("[name=letter-M]") == "M"
    host.check("colours-laid")
    page.click("[data-key=accept]")
    page.wait_for_selector("h2:has-text('Cards')")
    assert len(load_sheet(data / "sheets" / "plain.toml").colours) == 6
    host.clean()


def without_cards(text: str) -> str:
    """A sheet of the same board on which groups alone count, in any colours."""
    board = text[text.index("[board]") : text.index("[[cards]]")]
    return f'name = "Plain"\n{board}\n[[rules]]\nkind = "groups"\neach = 1\n'


def test_a_laid_board_without_marks_asks_for_its_corners(client: TestClient) -> None:
    text = without_cards(load_penmarrow().text)
    start = text.index("[[marks]]")
    bare = text[:start] + text[text.index("[[colours]]") :]
    sheet = client.post("/api/sheets", json={"text": bare}).json()["name"]
    laid = (PRACTICE / "layout-1.jpg").read_bytes()
    photo = client.put("/api/photos?upload=laid-00001", content=laid).json()["photo"]
    form = {"photo": photo, "plan": (PRACTICE / "layout.txt").read_text()}
    asked = client.post(f"/api/sheets/{sheet}/colours", json=form).json()
    truth = json.loads((PRACTICE / "truth.json").read_text())["photos"]["layout-1.jpg"]
    corners = {"corners_px": truth["board_corners_px"]}
    told = client.post(f"/api/sheets/{sheet}/colours", json=form | corners).json()

    assert asked["why"] == "No printed corner marks are seen: show the board's four corners."
    assert client.get(asked["picture"]).status_code == 200
    assert asked["corners"]["width"] > 0
    assert {one["sign"] for one in told["colours"]} == set("SMRLPC")


def test_colours_are_not_put_where_a_card_would_change(client: TestClient) -> None:
    colours = [{"name": "mud", "letter": "M"}, {"name": "rust", "letter": "R"}]
    clash = client.put("/api/sheets/penmarrow/colours", json={"colours": colours})
    twice = client.put("/api/sheets/penmarrow/colours", json={"colours": [colours[0]] * 2})

    assert clash.status_code == twice.status_code == 422
    assert "asks for" in clash.json()["problem"]
    assert twice.json()["problem"] == "The colours: give every colour a name of its own."


def test_what_is_no_spread_is_refused_in_words(client: TestClient) -> None:
    sent = client.put("/api/photos?upload=blank-0001", content=encode(BARE, 90))
    photo = sent.json()["photo"]
    counted = client.post(f"/api/shelf/{TABLE}/count", json={"photos": [photo]})
    named = client.post("/api/sheets/penmarrow/colours", json={"photo": photo})
    absent = client.post(f"/api/shelf/{TABLE}/count", json={"photos": ["0" * 64]})

    assert counted.status_code == named.status_code == 422
    assert "hardly any loose pieces are seen" in counted.json()["problem"]
    assert "hardly any loose pieces are seen" in named.json()["problem"]
    assert absent.status_code == 404
    assert absent.json()["problem"] == "There is no such photo here. Send it again."
