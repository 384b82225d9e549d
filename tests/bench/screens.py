"""Every screen of the web desk as pictures, to be looked at by whoever changes one.

    python tests/bench/screens.py OUT [--only tally,ask]

A real desk is served on its demo. Each screen is taken as a phone of 360 x 740 and as a laptop of
1280 x 800, light and dark, and as a phone of 320 px with the text at 200 %; the tally also as PDF.
What axe-core finds serious, what is cut off or wider than the screen, and what is smaller than a
thumb is printed; the exit code is 1 where there is any.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from desk.web.demo_evening import PRACTICE_TABLE as TABLE  # noqa: E402
from tests.desk.practice import PRACTICE  # noqa: E402
from tests.desk.web.looks import serious, small_targets, too_wide  # noqa: E402
from tests.desk.web.served import served  # noqa: E402
from tests.desk.web.test_journey import ARGUMENTS, CHROMIUM  # noqa: E402

SIZES = {
    "360": {"viewport": {"width": 360, "height": 740}, "is_mobile": True, "has_touch": True},
    "1280": {"viewport": {"width": 1280, "height": 800}},
    "320x2": {"viewport": {"width": 320, "height": 640}, "is_mobile": True, "has_touch": True},
}

Screen = tuple[str, str, str, str]
"""Name, address, what to press (or nothing), what is there once it is shown."""


def screens(evening: str, calibration: str, kept: int) -> list[Screen]:
    """Every screen, and every dialog."""
    first, second = f"#/e/{evening}/1", f"#/e/{evening}/2"
    return [
        ("home", "#/", "", "text=New evening"),
        ("new", "#/new", "", "form"),
        ("boards", f"{first}/boards", "", "[data-key=open-2]"),
        ("board", f"{first}/board/1", "", "[data-cell=C4]"),
        ("cell", f"{first}/board/1", "[data-cell=C4]", "dialog"),
        ("corners", f"{first}/corners/0", "", ".pick"),
        ("refused", f"#/e/{evening}/3/boards", "", "text=Show its corners"),
        ("ask", f"{first}/ask", "", ".ask"),
        ("claims", f"{first}/claims", "", "[data-key='where-Chimney Seat']"),
        ("claim-lit", f"{first}/claims", "[data-key='where-Chimney Seat']", "dialog"),
        ("tally", f"{first}/tally", "", "td button"),
        ("proof", f"{first}/tally", "td button >> nth=0", "dialog"),
        ("teach", f"{second}/teach", "", "text=One piece away"),
        ("learn", "#/calibrate", "", "form"),
        ("calibration", f"#/calibrate/{calibration}", "", "text=Play with this table"),
        ("calibration-corners", f"#/calibrate/{calibration}/corners", "", ".pick"),
        ("archive", "#/archive", "", "a.line"),
        ("kept", f"#/archive/{kept}", "", "td button"),
        ("standings", "#/standings", "", "h2"),
        ("phones", "#/phones", "", "h1"),
        ("tables", "#/tables", "", ".card"),
        ("trial", f"#/tables/{TABLE}/trial", "", ".layout"),
        ("count", f"#/tables/{TABLE}/count", "", ".file"),
        ("colours", "#/sheets/penmarrow/colours", "", ".file"),
        ("card", "#/sheets/penmarrow/card", "", ".file"),
        ("sheets", "#/sheets", "", "a.line"),
        ("sheet", "#/sheets/penmarrow", "", ".card"),
        ("sheet-new", "#/sheets/new", "", "h1"),
        ("missing", f"#/e/{evening}/3/tally", "", "h1"),
        ("interface", "api", "", "section"),
    ]


def furnished(address: str) -> tuple[str, str, int]:
    """The demo's evening, a calibration that is done, and a game that was kept."""
    with httpx.Client(base_url=address, headers={"X-Tallyglass": "1"}, timeout=60) as phone:
        id = phone.get("/api/desk").json()["evenings"][0]["id"]
        evening = f"/api/evenings/{id}"
        until(lambda: all(game["view"] for game in phone.get(evening).json()["games"]))
        kept = phone.post(f"{evening}/games/1/keep", json={}).json()["number"]
        phone.post(f"{evening}/games", json={})
        table_top = (PRACTICE / "empty-1.jpg").read_bytes()
        phone.put(f"{evening}/games/3/boards/0/photo?upload=no-board", content=table_top)
        corners = {"corners_px": [[10, 10], [400, 10], [400, 300], [10, 300]]}
        phone.post(f"{evening}/games/3/boards/0/corners", json=corners)
        form = {"name": "Kitchen", "sheet": "penmarrow"}
        made = phone.post("/api/calibrations", json=form).json()["id"]
        for kind in ("empty", "layout"):
            path = f"/api/calibrations/{made}/{kind}/photo?upload=screen-{kind}"
            phone.put(path, content=(PRACTICE / f"{kind}-1.jpg").read_bytes())
        until(lambda: phone.get(f"/api/calibrations/{made}").json()["table"])
        return id, made, kept


def until(so: Any) -> None:
    """Wait until it is so."""
    for _ in range(1200):
        if so():
            return
        time.sleep(0.1)
    raise SystemExit("The desk did not come so far in two minutes.")


def taken(browser: Any, address: str, wanted: list[Screen], out: Path) -> Iterator[str]:
    """Take every picture; what is wrong, line by line."""
    for size, viewport in SIZES.items():
        for scheme in ("light", "dark") if size != "320x2" else ("light",):
            context = browser.new_context(
                **viewport, color_scheme=scheme, reduced_motion="reduce", base_url=address
            )
            page = context.new_page()
            for name, path, press, shows in wanted:
                page.goto("about:blank")
                page.goto(f"/{path}")
                if press:
                    page.click(press)
                page.wait_for_selector(shows)
                if size == "320x2":
                    page.evaluate("document.documentElement.style.fontSize = '200%'")
                page.wait_for_timeout(150)
                wrong = [*serious(page), *too_wide(page), *small_targets(page)]
                yield from (f"{name} {size} {scheme}: {words}" for words in wrong)
                page.screenshot(path=out / f"{name}-{size}-{scheme}.png", full_page=True)
                if name == "tally" and size == "1280" and scheme == "light":
                    page.pdf(path=out / "tally.pdf", prefer_css_page_size=True)
            context.close()


def main() -> None:
    """Take them all."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--only", default="", help="names of screens, with commas")
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    only = given.only.split(",") if given.only else None
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder), None, "--demo") as desk,
        sync_playwright() as playwright,
    ):
        wanted = [one for one in screens(*furnished(desk.address)) if not only or one[0] in only]
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(ARGUMENTS))
        wrong = list(taken(chromium, desk.address, wanted, given.out))
        chromium.close()
    print(*wrong, f"{len(wrong)} things to put right", sep="\n")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
