"""What is fuzzed: each target takes any bytes and raises only where the program is at fault.

A target is made once (`make`), which also gives its seeds: real inputs, from which a fuzzer sets
out. What strangers may get wrong ends in a TallyglassError, which is no fault; any other
exception, and an answer of the web desk of 500 and above, is.
"""

from __future__ import annotations

import contextlib
import io
import json
import zipfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibrate.store import PARTS
from desk.archive import Archive
from desk.board_svg import read_drawing
from desk.given import load_claims, parse_corners
from desk.keeping.content import ordered, seal_of
from desk.keeping.pack import export
from desk.keeping.unpack import import_zip
from desk.metadata import strip_metadata
from desk.sheet_cards import Typed, with_card
from desk.table_file import unpacked_table
from scoring.errors import TallyglassError
from scoring.grid import parse_grid
from scoring.sheet import GameSheet, load_sheet, parse_sheet
from scoring.tally import tally
from tests.desk.practice import PRACTICE, SAMPLES, SHEET
from tests.desk.saving import game
from tests.odd_files import READABLE
from vision.decode import load_photo

MOST_CELLS_TALLIED = 60


@dataclass(frozen=True)
class Target:
    """``try_it`` takes any bytes; ``seeds`` are inputs that it is meant for; ``end`` tidies up."""

    try_it: Callable[[bytes], None]
    seeds: list[bytes]
    end: Callable[[], object] = lambda: None


def photo(_: Path) -> Target:
    """Photos: what is read, and what is kept of it is read alike."""

    def try_it(data: bytes) -> None:
        with contextlib.suppress(TallyglassError):
            read = load_photo(data, "photo")
            kept, _ = strip_metadata(data)
            again = load_photo(kept, "photo")
            assert again.full_size_px == read.full_size_px

    return Target(try_it, [make() for make in READABLE.values()])


def sheet(_: Path) -> Target:
    """Game sheets, and a tally of a board that is full of the first colour."""

    def try_it(data: bytes) -> None:
        with contextlib.suppress(TallyglassError):
            tally_of_one_colour(parse_sheet(data.decode("utf-8", "replace")))

    return Target(try_it, [path.read_bytes() for path in sorted(SAMPLES.glob("sheets/*.toml"))])


def tally_of_one_colour(sheet: GameSheet) -> None:
    cells = list(sheet.lattice.neighbours)[:MOST_CELLS_TALLIED]
    rest = dict.fromkeys(sheet.lattice.neighbours, "empty")
    grid = rest | dict.fromkeys(cells, sheet.colours[0].name)
    claims = {"Ana": [card.name for card in sheet.cards]}
    tally(sheet, {"Ana": grid, "Ben": rest}, claims)


def card(_: Path) -> Target:
    """Drawings of cards, typed in letters."""
    text = SHEET.read_text("utf-8")

    def try_it(data: bytes) -> None:
        with contextlib.suppress(TallyglassError):
            drawn = data.decode("utf-8", "replace")
            tally_of_one_colour(parse_sheet(with_card(text, Typed("New", 3, drawn))))

    return Target(try_it, [b"M M\n * S", b"M . R\n _ 1\n1 2 2", b"R"])


def grid(_: Path) -> Target:
    """Plans of known layouts."""
    known = load_sheet(SHEET)

    def try_it(data: bytes) -> None:
        with contextlib.suppress(TallyglassError):
            parse_grid(data.decode("utf-8", "replace"), known)

    return Target(try_it, [(PRACTICE / "layout.txt").read_bytes()])


def claims(folder: Path) -> Target:
    """Claims, and corners as people type them."""

    def try_it(data: bytes) -> None:
        path = folder / "claims.toml"
        path.write_bytes(data)
        with contextlib.suppress(TallyglassError):
            load_claims(path)
        with contextlib.suppress(TallyglassError):
            parse_corners(data.decode("utf-8", "replace").split())

    return Target(try_it, [(PRACTICE / "claims.toml").read_bytes(), b"1,2 3,4 5,6 7,8"])


def drawing(folder: Path) -> Target:
    """Boards drawn as SVG."""

    def try_it(data: bytes) -> None:
        path = folder / "drawing.svg"
        path.write_bytes(data)
        with contextlib.suppress(TallyglassError):
            read_drawing(path, None)

    head = '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="9mm" viewBox="0 0 90 9">'
    cells = [f'<path d="M{10 * n} 1h8v8h-8z"/>' for n in range(4)]
    odd = '<g transform="rotate(9)"><use href="#a"/><circle id="a" cx="5" cy="5" r="3"/></g>'
    return Target(try_it, [f"{head}{''.join(cells)}{odd}</svg>".encode()])


def table(folder: Path) -> Target:
    """Table files: the first byte says which part the others take the place of."""
    from desk.web.demo_evening import learn_practice_table

    learn_practice_table(folder / "known.table")
    with zipfile.ZipFile(folder / "known.table") as known:
        parts = {part: known.read(part) for part in PARTS}
    small = {name: data for name, data in parts.items() if name.endswith((".json", ".toml"))}

    def try_it(data: bytes) -> None:
        part = PARTS[data[0] % len(PARTS)] if data else PARTS[0]
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as out:
            for name, known in parts.items():
                out.writestr(name, data[1:] if name == part else known)
        with contextlib.suppress(TallyglassError):
            unpacked_table(packed.getvalue(), "odd.table")

    return Target(try_it, [bytes([PARTS.index(name)]) + data for name, data in small.items()])


def archive(folder: Path) -> Target:
    """Archives to import: the first byte says which part the others take the place of.

    A game gets the seal and name that fit it, as a stranger would give it.
    """
    source = Archive(folder / "source")
    source.save(game(1))
    source.save(game(2, ("Ana", "Jo")))
    export(source, folder / "good.zip")
    with zipfile.ZipFile(folder / "good.zip") as packed:
        parts = {part: packed.read(part) for part in packed.namelist()}
    names = sorted(parts)
    target = Archive(folder / "target")

    def try_it(data: bytes) -> None:
        name = names[data[0] % len(names)] if data else names[0]
        changed = {part: known for part, known in parts.items() if part != name}
        changed |= sealed(name, data[1:])
        with zipfile.ZipFile(folder / "odd.zip", "w") as out:
            for part, known in changed.items():
                out.writestr(part, known)
        with contextlib.suppress(TallyglassError):
            import_zip(target, folder / "odd.zip")

    return Target(try_it, [bytes([names.index(name)]) + parts[name] for name in names])


def sealed(name: str, data: bytes) -> dict[str, bytes]:
    """A part, or a game with its seal and name made to fit where it has the form of one."""
    if name.startswith("games/"):
        with contextlib.suppress(ValueError, KeyError, TypeError, AttributeError, RecursionError):
            value = json.loads(data)
            uid = seal_of(ordered(value))
            return {f"games/{uid}.json": json.dumps(value | {"uid": uid}).encode()}
    return {name: data}


def api(folder: Path) -> Target:
    """The web desk: the first byte says which of its ways in the others are sent to."""
    from starlette.testclient import TestClient

    from desk.web.app import Desk, create_app
    from desk.web.guard import Door
    from desk.web.serving import first_things

    first_things(folder / "data")
    (folder / "data" / "tables").mkdir(exist_ok=True)
    from desk.web.demo_evening import PRACTICE_TABLE, learn_practice_table

    learn_practice_table(folder / "data" / "tables" / f"{PRACTICE_TABLE}.table")
    door = Door(frozenset({"127.0.0.1"}), needs_session=False)
    desk = Desk(folder / "data", folder / "kept", door, "http://127.0.0.1:8723", niceness=0)
    browser = TestClient(create_app(desk), base_url="http://127.0.0.1:8723")
    browser.headers["X-Tallyglass"] = "1"
    running = contextlib.ExitStack()
    running.enter_context(browser)
    form = {"name": "Fuzz", "table": PRACTICE_TABLE, "players": ["Ana", "Ben"]}
    made = browser.post("/api/evenings", json=form).json()
    ways = list(ways_in(browser.get("/api/openapi.json").json(), made["id"]))

    def try_it(data: bytes) -> None:
        method, path = ways[data[0] % len(ways)] if data else ways[0]
        answer = browser.request(method, path, content=data[1:])
        assert answer.status_code < 500, (method, path, answer.text)
        if answer.status_code >= 400:
            assert answer.json()["problem"]

    seeds = [bytes([n]) + body for n in range(len(ways)) for body in bodies(form)]
    return Target(try_it, seeds, running.close)


def ways_in(described: dict[str, Any], evening: str) -> Iterator[tuple[str, str]]:
    """Method and path of all that takes a body, with ids that exist in place of the names."""
    known = {"id": evening, "seat": "0", "sheet": "penmarrow", "table": "fuzz", "kind": "empty"}
    for path, methods in described["paths"].items():
        for method, about in methods.items():
            if method != "get" and "requestBody" in about:
                yield method.upper(), path.format_map(defaultdict(lambda: "1", known))


def bodies(evening: dict[str, Any]) -> list[bytes]:
    """One body for each kind of form."""
    corners = [[9, 9], [90, 9], [90, 90], [9, 90]]
    forms: list[dict[str, Any]] = [
        evening,
        {"name": "New", "sheet": "penmarrow"},
        {"seat": 0, "cell": "A1", "colour": "moss", "by": "Ana"},
        {"cards": ["Bell Rope"], "facts": [], "seats": [0, 1]},
        {"corners_px": corners, "kind": "empty", "number": 0},
        {"plan": "A: M S\n", "text": SHEET.read_text("utf-8")[:2000]},
        {"name": "Card", "points": 3, "pattern": "M M", "version": 1},
    ]
    return [json.dumps(form).encode() for form in forms]


TARGETS: dict[str, Callable[[Path], Target]] = {
    "photo": photo,
    "sheet": sheet,
    "card": card,
    "grid": grid,
    "claims": claims,
    "drawing": drawing,
    "table": table,
    "archive": archive,
    "api": api,
}
