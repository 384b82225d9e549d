"""Cards read from rendered photos: is every cell right or asked?

    python tests/bench/cards.py [--editions 2] [--seed 1] [--list]

For each of the three sheets a table is calibrated and some printings of its cards are invented,
each photographed in a light of its own. Every card is read by itself, again in one session in
which inks that a person has named are known, and all of a printing in one photo (2000 by 1500 px),
laid beside each other. A cell counts as right, asked, or silently wrong (a wrong letter, a cell
missed, a cell where there is none); a card as right if, with the true answers, its pattern is the
sheet's own. A question is one that a page asks: of an ink or sign, however many cells show it.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.learn import calibrate
from calibrate.types import Palette
from desk.card_drawing import TOPS, drawing, turned_steps
from desk.card_reading import course_height, inks_of
from samples.board import Board
from samples.cards import card_board, invent_edition, piece_paints
from samples.conditions import Conditions, Lamp
from samples.finish import encode
from samples.kits import sheet_kit
from samples.laid_cards import take_cards
from samples.photographer import Shot, empty_grid, take_photo
from scoring.errors import TallyglassError
from scoring.patterns import parse_pattern
from scoring.rules import Card
from scoring.sheet import GameSheet, load_sheet
from scoring.types import Grid
from vision.cards import CardLook
from vision.decode import load_photo
from vision.find_cards import look_at_cards
from vision.inks import Ink

SHEETS = Path(__file__).resolve().parents[2] / "samples" / "sheets"
NAMES = ("penmarrow", "lanternfen", "tarrowfold")
NONE = "no cell"
WAYS = ("alone", "in a session", "in one photo")


@dataclass(frozen=True, eq=False)
class PrintedCard:
    """A card, the photo that it is in, its corners (4, 2) and the middle of each of its cells in
    it, px, and the letter of each cell by name."""

    card: Card
    jpeg: bytes
    corners_px: np.ndarray
    spots_px: Mapping[str, tuple[float, float]]
    needs: Mapping[str, str]


def printed_in(card: Card, board: Board, shot: Shot) -> PrintedCard:
    """A card that is the only one in its photo."""
    corners = np.array(shot.truth.board_corners_px)
    return PrintedCard(
        card, shot.jpeg(), corners, shot.truth.cell_centres_px, needs_of(card, board)
    )


def needs_of(card: Card, board: Board) -> dict[str, str]:
    """The letter of each printed cell by its name."""
    return {p.id: spot.needs for p, spot in zip(board.places, card.pattern, strict=True)}


def main() -> int:
    """Print a line a sheet and way of reading; the exit code is 1 where one is silently wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--editions", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="every card")
    asked = parser.parse_args()
    total: Counter[str] = Counter()
    for name in NAMES:
        sheet = load_sheet(SHEETS / f"{name}.toml")
        palette = table_palette(sheet, asked.seed)
        told = {way: Counter[str]() for way in WAYS}
        for edition in range(asked.editions):
            named: dict[str, list] = {}
            for printed in edition_cards(sheet, asked.seed, edition):
                for way, known in ((WAYS[0], {}), (WAYS[1], named)):
                    result = judged([printed], sheet, palette, known)
                    told[way] += result
                    if asked.list or result["wrong"]:
                        print(f"  {name} {edition} {printed.card.name}, {way}: {dict(result)}")
            result = judged(laid_edition(sheet, asked.seed, edition), sheet, palette, {})
            told[WAYS[2]] += result
            if asked.list or result["wrong"]:
                print(f"  {name} {edition}, {WAYS[2]}: {dict(result)}")
        for way, result in told.items():
            print(f"{name:11} {way:13} {summary(result)}")
        total += sum(told.values(), Counter())
    return int(total["wrong"] + total["card wrong"] + total["card invented"] > 0)


def summary(told: Mapping[str, int]) -> str:
    """Shares of cells and of cards, in words."""
    cards = told["card right"] + told["card wrong"] + told["card not found"]
    cells = told["right"] + told["asked"] + told["wrong"]
    each = told["ms"] / max(1, cards)
    return (
        f"{cards} cards: {told['card right']} right, {told['card wrong']} wrong, "
        f"{told['card not found']} not found, {told['card invented']} invented; "
        f"{cells} cells: {told['right']} right, {told['asked']} asked in {told['questions']} "
        f"questions, {told['wrong']} silently wrong; "
        f"{each:.0f} ms a card"
    )


def table_palette(sheet: GameSheet, seed: int) -> Palette:
    """What a calibration of this sheet's pieces learns, from three photos by a window."""
    kit = sheet_kit(sheet, seed, marks=True)
    light = Conditions(
        size_px=(800, 600), tilt_deg=8.0, reach=0.9, gloss=0.1, exposure_ev=-0.35, wear=0.02,
        lamps=(Lamp("daylight", 0.6, (-420.0, -520.0, 1500.0), 200.0),),
        ambient=("daylight", 0.4), loose=0, supersample=1.0,
    )  # fmt: skip
    rng = np.random.default_rng(seed)
    layout = kit.layout(rng)
    photos = [
        load_photo(take_photo(kit.board, grid, light, rng).jpeg(), "layout.jpg")
        for grid in (empty_grid(kit.board), layout, layout)
    ]
    marked = replace(sheet, marks={m.id: m.corners_mm for m in kit.board.marks})
    laid = [(photo, Grid(layout)) for photo in photos[1:]]
    return calibrate("bench", marked, photos[:1], laid, None).palette


def edition_cards(sheet: GameSheet, seed: int, edition: int) -> Iterator[PrintedCard]:
    """Every card of one printing that has a pattern, photographed in one light."""
    look = invent_edition(sheet, piece_paints(sheet, seed), 100 * seed + edition)
    rng = np.random.default_rng([seed, edition, 0xCA])
    light = Conditions.random(rng, 0.4)
    for card in sheet.cards:
        if not card.pattern:
            continue
        board = card_board(sheet, card, look, seed)
        stand = light.snapped(rng, 0.4)
        stand = replace(stand, dice=0, fingers=0, loose=int(rng.integers(0, 3)))
        shot = take_photo(board, empty_grid(board), stand, rng)
        yield printed_in(card, board, shot)


def laid_edition(sheet: GameSheet, seed: int, edition: int) -> list[PrintedCard]:
    """All cards of one printing in one photo, laid by hand before the one who takes it."""
    look = invent_edition(sheet, piece_paints(sheet, seed), 100 * seed + edition)
    rng = np.random.default_rng([seed, edition, 0xCA2])
    light = replace(Conditions.random(rng, 0.4), dice=0, fingers=0, loose=0)
    light = replace(light, size_px=(2000, 1500), turn_deg=float(rng.normal(0, 8)))
    cards = [card for card in sheet.cards if card.pattern]
    boards = [card_board(sheet, card, look, seed) for card in cards]
    shot = take_cards(boards, 3, light, rng)
    jpeg = encode(shot.pixels, light.jpeg_quality)
    return [
        PrintedCard(card, jpeg, np.array(corners), spots, needs_of(card, board))
        for card, board, corners, spots in zip(
            cards, boards, shot.corners_px, shot.centres_px, strict=True
        )
    ]


def judged(
    printed: list[PrintedCard], sheet: GameSheet, palette: Palette, named: dict[str, list]
) -> Counter[str]:
    """What came of the cards of one photo; inks are added to ``named`` as a person would do."""
    photo = load_photo(printed[0].jpeg, f"{printed[0].card.name}.jpg")
    started = time.perf_counter()
    try:
        looks = look_at_cards(photo, sheet.lattice.like, course_height(sheet))
    except TallyglassError:
        return Counter(
            {"card not found": len(printed), "asked": sum(len(p.needs) for p in printed)}
        )
    inks = inks_of(looks, sheet, palette, named)
    spent = 1000 * (time.perf_counter() - started)
    shown = [(look, card_at(look, printed)) for look in looks]
    truth = [need for look, one in shown for need in true_needs(one, look)]
    told = Counter(verdict(ink, truth[i], sheet) for ink in inks for i in ink.cells)
    found = [one for _, one in shown if one]
    told["card not found"] = len(printed) - len(found)
    told["card invented"] = len(shown) - len(found)
    told["wrong"] += sum(len(one.needs) for one in found) - sum(need != NONE for need in truth)
    told["questions"] = sum(ink.doubt is not None for ink in inks)
    told["ms"] = round(spent)
    for look, one in shown:
        whole = one is not None and same_pattern(one, look, true_needs(one, look), sheet)
        told["card right" if whole else "card wrong"] += one is not None
    letters = {colour.letter: colour.name for colour in sheet.colours}
    for ink in inks:
        need = truth[ink.cells[0]]
        if need in letters:
            named.setdefault(letters[need], []).append(ink.lab)
    return told


def card_at(look: CardLook, printed: list[PrintedCard]) -> PrintedCard | None:
    """The card that lies where one was seen."""
    x, y = look.corners_px.mean(axis=0).tolist()
    rims = [one.corners_px.astype(np.float32) for one in printed]
    inside = [cv2.pointPolygonTest(rim, (x, y), measureDist=False) >= 0 for rim in rims]
    return printed[inside.index(True)] if True in inside else None


def verdict(ink: Ink, need: str, sheet: GameSheet) -> str:
    """Whether a cell is right, asked or wrong."""
    letters = {colour.name: colour.letter for colour in sheet.colours}
    if ink.doubt:
        return "asked"
    return "right" if letters[ink.candidates[0]] == need else "wrong"


def true_needs(printed: PrintedCard | None, look: CardLook) -> list[str]:
    """What is really printed in each cell that was seen."""
    if printed is None:
        return [NONE] * len(look.cells)
    ids = list(printed.needs)
    spots = on_card(look, np.array([printed.spots_px[i] for i in ids]))
    found = []
    for cell in look.cells:
        reach = 0.3 * np.sqrt(cv2.contourArea(cell.outline_px.astype(np.float32)))
        off = np.linalg.norm(spots - cell.outline_px.mean(axis=0), axis=1)
        found.append(printed.needs[ids[int(off.argmin())]] if off.min() < reach else NONE)
    return found


def on_card(look: CardLook, points_px: np.ndarray) -> np.ndarray:
    """Px of the levelled card of points (N, 2) of the photo."""
    return to_level(look.corners_px, look.level.shape[1::-1], points_px)


def to_level(corners_px: np.ndarray, size_px: tuple[int, int], points_px: np.ndarray) -> np.ndarray:
    """Px, in the levelled card of this width and height, of points (N, 2) of the photo in which the
    card's corners (4, 2) lie."""
    width, height = size_px
    rim = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32) - 0.5
    way = cv2.getPerspectiveTransform(corners_px.astype(np.float32), rim.astype(np.float32))
    return cv2.perspectiveTransform(points_px.reshape(-1, 1, 2), way).reshape(-1, 2)


def same_pattern(printed: PrintedCard, look: CardLook, truth: list[str], sheet: GameSheet) -> bool:
    """Whether the card as a person confirms it, doubts answered and top named, is the sheet's."""
    like = sheet.lattice.like
    kept = [(c.step, n) for c, n in zip(look.cells, truth, strict=True) if n != NONE]
    top = top_of(on_card(look, printed.corners_px))
    steps = turned_steps([step for step, _ in kept], like, top)
    if steps is None or not kept:
        return False
    letters = drawing(steps, [need for _, need in kept], like)
    return parse_pattern(letters, like) == printed.card.pattern


def top_of(corners_px: np.ndarray) -> str:
    """Which side of a levelled card is its top: its true corners (4, 2) there, top left first."""
    across = corners_px[:2].mean(axis=0) - corners_px[2:].mean(axis=0)
    ways = {"up": (0, -1), "right": (1, 0), "down": (0, 1), "left": (-1, 0)}
    return max(TOPS, key=lambda name: float(across @ ways[name]))


if __name__ == "__main__":
    sys.exit(main())
