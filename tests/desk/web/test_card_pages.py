"""A card from a photo on the phone: read, settled, confirmed, added, and given to a table."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from desk.shelf import Shelf
from samples.penmarrow import load_penmarrow
from scoring.patterns import parse_pattern
from scoring.sheet import load_sheet
from tests.desk.practice import bell_rope_photo, six_cards_photo
from tests.desk.web.conftest import TABLE, furnished
from tests.desk.web.served import served
from tests.desk.web.test_journey import CHROMIUM, Phone, browser, until

__all__ = ["browser"]

NAME = "Bell Rope"


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return bell_rope_photo(tmp_path_factory.mktemp("card"))


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, table: Path) -> Iterator[tuple[str, Path]]:
    folder = tmp_path_factory.mktemp("cards")
    with served(furnished(folder / "data", table), folder / "archive") as desk:
        yield desk.address, folder / "data"


@pytest.mark.skipif(not CHROMIUM.exists(), reason="there is no /usr/bin/chromium on this machine")
def test_a_card_is_read_settled_and_added_on_a_phone(
    browser: Any, desk: tuple[str, Path], photo: Path
) -> None:
    address, data = desk
    host = Phone(browser, address)
    page = host.page
    host.go("/#/sheets/penmarrow", "text=Cards from a photo")
    page.click(f"text=Take out {NAME}")
    page.wait_for_selector(f"text=Take out {NAME}", state="detached")
    host.press("text=Cards from a photo", "[data-key=card-photo]")
    host.check("card-empty")
    page.set_input_files("[data-key=card-photo]", photo)
    page.wait_for_selector("text=1 card is seen, with 3 cells;")
    host.check("card")

    # Each cell can be settled with the keyboard alone; a sign is never guessed at.
    for cell, letter in (("A1", "P"), ("B1", "R"), ("C1", "P")):
        page.focus(f"[data-cell={cell}]")
        page.keyboard.press("Enter")
        page.wait_for_selector("dialog")
        if cell == "A1":
            host.check("card-choice")
        page.click(f"dialog [data-key=need-{letter}]")
        page.wait_for_selector(f"[data-cell={cell}] .answered")
    page.wait_for_selector("[name=pattern]", state="attached")
    assert page.input_value("[name=pattern]") == "P\n R\n  P"
    assert page.input_value("[name=card]") == "Card 1"
    page.click("[data-key=top-down-1]")
    until(host, lambda: page.get_attribute("[data-key=top-down-1]", "aria-pressed") == "true")
    assert page.input_value("[name=pattern]") == "P\n R\n  P"  # it is the same upside down
    page.click("[data-key=top-right-1]")  # courses have no sideways
    page.wait_for_selector("#say >> text=cannot have its top right")
    host.errors.clear()
    page.click("[data-key=top-up-1]")
    page.wait_for_selector("[name=pattern]", state="attached")
    page.wait_for_selector("img[alt^='The pattern as typed']")
    page.fill("[name=card]", NAME)
    page.fill("[name=points]", "4")
    host.check("card-settled")
    page.click("[data-key=add]")
    page.wait_for_selector(f"text={NAME} is in the sheet.")
    card = load_sheet(data / "sheets" / "penmarrow.toml").cards[-1]
    assert (card.name, card.points) == (NAME, 4)
    assert card.pattern == parse_pattern("P\n R\n  P", "courses")

    # The next card of this printing: the inks that were named are known.
    page.set_input_files("[data-key=card-photo]", photo)
    page.wait_for_selector("text=1 card is seen, with 3 cells, all settled")

    # The table that was learned before is given the sheet with the new card.
    host.press("text=The sheet and its cards", f"[data-key=give-{TABLE}]")
    host.check("sheet-give")
    page.click(f"[data-key=give-{TABLE}]")
    page.wait_for_selector(f"[data-key=give-{TABLE}]", state="detached")
    latest = Shelf(data / "tables").tables()[0]
    assert latest.number == 2
    assert Shelf(data / "tables").table(latest.name).sheet.cards[-1].name == NAME
    host.clean()


@pytest.mark.skipif(not CHROMIUM.exists(), reason="there is no /usr/bin/chromium on this machine")
def test_six_cards_of_one_photo_are_settled_and_added_together(
    browser: Any, desk: tuple[str, Path], tmp_path: Path
) -> None:
    address, data = desk
    (data / "sheets" / "six.toml").write_text(without_cards())
    host = Phone(browser, address)
    page = host.page
    host.go("/#/sheets/six/card", "[data-key=card-photo]")
    page.set_input_files("[data-key=card-photo]", six_cards_photo(tmp_path))
    page.wait_for_selector("text=6 cards are seen, with 20 cells")
    host.check("cards")
    asked = page.locator("section.ask").count()
    cells = {cell.get_attribute("data-cell") for cell in page.locator("[data-cell]").all()}
    for id, need in dict(zip(NAMES, NEEDS, strict=True)).items():
        page.focus(f"[data-cell='{id}']")
        page.keyboard.press("Enter")
        page.click(f"dialog [data-key='need-{need}']")
        page.wait_for_selector(f"[data-cell='{id}'] .answered")
    page.wait_for_selector("text=add all 6")
    host.check("cards-settled")
    page.fill("[data-key=card-2]", "Gull Walk")
    for number, points in enumerate((2, 3, 3, 4, 4), 1):
        page.fill(f"[data-key=points-{number}]", str(points))
    page.click("[data-key=out-6]")
    page.wait_for_selector("text=add all 5")
    assert page.input_value("[data-key=points-5]") == "4"  # what was typed stays
    page.click("[data-key=add]")
    page.wait_for_selector("text=Card 1, Gull Walk, Card 3, Card 4, Card 5 are in the sheet.")
    host.clean()
    made = {card.name: card for card in load_sheet(data / "sheets" / "six.toml").cards}
    true = [card for card in load_penmarrow().cards if card.name != "Twin Dormer"]

    assert cells == set(NAMES)
    assert 0 < asked < 12, "one ink is asked once, however many cards show it"
    assert [card.points for card in made.values()] == [2, 3, 3, 4, 4]
    assert [card.pattern for card in made.values()] == [card.pattern for card in true]


NAMES = (
    *("1A1", "1B1", "1B2", "2A1", "2A2", "2A3", "3A1", "3B1", "3C1", "4A1", "4B1", "4C1"),
    *("5A1", "5B1", "5B2", "5C1", "6A1", "6A2", "6B1", "6B2"),
)
NEEDS = "RSSLLLMSMPRPLMRS1122"


def without_cards() -> str:
    """Penmarrow's sheet as it is before anybody has told of its cards."""
    text = load_penmarrow().text
    return text[: text.index("[[cards]]")] + text[text.index("[[rules]]") : text.index("[[tie")]


def test_where_no_card_is_seen_its_corners_are_asked_for(client: TestClient, photo: Path) -> None:
    bare = np.full((480, 640, 3), 120, np.uint8)
    from samples.finish import encode

    sent = client.put("/api/photos?upload=no-card-01", content=encode(bare, 90)).json()["photo"]
    card = client.put("/api/photos?upload=a-card-001", content=photo.read_bytes()).json()["photo"]
    path = "/api/sheets/penmarrow/cards/photo"
    asked = client.post(path, json={"photo": sent}).json()
    absent = client.post(path, json={"photo": "0" * 64})
    seen = client.post(path, json={"photo": card, "table": TABLE}).json()
    unknown = client.post(path, json={"photo": card}).json()

    assert asked["why"].startswith("No card with a pattern")
    assert "show its corners here" in asked["why"]
    assert client.get(asked["picture"]).status_code == 200
    assert absent.status_code == 404
    assert [cell["id"] for cell in seen["cards"][0]["cells"]] == ["A1", "B1", "C1"]
    assert client.get(seen["cards"][0]["picture"]).status_code == 200
    assert all(ink["doubt"] for ink in unknown["inks"]), "without a table no ink is known"


def test_a_pattern_needs_a_cell_that_is_one(client: TestClient) -> None:
    cells = [{"step": [0, 0], "need": "."}]
    told = client.post("/api/sheets/penmarrow/cards/pattern", json={"cells": cells})

    assert told.status_code == 422
    assert told.json()["problem"] == "The card: has no cell left."
