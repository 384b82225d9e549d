"""From the first page to the shared tally in real Chromium, as a phone, with real photo files."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from desk.web.serving import ServingError, own_address
from samples.penmarrow import load_penmarrow
from scoring.legality import liftable_pieces, places_for_next
from tests.desk.practice import PRACTICE
from tests.desk.web.conftest import PLAYERS, furnished
from tests.desk.web.looks import serious, small_targets, too_wide
from tests.desk.web.served import Served, served

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
PHONE = {
    "viewport": {"width": 360, "height": 740},
    "is_mobile": True,
    "has_touch": True,
    "reduced_motion": "reduce",
}
WAIT_MS = 120_000
MARKUP = "<img src=x onerror=alert(1)>"

pytestmark = pytest.mark.skipif(
    not CHROMIUM.exists(), reason="there is no /usr/bin/chromium to drive on this machine"
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(ARGUMENTS))
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, table: Path) -> Iterator[Served]:
    """A desk that phones enter by a code; on this machine only where there is no network."""
    folder = tmp_path_factory.mktemp("journey")
    try:
        own_address()
        lan = ["--lan"]
    except ServingError:
        lan = []
    with served(furnished(folder / "data", table), folder / "archive", *lan) as running:
        yield running


@pytest.fixture(scope="module")
def address(desk: Served) -> str:
    return desk.address


@pytest.fixture(scope="module")
def host_session(browser: Any, desk: Served) -> Any:
    """The cookies of the phone that scanned the code in the terminal; without a code, none."""
    context = browser.new_context()
    if path := re.search(r"/join\?key=\S+", desk.said):
        page = context.new_page()
        assert page.goto(desk.address).status == 401
        page.goto(desk.address + path[0])
        page.wait_for_selector("text=New evening")
    return context.storage_state()


class Phone:
    """A phone at the table: a page, what went wrong on it, every address it asked for."""

    def __init__(self, browser: Any, address: str, **more: Any) -> None:
        self.page = browser.new_context(**(PHONE | more)).new_page()
        self.page.set_default_timeout(WAIT_MS)
        self.address = address
        self.errors: list[str] = []
        self.asked: set[str] = set()
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self.heard)
        self.page.on("request", lambda request: self.asked.add(request.url))

    def heard(self, message: Any) -> None:
        if message.type == "error":
            self.errors.append(message.text)

    def go(self, path: str, shows: str = "h1") -> None:
        self.page.goto(self.address + path)
        self.page.wait_for_selector(shows)

    def press(self, selector: str, shows: str) -> None:
        self.page.click(selector)
        self.page.wait_for_selector(shows)

    def check(self, name: str) -> None:
        """Nothing serious for axe in light and in dark, nothing wider than the screen."""
        for scheme in ("light", "dark"):
            self.page.emulate_media(color_scheme=scheme)
            found = serious(self.page)
            assert found == [], f"{name}, {scheme}: {found}"
        assert too_wide(self.page) == [], name
        assert small_targets(self.page) == [], name

    def clean(self) -> None:
        assert self.errors == []
        outside = {
            url for url in self.asked if not url.startswith((self.address, "data:", "blob:"))
        }
        assert outside == set()


def totals(phone: Phone) -> list[str]:
    """The totals beside a question, a line a player."""
    return "\n".join(phone.page.locator("ul.totals").all_inner_texts()).splitlines()


def other_totals(phone: Phone, before: list[str]) -> list[str]:
    """The totals once they are others; while the screen is drawn anew there may be none."""
    seen = [before]

    def moved() -> bool:
        seen.append(totals(phone))
        return len(seen[-1]) == len(before) and seen[-1] != before

    until(phone, moved)
    return seen[-1]


def until(phone: Phone, so: Callable[[], bool]) -> None:
    """Wait until a screen shows it; asked from here, for the page's own policy forbids eval."""
    for _ in range(WAIT_MS // 100):
        if so():
            return
        phone.page.wait_for_timeout(100)
    raise AssertionError("the screen never showed it")


def numbers(line: str) -> tuple[int, int, int]:
    """The total in such a line, and the totals between which it lies."""
    total, *span = (int(number) for number in re.findall(r"-?\d+", line))
    low, high = span or (total, total)
    return total, low, high


def joined(browser: Any, host: Phone, **more: Any) -> Phone:
    """A further phone, let in by the code that the host's phone shows."""
    second = Phone(browser, host.address, **more)
    here = host.page.evaluate("location.hash")
    host.go("/#/phones", "h1:has-text('Phones')")
    if host.page.query_selector("text=Let one more phone in"):
        host.press("text=Let one more phone in", ".qr img")
        host.check("phones")
        second.go(host.page.inner_text("code").removeprefix(host.address), "text=New evening")
    host.go(f"/{here}", "[data-key=open-2]")
    return second


def test_a_whole_evening_on_two_phones(
    browser: Any, address: str, host_session: Any, tmp_path: Path
):
    host = Phone(browser, address, storage_state=host_session)
    page = host.page

    # The first page, and a table learned on the phone.
    host.go("/")
    host.check("home")
    host.press("text=Learn a table", "form")
    host.check("learn")
    page.fill("input[type=text]", "Kitchen")
    host.press("text=Go on", ".layout")
    page.set_input_files("[data-key=cal-empty-gallery]", PRACTICE / "empty-1.jpg")
    page.wait_for_selector("text=marks are seen")
    page.set_input_files("[data-key=cal-layout-gallery]", PRACTICE / "layout-1.jpg")
    page.wait_for_selector("text=Play with this table")
    host.check("calibration")

    # Its trial: the layout still lies there and a few pieces change places, or it is laid anew.
    host.press("text=Try it first", "ol.moves li")
    exchanged = page.input_value("[name=plan]")
    assert "change places" in page.inner_text("main")
    host.check("trial-exchange")
    host.press("[data-key=anew]", "text=Lay the pieces as in the picture")
    assert page.input_value("[name=plan]") != exchanged
    host.press("[data-key=anew]", "ol.moves li")
    assert page.input_value("[name=plan]") == exchanged
    page.go_back()
    host.press("text=Show the board", ".pick")
    page.focus(".handle")
    before = page.get_attribute(".handle", "aria-valuetext")
    page.keyboard.press("Shift+ArrowRight")
    assert page.get_attribute(".handle", "aria-valuetext") != before
    host.check("calibration-corners")

    # An evening, three boards.
    host.go("/#/new", "form")
    assert page.input_value("input[name=player] >> nth=1") == "Player 2"  # taken, or typed over
    for number, player in enumerate(PLAYERS):
        page.fill(f"input[name=player] >> nth={number}", player)
    page.select_option("select", "penmarrow-practice")
    page.fill("form input >> nth=0", MARKUP)
    host.check("new")
    host.press("text=Begin", "nav.tabs")
    assert MARKUP in page.inner_text("main")
    assert page.query_selector("main img[src=x]") is None
    host.check("boards-empty")
    for seat, player in enumerate(PLAYERS):
        photo = PRACTICE / "game" / f"{player.lower()}.jpg"
        page.set_input_files(f"[data-key=seat-{seat}-gallery]", photo)
    page.wait_for_selector("[data-key=open-2]")
    page.wait_for_selector(".count")
    host.check("boards")

    # A reload in the middle loses nothing; a second phone sees the same.
    page.reload()
    page.wait_for_selector("[data-key=open-2]")
    second = joined(browser, host, viewport={"width": 1280, "height": 800})
    second.go(f"/{page.evaluate('location.hash')}", "[data-key=open-2]")
    second.check("boards-wide")

    # Correct a cell by hand, with the keyboard.
    host.press("[data-key=open-0]", "[data-cell=C4]")
    host.check("board")
    page.focus("[data-cell=A1]")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.dataset.cell") == "A2"
    page.keyboard.press("Enter")
    page.wait_for_selector("dialog")
    host.check("cell")
    page.click("dialog >> .choice >> nth=0")
    page.wait_for_selector("[data-cell=A2] .answered")

    # Answer until nothing is asked.
    host.press("[data-key=tab-ask]", "h1")
    page.wait_for_selector(".ask")
    host.check("ask")

    # An answer moves the total and its range, on both phones, and outlives a reload.
    before, title = totals(host), page.inner_text("h1")
    asked = title.partition(",")[0]
    second.go(f"/{page.evaluate('location.hash')}", ".ask")
    assert totals(second) == before
    page.click("[data-key=choice-2]")
    after = other_totals(host, before)
    (moved,) = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert all(line.startswith(asked) for line in moved)
    (total, low, high), (new_total, new_low, new_high) = (numbers(line) for line in moved)
    assert total != new_total
    assert new_high - new_low < high - low
    until(second, lambda: totals(second) == after)
    page.reload()
    page.wait_for_selector("ul.totals")
    assert totals(host) == after
    for _ in range(60):  # second choices are lies, and more of a colour than the box holds is asked
        page.wait_for_selector(".ask, a:has-text('To the tally')")
        if not page.query_selector(".ask"):
            break
        title = page.inner_text("h1")
        page.click("[data-key=choice-1]")
        until(host, lambda title=title: page.inner_text("h1") != title)
    page.wait_for_selector("text=To the tally")
    host.check("asked")

    # Claims, with the place lit up.
    host.press("[data-key=tab-claims]", ".claim")
    page.click("[data-key='claim-Gull Walk']")
    page.wait_for_selector("[data-key='where-Gull Walk']")
    host.check("claims")
    host.press("[data-key='where-Gull Walk']", "dialog svg .lit")
    host.check("claim-lit")
    page.click("dialog >> text=Close")
    second.go(f"/{page.evaluate('location.hash')}", "[data-key='where-Gull Walk']")

    # The tally, a proof, everything to share, the archive.
    host.press("[data-key=tab-tally]", "td button")
    host.check("tally")
    host.press("td button >> nth=-1", "dialog")
    host.check("proof")
    page.click("dialog >> text=Close")
    for words, start in (("Picture (PNG)", b"\x89PNG"), ("PDF", b"%PDF")):
        with page.expect_download() as download:
            page.click(f"a:has-text('{words}') >> nth=-1")
        download.value.save_as(tmp_path / words)
        assert (tmp_path / words).read_bytes().startswith(start)
    page.click("text=Keep in the archive")
    page.wait_for_selector("text=Kept in the archive as")
    host.press("[data-key=tab-teach]", "text=One piece away")
    host.check("teach")
    host.go("/#/archive", ".line")
    host.check("archive")
    host.press(".line >> nth=0", "td button")
    host.check("kept")
    lines = page.locator("tbody th").all_inner_texts()
    assert lines[-3:] == ["groups of three or more", "copper slates", "gaps in the roof"], lines
    host.go("/#/standings", "td")
    host.check("standings")
    host.clean()
    second.clean()


def test_the_demo_opens_on_a_game_and_teaches(browser: Any, tmp_path: Path, table: Path):
    """Boards, doubts and questions at once; the second game is a board in mid-game.

    Where a piece may lie and what may be lifted is worked out here from what was truly laid.
    """
    (tmp_path / "demo" / "tables").mkdir(parents=True)
    shutil.copy(table, tmp_path / "demo" / "tables" / "penmarrow-practice.table")
    with served(tmp_path, None, "--demo") as desk:
        phone = Phone(browser, desk.address)
        phone.go("/", "[data-key=open-2]")
        phone.page.wait_for_selector(".count")
        assert "Demo." in phone.page.inner_text(".demo")
        phone.page.click("[data-key=tab-tally]")
        phone.page.wait_for_selector("td button")
        phone.go(phone.page.url.removeprefix(desk.address).replace("/1/tally", "/2/teach"))
        phone.page.wait_for_selector("text=One piece away")
        phone.check("teach")
        said = phone.page.inner_text("main")
        phone.go("/#/archive", "text=No game is kept yet")
        phone.clean()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["demo", "served.log"]
    laid = json.loads((PRACTICE / "truth.json").read_text("utf-8"))["photos"]["mid-game.jpg"]
    sheet = load_penmarrow()
    grid = laid["labels"]
    assert " ".join(places_for_next(sheet, grid)) in said
    lifted = liftable_pieces(sheet, grid)
    assert f"{len(lifted)} pieces may be lifted" in said
    named = dict(re.findall(r"^([A-G]\d) ([a-z]+(?: \(unsure\))?) ", said, re.MULTILINE))
    unsure = {cell for cell, colour in named.items() if colour.endswith("(unsure)")}
    assert len(unsure) <= 2
    told = {cell: colour for cell, colour in named.items() if cell not in unsure}
    assert told == {cell: grid[cell] for cell in lifted if cell not in unsure}


def test_a_narrow_screen_with_double_text_loses_nothing(
    browser: Any, address: str, host_session: Any
):
    narrow = {"width": 320, "height": 640}
    phone = Phone(browser, address, viewport=narrow, storage_state=host_session)
    for path in ("/", "/#/new", "/#/calibrate", "/#/archive", "/#/phones", "/api"):
        phone.go(path)
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
        wide = phone.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, path
    phone.clean()
