"""Draw a game sheet: the board with its cell names, the colours, every card as a small picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil

from desk.drawing import FAINT, INK, PAPER, Drawing, Outline, Words, box, ink_on, placed
from desk.tints import tints_of
from scoring.explain import in_points
from scoring.lattice import cell_centres_mm
from scoring.regular import Shape, piece_outline
from scoring.rules import Card, Spot
from scoring.sheet import GameSheet
from scoring.types import Point

Shapes = Iterator[Outline | Words]

WIDTH = 1080.0
EDGE = 30.0
BOARD_WIDTH = 640.0
TILE = (180.0, 200.0)
"""Width and height of a card's picture with its words."""

LARGEST_PIECE = 34.0
"""Height of a piece in a card's picture, at most."""

COLUMNS = 5
ANCHORED = "#e4e8ee"
MARK_INK = "#111111"
QUIET = "#5a626d"


def draw_sheet(sheet: GameSheet) -> Drawing:
    """The whole sheet on one page: board left, colours right, cards below."""
    scale = BOARD_WIDTH / max(sheet.lattice.board_size_mm)
    board_bottom = 80 + scale * sheet.lattice.board_size_mm[1]
    legend_bottom = 100 + 34 * (len(sheet.colours) + 2) + 18 * 4
    cards_top = max(board_bottom, legend_bottom) + 40
    height = cards_top + TILE[1] * ceil(len(sheet.cards) / COLUMNS) + EDGE
    shapes = [
        Words((EDGE, 42), sheet.name, 26, left=True),
        *draw_board(sheet, scale, (EDGE, 80)),
        *draw_legend(sheet, (BOARD_WIDTH + 2 * EDGE + 20, 90)),
        *draw_cards(sheet, cards_top),
    ]
    return Drawing((WIDTH, height), tuple(shapes))


def draw_board(sheet: GameSheet, scale: float, origin: Point) -> Shapes:
    """The board's outline, cells with their names, anchors shaded, printed corner marks."""
    yield Outline(placed(box(0, 0, *sheet.lattice.board_size_mm), scale, origin), "#f6f6f3")
    for cell in sheet.lattice.cells:
        fill = ANCHORED if cell.anchor else PAPER
        yield Outline(placed(cell.polygon_mm, scale, origin), fill, QUIET)
    centres = placed(cell_centres_mm(sheet.lattice), scale, origin)
    for cell, centre in zip(sheet.lattice.cells, centres, strict=True):
        yield Words(centre, cell.id, 13)
    for number, corners in sheet.marks.items():
        spot = placed(corners, scale, origin)
        yield Outline(spot, MARK_INK, "")
        x, y = zip(*spot, strict=True)
        yield Words((sum(x) / 4, sum(y) / 4), str(number), 11, PAPER)


def draw_legend(sheet: GameSheet, origin: Point) -> Shapes:
    """Every colour's letter on its tint, its name, and how many pieces the box holds."""
    left, y = origin
    tints = tints_of(sheet)
    for colour in sheet.colours:
        yield from draw_piece(box(left, y, 24, 24), tints[colour.name], colour.letter)
        supply = "" if colour.supply is None else f", {colour.supply} in the box"
        yield Words((left + 36, y + 12), colour.name + supply, 15, left=True)
        y += 34
    yield Outline(box(left, y, 24, 24), ANCHORED, QUIET)
    yield Words((left + 36, y + 12), "anchor: a piece may lie here alone", 13, left=True)
    tips = ["Tints only hint at the pieces; the letters count."]
    for number, tip in enumerate(tips + card_tips(sheet)):
        yield Words((left, y + 52 + 18 * number), tip, 12, QUIET, left=True)


def card_tips(sheet: GameSheet) -> list[str]:
    """What the signs mean that stand in this sheet's cards beside letters."""
    needs = {spot.needs for card in sheet.cards for spot in card.pattern}
    needs |= {need for card in sheet.cards for _, need in card.at}
    tips = {
        "digit": "In a card, equal digits are one colour, others another.",
        "*": "In a card, any: a piece of whatever colour.",
        "_": "In a card, none: a cell without a piece.",
    }
    used = {"digit" if need.isdigit() else need for need in needs}
    return [tip for sign, tip in tips.items() if sign in used]


def draw_cards(sheet: GameSheet, top: float) -> Shapes:
    """Every card as a tile: its pattern, its name, its points."""
    for number, card in enumerate(sheet.cards):
        row, column = divmod(number, COLUMNS)
        left = EDGE + column * (TILE[0] + 10)
        yield from draw_card(sheet, card, (left, top + row * TILE[1]))


def draw_card(sheet: GameSheet, card: Card, corner: Point) -> Shapes:
    """One card."""
    width, height = TILE[0], TILE[1] - 12
    middle = corner[0] + width / 2
    yield Outline(box(*corner, width, height), PAPER, FAINT, 1.5)
    yield from draw_pattern(sheet, card, (corner[0] + 14, corner[1] + 12, width - 28, 104))
    yield Words((middle, corner[1] + 134), card.name, 14)
    yield Words((middle, corner[1] + 154), points_in_words(card), 12)
    yield Words((middle, corner[1] + 172), moves_in_words(card), 11, QUIET)


def draw_pattern(sheet: GameSheet, card: Card, frame: tuple[float, float, float, float]) -> Shapes:
    """What completes a card, as large as fits into ``frame`` (left, top, width, height)."""
    tints = {colour.letter: tint for colour, tint in zip_colours(sheet)}
    outlines, needs = pattern_outlines(sheet, card)
    for outline, need in zip(fitted(outlines, frame), needs, strict=True):
        if need == "":
            yield Outline(outline, "", FAINT)
        else:
            fill = {"_": "", "*": "#eeeeee"}.get(need) or tints.get(need, PAPER)
            yield from draw_piece(outline, "" if need == "_" else fill, SAID.get(need, need))


SAID = {"*": "any", "_": "none"}
"""What stands in a pattern's cell that asks for no certain colour."""


def pattern_outlines(
    sheet: GameSheet, card: Card
) -> tuple[list[tuple[Point, ...]], tuple[str, ...]]:
    """Outlines of a card's pieces, and what must lie in each; "" asks nothing."""
    if card.pattern:
        outlines = [spot_outline(sheet, spot) for spot in card.pattern]
        return outlines, tuple(spot.needs for spot in card.pattern)
    asked = dict(card.at)
    cells = sheet.lattice.cells
    return [cell.polygon_mm for cell in cells], tuple(asked.get(cell.id, "") for cell in cells)


def spot_outline(sheet: GameSheet, spot: Spot) -> tuple[Point, ...]:
    """The outline of one piece of a pattern, as wide and high as the board's own pieces."""
    x, y = zip(*sheet.lattice.cells[0].polygon_mm, strict=True)
    width, height = max(x) - min(x), max(y) - min(y)
    pitch = 1.0 if sheet.lattice.like != "courses" else width
    shape = Shape(rows=(1,), pitch_mm=pitch, row_pitch_mm=height)
    return piece_outline(sheet.lattice.like, shape, (spot.u, spot.v))


def fitted(
    outlines: Sequence[tuple[Point, ...]], frame: tuple[float, float, float, float]
) -> list[tuple[Point, ...]]:
    """Outlines scaled and moved so that all of them fill the middle of a frame."""
    left, top, width, height = frame
    x, y = zip(*(point for outline in outlines for point in outline), strict=True)
    wide, high = max(x) - min(x), max(y) - min(y)
    rise = max(y for _, y in outlines[0]) - min(y for _, y in outlines[0])
    scale = min(width / wide, height / high, LARGEST_PIECE / rise)
    origin = (
        left + width / 2 - scale * (max(x) + min(x)) / 2,
        top + height / 2 - scale * (max(y) + min(y)) / 2,
    )
    return [placed(outline, scale, origin) for outline in outlines]


def draw_piece(outline: tuple[Point, ...], tint: str, letter: str) -> Shapes:
    """A piece with its letter."""
    x, y = zip(*outline, strict=True)
    middle = ((max(x) + min(x)) / 2, (max(y) + min(y)) / 2)
    size = min(15.0, 0.55 * (max(y) - min(y)), 1.6 * (max(x) - min(x)) / (len(letter) + 1))
    yield Outline(outline, tint)
    yield Words(middle, letter, size, ink_on(tint) if tint else INK)


def zip_colours(sheet: GameSheet) -> Iterator[tuple]:
    """Every colour with its tint."""
    tints = tints_of(sheet)
    for colour in sheet.colours:
        yield colour, tints[colour.name]


def points_in_words(card: Card) -> str:
    """What a card is worth."""
    words = in_points(card.points) + (" each time" if card.each else "")
    return words + (f", {card.missed} if missed" if card.missed else "")


def moves_in_words(card: Card) -> str:
    """How a card's pattern may lie, and whether it must be claimed."""
    if not card.pattern:
        lie = "in its own place"
    elif card.turns and card.mirrors:
        lie = "may turn and mirror"
    else:
        lie = "may turn" if card.turns else "may mirror" if card.mirrors else "just so"
    return lie + (", open to all" if card.common else "")
