"""From an unknown box to the first trusted tally: what a person does, how long the machine takes.

    python tests/bench/newcomer.py [--seeds 3] [--difficulty 0.4] [--list]

For each of the three invented games a new box is made (its board printed without corner marks, its
pieces, its cards) and photographed in a light of its own. A newcomer then goes through the desk's
interface, as the page does: sheet from a photo of the empty board, colours from a row under the
names that are proposed, a table learned from that first photo and two of a known layout, a trial
for which some of its pieces change places, all cards in one photo (2000 by 1500 px, a quarter of
what a phone saves; what is not found in it is photographed again), and the game of two players up
to their totals, a board snapped once more where the page proposes it. The program never sees the
game's own sheet. Whatever it asks is answered with the truth, and each act of a person is counted:
photos, taps, words and numbers typed, pieces and cards laid, and a look at each picture that must
be right: for the cards of one photo two, at the picture in which all of them stand with their
letters and at their drawings. Rules are those that a new sheet begins with, for others are written
in its text. The tally must be the truth.

Seconds an act are by hand, no source, and meant to be more than a patient person needs.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import product
from pathlib import Path
from typing import Any

import cv2
import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

from desk.web.app import Desk, create_app
from desk.web.guard import Door
from samples.cards import card_board, invent_edition, piece_paints
from samples.conditions import Conditions
from samples.finish import encode
from samples.game import Game, draw_game
from samples.kits import Kit, sheet_kit
from samples.laid_cards import CardsShot, take_cards
from samples.photographer import Shot, empty_grid, take_photo
from samples.spread import take_row
from scoring.grid import parse_grid
from scoring.rules import Card, Cards, Groups
from scoring.sheet import GameSheet, load_sheet, parse_sheet
from scoring.tally import tally
from scoring.types import EMPTY
from tests.bench.cards import to_level, top_of

SHEETS = Path(__file__).resolve().parents[2] / "samples" / "sheets"
NAMES = ("penmarrow", "lanternfen", "tarrowfold")
PLAYERS = ("Player 1", "Player 2")
TAP_PX = 4.0
QUARTER_MIN = 15

SECONDS = {
    "photo": 20, "tap": 3, "corner": 10, "answer": 10, "word": 12, "number": 6, "piece": 4,
    "look": 20,
}  # fmt: skip
"""Of a person, by act; by hand, no source. A look is at a picture that must be right."""


@dataclass
class Diary:
    """What was done in each stage: acts of the person, seconds of the machine."""

    acts: dict[str, Counter[str]] = field(default_factory=dict)
    machine_s: Counter[str] = field(default_factory=Counter)
    stage: str = ""

    @contextmanager
    def begun(self, stage: str) -> Iterator[None]:
        """A stage; what is done inside belongs to it."""
        self.stage = stage
        self.acts[stage] = Counter()
        started = time.monotonic()
        yield
        self.machine_s[stage] = time.monotonic() - started  # making the photos is taken out

    def did(self, act: str, times: int = 1) -> None:
        """The person did something."""
        self.acts[self.stage][act] += times

    def person_s(self, stage: str) -> int:
        """Seconds of the person in a stage."""
        return sum(SECONDS[act] * times for act, times in self.acts[stage].items())


class Unmet(Exception):
    """The newcomer could not go on, or the tally is not the truth."""


@dataclass
class Newcomer:
    """One person with one unknown box in front of the desk; ``colours`` and ``cards`` are the names
    that were taken for them, by their names in the box."""

    client: TestClient
    true: GameSheet
    kit: Kit
    light: Conditions
    difficulty: float
    seed: int
    rng: np.random.Generator
    diary: Diary = field(default_factory=Diary)
    sheet: str = ""
    table: str = ""
    taken_s: float = 0.0
    colours: dict[str, str] = field(default_factory=dict)
    cards: dict[str, str] = field(default_factory=dict)

    def post(self, path: str, form: Mapping[str, Any]) -> dict[str, Any]:
        """What the desk answers. Raises Unmet where it refuses."""
        answer = self.client.post(f"/api{path}", json=dict(form))
        if answer.status_code >= 400:
            raise Unmet(f"{path}: {answer.json()['problem']}")
        return answer.json()

    def send(self, path: str, jpeg: bytes) -> dict[str, Any]:
        """A photo sent: one act."""
        self.diary.did("photo")
        upload = f"newcomer-{self.rng.integers(10**9):09d}"
        answer = self.client.put(f"/api{path}?upload={upload}&name=photo.jpg", content=jpeg)
        if answer.status_code >= 400:
            raise Unmet(f"{path}: {answer.json()['problem']}")
        return answer.json()

    def laid(self, plan: str) -> dict[str, str]:
        """What lies where by a plan of the sheet that was made, in the box's own names."""
        names = {mine: true for true, mine in self.colours.items()} | {EMPTY: EMPTY}
        return {cell: names[colour] for cell, colour in parse_grid(plan, self.made()).items()}

    def snapped(self, grid: Mapping[str, str]) -> Shot:
        """A photo of the board with these pieces on it, by this table's light."""
        started = time.monotonic()
        stand = self.light.snapped(self.rng, self.difficulty)
        stand = replace(stand, dice=0, fingers=0)
        shot = take_photo(self.kit.board, grid, stand, self.rng)
        self.taken_s += time.monotonic() - started
        return shot

    def tapped(self, corners_px: Any) -> list[list[float]]:
        """Four corners as a person shows them."""
        self.diary.did("corner", 4)
        return (np.array(corners_px) + self.rng.uniform(-TAP_PX, TAP_PX, (4, 2))).tolist()

    def made(self) -> GameSheet:
        """The sheet that was made so far."""
        return parse_sheet(self.client.get(f"/api/sheets/{self.sheet}").json()["text"])

    def wait(self, path: str, done: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """A state, once it is so."""
        until = time.monotonic() + 300
        while not done(state := self.client.get(f"/api{path}").json()):
            if time.monotonic() > until:
                raise Unmet(f"{path} did not come so far in five minutes")
            time.sleep(0.05)
        return state


def board_and_colours(one: Newcomer) -> None:
    """The empty board, its corners, its size; wrong cells tapped; where building begins; a row."""
    lattice = one.true.lattice
    shot = one.snapped(empty_grid(one.kit.board))
    sent = one.send("/boards/photo", shot.jpeg())
    size = list(lattice.board_size_mm)
    form: dict[str, Any] = {"photo": sent["photo"], "size_mm": size, "cells": [], "anchors": []}
    form["corners_px"] = one.tapped(shot.truth.board_corners_px)
    one.diary.did("number", 2)
    seen = one.post("/boards/proposal", form)
    one.diary.did("look")
    centres = {place.id: place.centre_mm for place in one.kit.board.places}
    found = {id: np.mean(outline, axis=0) for id, outline in seen["outlines"].items()}
    if set(found) != set(centres):
        raise Unmet(f"the proposal has {len(found)} cells, not {len(centres)}")
    anchored(one, form)
    colours = [colour.name for colour in one.true.colours]
    names = row_names(one, form, colours)
    one.colours = dict(zip(colours, names, strict=True))
    one.diary.did("number")  # the height of a piece
    one.diary.did("tap")
    listed = [{"name": name} for name in names]
    height = one.true.piece_height_mm
    made = {"name": f"My game {one.seed}", "colours": listed, "piece_height_mm": height}
    one.sheet = one.post("/boards/sheet", form | made)["name"]


def anchored(one: Newcomer, form: dict[str, Any]) -> None:
    """Point at the edge where building begins, or at each anchor where no edge says it."""
    wanted = {cell.id for cell in one.true.lattice.cells if cell.anchor}
    width, height = one.true.lattice.board_size_mm
    middles = {place.id: place.centre_mm for place in one.kit.board.places}
    edges = ((width / 2, height - 1), (width / 2, 1.0), (1.0, height / 2), (width - 1, height / 2))
    tries = [[edge] for edge in edges] + [[middles[id] for id in sorted(wanted)]]
    one.diary.did("tap")  # taps mark anchors from now on
    for points in tries:
        form["anchors"] = [list(map(float, point)) for point in points]
        form["support"] = "all" if one.true.support == "all" else "any"
        if set(one.post("/boards/proposal", form)["anchors"]) == wanted:
            one.diary.did("tap", len(points))
            return
    raise Unmet("the anchors cannot be pointed at")


def row_names(one: Newcomer, form: Mapping[str, Any], colours: list[str]) -> list[str]:
    """The names proposed for a row of the pieces, from left to right as they were laid, once a
    look has shown that each piece has its line; else they are typed."""
    outline = np.array(one.true.lattice.cells[0].polygon_mm)
    paints = piece_paints(one.true, one.seed)
    started = time.monotonic()
    light = replace(one.light, tabletop="plain", dice=0, fingers=0, loose=0)
    shot = take_row(outline, one.true.piece_height_mm, paints, colours, light, one.rng)
    jpeg = encode(shot.pixels, 92)
    one.taken_s += time.monotonic() - started
    one.diary.did("piece", len(colours))
    row = one.send("/photos", jpeg)["photo"]
    told = one.post("/boards/colours", {**form, "row": row})
    names = [colour["name"] for colour in told["colours"]]
    one.diary.did("look")
    if len(names) == len(colours):
        return names
    one.diary.did("word", len(colours))
    return colours


def cards_photographed(one: Newcomer) -> None:
    """All cards with a pattern in one photo, those that are not found in it once more; asked inks
    answered, each card confirmed and given its points; the table is given the sheet with them."""
    edition = invent_edition(one.true, piece_paints(one.true, one.seed), one.seed)
    named: list[dict[str, Any]] = []
    waiting = list(one.true.cards)
    for _ in range(3):
        if waiting:
            waiting = cards_added(one, waiting, edition, named)
    if waiting:
        raise Unmet(f"{[card.name for card in waiting]} were not found on three photos")
    one.diary.did("tap")
    one.table = one.post(f"/shelf/{one.table}/sheet", {"sheet": one.sheet})["id"]


def cards_added(
    one: Newcomer, cards: list[Card], edition: Any, named: list[dict[str, Any]]
) -> list[Card]:
    """The cards of one photo added to the sheet; returns those that were not found in it. Inks that
    are known from it are added to ``named``."""
    shot, jpeg = cards_shot(one, cards, edition)
    one.diary.did("piece", len(cards))
    photo = one.send("/photos", jpeg)["photo"]
    path = f"/sheets/{one.sheet}/cards"
    told = one.post(f"{path}/photo", {"photo": photo, "table": one.table, "named": named})
    seen = [(card, number_at(card, shot)) for card in told.get("cards", ())]
    if any(number is None for _, number in seen):
        one.diary.did("tap")  # something that is no card is left out
    seen = [(card, number) for card, number in seen if number is not None]
    needs: dict[str, str] = {}
    for card, number in seen:
        needs |= true_needs(one, cards[number], shot.centres_px[number], card)
    all_cells = [cell for card, _ in seen for cell in card["cells"]]
    wrong = [c["id"] for c in all_cells if c["need"] and c["need"] != needs[c["id"]]]
    if wrong:
        raise Unmet(f"{wrong} were read wrongly without asking")
    for ink in told.get("inks", ()):
        asked = Counter(needs[cell] for cell in ink["cells"] if ink["doubt"] and cell in needs)
        one.diary.did("answer", len(asked))
    ways = [top_of(on_level(np.array(shot.corners_px[number]), card)) for card, number in seen]
    one.diary.did("tap", 1 + taps_for(ways))  # the button, and which sides are the tops
    one.diary.did("look", 2)  # at all cards with their letters, and at all drawings
    for (card, number), way in zip(seen, ways, strict=True):
        card_confirmed(one, cards[number], card, needs, way)
    colours = {colour.letter: colour.name for colour in one.made().colours}
    named += [
        {"colour": colours[needs[ink["cells"][0]]], "lab": ink["lab"]}
        for ink in told.get("inks", ())
        if needs.get(ink["cells"][0]) in colours
    ]
    found = {number for _, number in seen}
    return [card for number, card in enumerate(cards) if number not in found]


def cards_shot(one: Newcomer, cards: list[Card], edition: Any) -> tuple[CardsShot, bytes]:
    """The photo of these cards, laid before the one who takes it."""
    started = time.monotonic()
    boards = [card_board(one.true, card, edition, one.seed) for card in cards]
    stand = one.light.snapped(one.rng, one.difficulty)
    turn = float(one.rng.normal(0, 8))
    stand = replace(stand, dice=0, fingers=0, loose=0, size_px=(2000, 1500), turn_deg=turn)
    shot = take_cards(boards, 3, stand, one.rng)
    one.taken_s += time.monotonic() - started
    return shot, encode(shot.pixels, stand.jpeg_quality)


def number_at(card: Mapping[str, Any], shot: CardsShot) -> int | None:
    """Which of the laid cards lies where one was seen."""
    x, y = np.mean(card["card_px"], axis=0).tolist()
    rims = [np.array(corners, np.float32) for corners in shot.corners_px]
    inside = [cv2.pointPolygonTest(rim, (x, y), measureDist=False) >= 0 for rim in rims]
    return inside.index(True) if True in inside else None


def taps_for(ways: list[str]) -> int:
    """Taps until each card's top is named: the first one turns all cards that nobody has turned."""
    tops, turned, taps = ["up"] * len(ways), set[int](), 0
    for number, way in enumerate(ways):
        if tops[number] != way:
            taps += 1
            turned.add(number)
            tops = [top if k in turned - {number} else way for k, top in enumerate(tops)]
    return taps


def card_confirmed(
    one: Newcomer, card: Card, told: Mapping[str, Any], needs: Mapping[str, str], way: str
) -> None:
    """One card's points typed, its ticks set; added under the name proposed."""
    path = f"/sheets/{one.sheet}/cards"
    settled = [{"step": cell["step"], "need": needs[cell["id"]]} for cell in told["cells"]]
    drawn = one.post(f"{path}/pattern", {"cells": settled, "top": way})
    one.diary.did("number")
    ticks = {"turns": card.turns, "mirrors": card.mirrors, "each": card.each, "common": card.common}
    usual = {"turns": True, "mirrors": True, "each": False, "common": False}
    one.diary.did("tap", sum(ticks[key] != usual[key] for key in ticks))
    one.cards[card.name] = f"Card {len(one.cards) + 1}"
    one.post(path, {"name": one.cards[card.name], "points": card.points, **drawn, **ticks})


def true_needs(
    one: Newcomer, card: Card, centres_px: Mapping[str, Any], told: Mapping[str, Any]
) -> dict[str, str]:
    """What is printed in each cell that was seen, in the letters of the sheet that was made."""
    names = {colour.letter: colour.name for colour in one.true.colours}
    letters = {colour.name: colour.letter for colour in one.made().colours}
    level = on_level(np.array(list(centres_px.values())), told)
    found = {}
    for cell in told["cells"]:
        outline = np.array(cell["outline"])
        off = np.linalg.norm(level - outline.mean(axis=0), axis=1)
        need = card.pattern[int(off.argmin())].needs
        is_cell = off.min() < 0.3 * np.ptp(outline[:, 0])
        own = letters[one.colours[names[need]]] if need in names else need
        found[cell["id"]] = own if is_cell else "."
    return found


def on_level(points_px: np.ndarray, told: Mapping[str, Any]) -> np.ndarray:
    """Px of the levelled card of points (N, 2) of its photo."""
    return to_level(np.array(told["card_px"]), (told["width"], told["height"]), points_px)


def table_learned(one: Newcomer) -> None:
    """The photo of the empty board again, the known layout laid as the page says, two photos."""
    one.diary.did("tap", 2)
    form = {"name": f"My game {one.seed}", "sheet": one.sheet, "empty_of_sheet": True}
    path = f"/calibrations/{one.post('/calibrations', form)['id']}"
    grid = one.laid(one.client.get(f"/api{path}").json()["plan"])
    one.diary.did("piece", sum(colour != EMPTY for colour in grid.values()))
    for _ in range(2):
        one.send(f"{path}/layout/photo", one.snapped(grid).jpeg())
    state = one.wait(path, lambda state: not state["busy"] and bool(state["advice"]))
    one.diary.did("look")
    if not state["table"]:
        raise Unmet(f"no table was learned: {state['advice']}")
    one.table = state["table"]


def tried(one: Newcomer) -> None:
    """Some pieces of the known layout change places, one photo."""
    lay = one.client.get(f"/api/shelf/{one.table}/trial").json()["exchange"]
    one.diary.did("tap")
    one.diary.did("piece", lay["pieces"])
    shot = one.snapped(one.laid(lay["plan"]))
    photo = one.send(f"/shelf/{one.table}/trial/photo", shot.jpeg())["photo"]
    told = one.post(f"/shelf/{one.table}/trial", {"photo": photo, "plan": lay["plan"]})
    one.diary.did("look")
    if not told["trusted"]:
        raise Unmet(f"the trial found a silent error: {told['words']}")


def first_tally(one: Newcomer, game: Game) -> dict[str, int]:
    """Two players' boards snapped under the names that are proposed, what is asked answered, cards
    claimed: the totals."""
    one.diary.did("tap", 2)
    form = {"name": "First", "table": one.table, "players": list(PLAYERS)}
    evening = f"/evenings/{one.post('/evenings', form)['id']}"
    for seat, player in enumerate(PLAYERS):
        path = f"{evening}/games/1/boards/{seat}"
        shot = one.snapped(game.grids[player])
        one.send(f"{path}/photo", shot.jpeg())
        board = one.wait(evening, lambda state, seat=seat: read(state, seat))["games"][0]["boards"]
        if board[str(seat)]["state"] == "refused":
            one.post(f"{path}/corners", {"corners_px": one.tapped(shot.truth.board_corners_px)})
        one.diary.did("look")
    for seat, player in enumerate(PLAYERS):
        one.diary.did("tap", len(game.claims[player]))
        claims = {"cards": [one.cards[name] for name in game.claims[player]], "facts": []}
        one.client.put(f"/api{evening}/games/1/claims/{seat}", json=claims).raise_for_status()
    looked_again(one, evening, game)
    while True:
        state = one.wait(evening, both_read)
        view = state["games"][0]["view"]
        if not view["questions"]:
            break
        asked = view["questions"][0]
        one.diary.did("answer")
        lies = game.grids[asked["player"]].get(asked["cell"], EMPTY)
        colour = one.colours.get(lies, EMPTY)
        said = {"seat": asked["seat"], "cell": asked["cell"], "colour": colour}
        one.post(f"{evening}/games/1/answers", said)
    return {told["player"]: told["total"] for told in view["tally"]["players"]}


def looked_again(one: Newcomer, evening: str, game: Game) -> None:
    """A second photo of each board for which the page proposes one, instead of its questions."""
    boards = one.wait(evening, both_read)["games"][0]["view"]["boards"]
    for seat, player in enumerate(PLAYERS):
        if boards[str(seat)]["look_again"]:
            jpeg = one.snapped(game.grids[player]).jpeg()
            one.send(f"{evening}/games/1/boards/{seat}/second/photo", jpeg)


def both_read(state: Mapping[str, Any]) -> bool:
    """Whether both boards are read and weighed, with all their photos."""
    boards = state["games"][0]["boards"].values()
    seconds = [board.get("second") or {} for board in boards]
    waits = any(second.get("state") == "reading" for second in seconds)
    return all(read(state, seat) for seat in (0, 1)) and not waits


def read(state: Mapping[str, Any], seat: int) -> bool:
    """Whether a board is read and weighed."""
    game = state["games"][0]
    board = game["boards"].get(str(seat))
    return bool(board) and board["state"] != "reading" and game["fresh"]


def gone_through(one: Newcomer) -> tuple[str, bool]:
    """What came of the whole way in words, and whether a tally was told that is not the truth."""
    game = draw_game(one.true, one.rng, PLAYERS)
    truth = {line.player: line.total for line in tally(one.true, game.grids, game.claims).players}
    stages: dict[str, Callable[[], Any]] = {
        "sheet and colours": lambda: board_and_colours(one),
        "table": lambda: table_learned(one),
        "trial": lambda: tried(one),
        "cards": lambda: cards_photographed(one),
        "first tally": lambda: first_tally(one, game),
    }
    try:
        for stage, step in stages.items():
            with one.diary.begun(stage):
                totals = step()
    except Unmet as unmet:
        return f"stopped at {one.diary.stage}: {unmet}", False
    if totals != truth:
        return f"WRONG: told {totals}, the truth is {truth}", True
    return "the tally is the truth", False


def unknown_box(name: str, seed: int, difficulty: float, client: TestClient) -> Newcomer:
    """A game of which the program knows nothing: other art, no printed marks, plain rules."""
    sheet = load_sheet(SHEETS / f"{name}.toml")
    colours = tuple(replace(colour, in_patterns=True) for colour in sheet.colours)
    rules = (Groups("groups", tuple(colour.name for colour in colours), 3, 1), Cards("cards"))
    cards = tuple(replace(card, missed=0) for card in sheet.cards if card.pattern)
    true = replace(
        sheet,
        rules=rules,
        cards=cards,
        colours=colours,
        tie_breaks=(),
        marks={},
        name=f"Box {seed}",
    )
    rng = np.random.default_rng([seed, NAMES.index(name)])
    light = replace(Conditions.random(rng, difficulty), size_px=(1600, 1200))
    kit = sheet_kit(true, seed, marks=False)
    return Newcomer(client, true, kit, light, difficulty, seed, rng)


def main() -> int:
    """Print a line a box; the exit code is 1 where a tally was told that is not the truth."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--first", type=int, default=40)
    parser.add_argument("--difficulty", type=float, default=0.4)
    parser.add_argument("--list", action="store_true", help="every stage")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.seeds)
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        door = Door(frozenset({"127.0.0.1"}), needs_session=False)
        desk = Desk(place / "data", place / "archive", door, "http://127.0.0.1", niceness=0)
        with TestClient(create_app(desk), base_url="http://127.0.0.1") as client:
            client.headers["X-Tallyglass"] = "1"
            for seed, name in product(seeds, NAMES):
                one = unknown_box(name, seed, asked.difficulty, client)
                outcome, is_wrong = gone_through(one)
                print(
                    f"{name} {seed}: {outcome}", *in_words(one, asked.list), sep="\n   ", flush=True
                )
                wrong += is_wrong
    return int(wrong > 0)


def in_words(one: Newcomer, every: bool) -> Iterator[str]:
    """How long it took, with the cards and without; each stage if wanted."""
    diary = one.diary
    person = sum(diary.person_s(stage) for stage in diary.acts)
    cards = diary.person_s("cards") if "cards" in diary.acts else 0
    machine = sum(diary.machine_s.values()) - one.taken_s
    whole, plain = (person + machine) / 60, (person - cards + machine) / 60
    yield (
        f"{whole:.1f} min, {plain:.1f} of them without the {len(one.true.cards)} cards; "
        f"the machine's {machine / 60:.1f}; a quarter of an hour "
        f"{'holds' if whole <= QUARTER_MIN else 'does not hold'}"
    )
    if every:
        for stage, acts in diary.acts.items():
            listed = ", ".join(f"{number} {act}" for act, number in acts.items())
            yield f"{stage}: person {diary.person_s(stage)} s ({listed})"


if __name__ == "__main__":
    sys.exit(main())
