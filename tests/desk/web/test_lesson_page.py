"""The button by which a table learns from a kept game, in real Chromium."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from tests.desk.web.conftest import PLAYERS, TABLE, furnished, photo_of
from tests.desk.web.looks import serious, small_targets, too_wide
from tests.desk.web.served import served
from tests.desk.web.test_evening import truth_of
from tests.desk.web.test_journey import PHONE, browser, pytestmark

__all__ = ["browser", "pytestmark"]


def test_a_host_lets_the_table_learn_and_forget(browser: Any, tmp_path: Path, table: Path) -> None:
    with served(furnished(tmp_path / "data", table), tmp_path / "archive") as running:
        page = browser.new_context(**PHONE).new_page()
        evening = kept_evening(page.request, running.address)
        page.goto(f"{running.address}/#/e/{evening}/1/tally")
        page.click("[data-key=learn]")
        page.wait_for_selector("text=The table has learned from these boards")
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert serious(page) == []
        assert too_wide(page) == []
        assert small_targets(page) == []
        page.click("[data-key=forget]")
        page.wait_for_selector("[data-key=learn]")


def kept_evening(request: Any, address: str) -> str:
    """An evening whose game is read, answered with the truth, and kept; its name."""
    tell = {"headers": {"X-Tallyglass": "1"}, "fail_on_status_code": True}
    form = {"name": "Thursday", "table": TABLE, "players": list(PLAYERS)}
    evening = request.post(f"{address}/api/evenings", data=form, **tell).json()["id"]
    at = f"{address}/api/evenings/{evening}"
    for seat, player in enumerate(PLAYERS):
        data = photo_of(player)
        digest = hashlib.sha256(data).hexdigest()
        where = f"{at}/games/1/boards/{seat}/photo?upload=lesson-{seat}-0&sha256={digest}"
        request.put(where, data=data, **tell)
    for _ in range(2000):
        game = request.get(at, **tell).json()["games"][0]
        if not (game["fresh"] and game["view"] and len(game["view"]["boards"]) == len(PLAYERS)):
            continue
        if not game["view"]["questions"]:
            break
        first = game["view"]["questions"][0]
        colour = truth_of(first["player"])[first["cell"]]
        answer = {"seat": first["seat"], "cell": first["cell"], "colour": colour, "by": "Ana"}
        request.post(f"{at}/games/1/answers", data=answer, **tell)
    request.post(f"{at}/games/1/keep", data={"by": "Ana"}, **tell)
    return str(evening)
