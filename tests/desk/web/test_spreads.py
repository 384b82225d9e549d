"""Loose pieces on the phone: counted at pack-up, their colours named, as the commands do."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from samples.finish import encode
from tests.desk.web.conftest import TABLE, furnished
from tests.desk.web.served import served
from tests.desk.web.test_journey import CHROMIUM, Phone, browser
from tests.vision.test_spread import spread_of

__all__ = ["browser"]

BARE = np.full((480, 640, 3), 120, np.uint8)
PIECES = ["moss"] * 8 + ["plum"] * 8


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory, table: Path) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("spreads")
    with served(furnished(folder / "data", table), folder / "archive") as desk:
        yield desk.address


@pytest.fixture(scope="module")
def pieces(tmp_path_factory: pytest.TempPathFactory) -> Path:
    photo = tmp_path_factory.mktemp("pieces") / "pieces.jpg"
    photo.write_bytes(encode(spread_of(PIECES, "plain", 5).pixels, 92))
    return photo


@pytest.mark.skipif(not CHROMIUM.exists(), reason="there is no /usr/bin/chromium on this machine")
def test_pieces_are_counted_and_colours_named_on_a_phone(
    browser: Any, address: str, pieces: Path
) -> None:
    host = Phone(browser, address)
    page = host.page
    host.go("/#/tables", "text=Count the pieces")
    host.press("text=Count the pieces", "[data-key=count-photo]")
    page.set_input_files("[data-key=count-photo]", pieces)
    page.wait_for_selector(f"text={len(PIECES)} pieces seen.")
    rows = dict(row.inner_text().split("\t")[:2] for row in page.locator("tbody tr").all())
    left = page.locator("ol li").count()
    host.check("count")
    page.set_input_files("[data-key=count-photo]", pieces)
    page.wait_for_selector("text=in 2 photos together")
    twice = dict(row.inner_text().split("\t")[:2] for row in page.locator("tbody tr").all())

    assert sum(map(int, rows.values())) + left >= len(PIECES)
    assert int(rows["M moss"]) <= 8
    assert {name: 2 * int(number) for name, number in rows.items()} == {
        name: int(number) for name, number in twice.items()
    }

    host.go("/#/sheets/penmarrow", "text=Colours from a photo")
    host.press("text=Colours from a photo", "[data-key=colours-photo]")
    page.set_input_files("[data-key=colours-photo]", pieces)
    page.wait_for_selector("pre >> text=[[colours]]")
    assert page.inner_text("pre").count("[[colours]]") == len(PIECES)
    host.check("colours")
    host.clean()


def test_what_is_no_spread_is_refused_in_words(client: TestClient) -> None:
    sent = client.put("/api/spreads/photo?upload=blank-0001", content=encode(BARE, 90))
    photo = sent.json()["photo"]
    counted = client.post(f"/api/shelf/{TABLE}/count", json={"photo": photo})
    named = client.post("/api/sheets/penmarrow/colours", json={"photo": photo})
    absent = client.post(f"/api/shelf/{TABLE}/count", json={"photo": "0" * 64})

    assert counted.status_code == named.status_code == 422
    assert "hardly any loose pieces are seen" in counted.json()["problem"]
    assert "hardly any loose pieces are seen" in named.json()["problem"]
    assert absent.status_code == 404
    assert absent.json()["problem"] == "There is no such photo here. Send it again."
