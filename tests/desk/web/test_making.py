"""A sheet from a photo, its cards and pages, tables and a trial: on a phone, and by script."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from desk.sheet_cards import Typed, with_card, without_card
from samples.finish import encode
from scoring.sheet import load_sheet
from tests.desk.practice import PRACTICE, SAMPLES
from tests.desk.web.conftest import TABLE, furnished, settled
from tests.desk.web.served import served
from tests.desk.web.test_journey import CHROMIUM, Phone, browser
from tests.vision.test_spread import spread_of

__all__ = ["browser"]

ROW = ["moss", "plum", "slate", "lichen"]
SHEETS = sorted((SAMPLES / "sheets").glob("*.toml"))


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_a_typed_card_goes_into_a_sheet_and_out_again(path: Path) -> None:
    sheet = load_sheet(path)
    letter = sheet.colours[0].letter
    text = with_card(sheet.text, Typed("Long 'Row'", 4, f"{letter} {letter} {letter}", missed=-1))
    for name in [card.name for card in sheet.cards]:
        text = without_card(text, name)

    assert "name = \"Long 'Row'\"" in text
    assert without_card(with_card(sheet.text, Typed("X", 1, letter)), "X").strip() == (
        sheet.text.strip()
    )


def test_a_shelf_over_the_interface(client: TestClient) -> None:
    exported = client.get(f"/api/shelf/{TABLE}/file")
    there = client.put("/api/shelf?upload=take-in-001&name=mine.table", content=exported.content)
    client.post(f"/api/shelf/{TABLE}/name", json={"name": "Roof"})
    taken = client.put("/api/shelf?upload=take-in-002&name=roof.table", content=exported.content)
    hostile = client.put("/api/shelf?upload=take-in-003", content=b"PK\x03\x04 no table")
    back = client.post(f"/api/shelf/{TABLE}/back", json={"number": 7})

    assert exported.headers["content-type"] == "application/zip"
    assert there.status_code == 422
    assert "is here already" in there.json()["problem"]
    assert taken.status_code == 422
    assert hostile.json()["problem"] == (
        "a table: is no table file, or is damaged; ask for it again."
    )
    assert back.json()["problem"] == "Roof: has versions 1 to 1, not 7."
    client.post(f"/api/shelf/{TABLE}/name", json={"name": "penmarrow"})
    named = [one["name"] for one in client.get("/api/shelf").json()["tables"]]
    assert "penmarrow" in named
    assert "Roof" not in named


def test_a_table_is_learned_from_the_photo_that_its_sheet_was_made_from(client: TestClient) -> None:
    photos = json.loads((PRACTICE / "truth.json").read_text())["photos"]
    empty, layout = ((PRACTICE / name).read_bytes() for name in ("empty-1.jpg", "layout-1.jpg"))
    sent = client.put("/api/boards/photo?upload=again-0001", content=empty).json()
    known = load_sheet(SAMPLES / "sheets" / "penmarrow.toml")
    board = {
        "photo": sent["photo"],
        "corners_px": photos["empty-1.jpg"]["board_corners_px"],
        "size_mm": list(known.lattice.board_size_mm),
        "anchors": [[97.0, 165.0]],
        "name": "Roofs again",
        "colours": [{"name": c.name, "letter": c.letter} for c in known.colours],
        "piece_height_mm": known.piece_height_mm,
    }
    sheet = client.post("/api/boards/sheet", json=board).json()["name"]
    told = {one["name"]: one["empty_at"] for one in client.get("/api/desk").json()["sheets"]}
    form = {"name": "Again", "sheet": sheet, "empty_of_sheet": True}
    path = f"/api/calibrations/{client.post('/api/calibrations', json=form).json()['id']}"
    client.put(f"{path}/plan", json={"plan": (PRACTICE / "layout.txt").read_text()})
    client.put(f"{path}/layout/photo?upload=again-0002", content=layout)
    learned = settled(client, path, lambda state: not state["busy"] and bool(state["advice"]))
    other = client.post("/api/calibrations", json=form | {"sheet": "penmarrow"})

    lay = client.get(f"/api/shelf/{learned['table']}/trial").json()
    other_table = client.get(f"/api/shelf/{TABLE}/trial").json()

    assert lay["exchange"]["plan"] != lay["plan"]
    assert 3 * len(known.colours) <= lay["exchange"]["pieces"] < 39, "fewer than laid anew"
    assert len(lay["exchange"]["moves"]) <= lay["exchange"]["pieces"]
    assert lay["exchange"]["svg"].startswith("<svg")
    assert other_table["exchange"] is None, "nobody knows what lies on the board"
    assert told[sheet]
    assert told["penmarrow"] is None
    assert learned["empty"] == ["the photo of the new sheet"]
    assert learned["corners_px"] == board["corners_px"]
    assert learned["table"], learned["advice"]
    assert other.status_code == 409
    assert "Take a new one" in other.json()["problem"]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory, table: Path) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("making")
    with served(furnished(folder / "data", table), folder / "archive") as desk:
        yield desk.address


@pytest.mark.skipif(not CHROMIUM.exists(), reason="there is no /usr/bin/chromium on this machine")
def test_a_new_game_and_its_table_on_a_phone(browser: Any, address: str, tmp_path: Path) -> None:
    row = tmp_path / "row.jpg"
    row.write_bytes(encode(spread_of(ROW, "plain", 3).pixels, 92))
    host = Phone(browser, address)
    page = host.page

    # A sheet from a photo: corners are dragged by hand, here put down as numbers.
    host.go("/#/sheets/new", "[data-key=board-photo]")
    host.check("new-sheet")
    page.set_input_files("[data-key=board-photo]", PRACTICE / "empty-1.jpg")
    page.wait_for_selector(".pick")
    host.check("new-sheet-corners")
    truth = json.loads((PRACTICE / "truth.json").read_text())["photos"]["empty-1.jpg"]
    page.evaluate(
        """corners => localStorage.setItem("new-sheet", JSON.stringify(
        {...JSON.parse(localStorage.getItem("new-sheet")), corners_px: corners}))""",
        truth["board_corners_px"],
    )
    page.reload()
    page.fill("[name=wide]", "194")
    page.fill("[name=high]", "166,5")
    host.check("new-sheet-size")
    page.click("text=Go on")
    page.wait_for_selector("[data-cell=G6]")
    assert "45 cells (courses)" in page.inner_text("[role=status] >> text=cells (")
    page.click("[data-cell=D4]")
    page.wait_for_selector("text=44 cells")
    page.click("[data-key=undo]")
    page.wait_for_selector("text=45 cells")
    page.click("[data-key=mode-anchors]")
    page.wait_for_selector("[data-key=mode-anchors].first")
    board = page.locator("svg.board")
    box = board.bounding_box()
    board.click(position={"x": box["width"] / 2, "y": box["height"] * 0.985})
    page.wait_for_selector("text=building begins at 6 of them")
    host.check("new-sheet-proposal")
    page.fill("[name=game]", "Harbour Roofs")
    page.set_input_files("[data-key=row-photo]", row)
    page.wait_for_selector("img[alt^='The pieces, numbered']")
    assert len(page.input_value("[name=colours]").splitlines()) == len(ROW)
    assert page.input_value("[name=game]") == "Harbour Roofs"
    host.check("new-sheet-colours")
    page.fill("[name=colours]", "Moss 32\nrust")
    page.click("text=Every cell is right")

    # A card, the pages.
    page.wait_for_selector("text=There are no cards yet.")
    page.fill("[name=card]", "Gull Walk")
    page.fill("[name=points]", "3")
    page.fill("[name=pattern]", "M M\n R")
    page.click("[data-key=look]")
    page.wait_for_selector("img[alt^='The pattern as typed']")
    page.click("text=Add the card")
    page.wait_for_selector("h3:has-text('Gull Walk')")
    host.check("sheet")
    with page.expect_download() as download:
        page.click("text=Pages on A4 (PDF)")
    download.value.save_as(tmp_path / "pages.pdf")
    assert (tmp_path / "pages.pdf").read_bytes().startswith(b"%PDF")
    page.click("text=Take out Gull Walk")
    page.wait_for_selector("text=There are no cards yet.")

    # The photo of the empty board and its corners serve again: neither is asked for twice.
    host.press("text=Learn a table for it", "[name=table]")
    assert page.input_value("[name=table]") == "Harbour Roofs"
    assert page.is_checked("[name=again]")
    host.check("learn")
    page.click("text=Go on")
    page.wait_for_selector("text=Corners are shown; move them")
    assert "the photo of the new sheet" in page.inner_text("#screen")

    # Tables: renamed, tried with a photo that shows something else than its plan.
    host.go("/#/tables", f"[data-key=rename-{TABLE}]")
    page.click(f"[data-key=rename-{TABLE}]")
    page.fill("dialog input", "Café")
    page.click("dialog >> text=Rename >> nth=-1")
    page.wait_for_selector("h2:has-text('Café')")
    host.check("tables")
    with page.expect_download() as download:
        page.click("text=Save as a file")
    assert download.value.suggested_filename == f"{TABLE}.table"
    host.press("text=Try it", "img.layout")
    page.click("summary")
    page.fill("[name=plan]", (PRACTICE / "layout.txt").read_text())
    page.set_input_files("[data-key=trial-photo]", PRACTICE / "layout-2.jpg")
    page.wait_for_selector("text=Nothing was read wrongly without asking.")
    host.check("trial")
    host.clean()
