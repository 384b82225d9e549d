"""The command ``sheet new``: a game sheet from options, an SVG or a photo of the empty board."""

from __future__ import annotations

import io
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from desk.board_size import Placed, parse_size, placed_board
from desk.board_svg import read_drawing
from desk.durable import write_whole
from desk.given import GivenError, check_apart, is_count
from desk.photo_file import photo_in
from desk.pointing import anchors_toml, point_mm
from desk.printing.marks import marks_text
from desk.sheet_board import board_from_proposal, drawn_lines, regular_board
from desk.sheets import sheet_words
from desk.types import PointsPx
from scoring.lattice import cell_centres_mm, regular_lattice
from scoring.regular import Shape
from scoring.sheet import GameSheet, parse_sheet
from scoring.sides import within
from scoring.types import Lattice, Point
from vision.draw import write_words
from vision.find import from_corners
from vision.lattice_proposal import Proposal, propose_lattice, with_cell_at
from vision.rectify import rectify
from vision.types import Photo

LEVEL_PX = 1000
"""Long side of the levelled board on which a lattice is proposed."""


@dataclass(frozen=True)
class Wanted:
    """What a host says of a new game. ``board`` holds a regular board's keys by name."""

    name: str
    colours: Sequence[str]
    board: dict[str, str]
    photo: Path | None = None
    svg: Path | None = None
    corners: Sequence[str] | None = None
    size_mm: str | None = None
    anchors: str = ""
    anchor: Sequence[str] = ()
    support: str = "any"
    piece_height_mm: float = 0.0
    drop: Sequence[str] = ()
    add: Sequence[str] = ()
    overlay: Path | None = None


@dataclass(frozen=True)
class Regular:
    """What a host says of a regular board; lengths in mm, ``rows`` as ``6,7,6``."""

    kind: str | None = None
    rows: str | None = None
    pitch: float | None = None
    row_pitch: float | None = None
    gap: float = 0.0
    margin: float = 0.0
    shifted: str | None = None

    def keys(self) -> dict[str, str]:
        """The board's keys, values as they stand in TOML; what was not said is left out."""
        said = {
            "kind": quoted(self.kind) if self.kind else "",
            "rows": _rows(self.rows) if self.rows else "",
            "pitch_mm": f"{self.pitch}" if self.pitch else "",
            "row_pitch_mm": f"{self.row_pitch}" if self.row_pitch else "",
            "gap_mm": f"{self.gap}" if self.gap else "",
            "margin_mm": f"{self.margin}" if self.margin else "",
            "shifted": quoted(self.shifted) if self.shifted else "",
        }
        return {key: value for key, value in said.items() if value}


def _rows(words: str) -> str:
    parts = [part.strip() for part in words.split(",")]
    if not all(is_count(part) and int(part) > 0 for part in parts):
        raise GivenError("--rows", "write the cells in each row, from the top, such as 6,7,6.")
    return f"[{', '.join(parts)}]"


@dataclass(frozen=True, eq=False)
class MadeBoard:
    """A new board: its lines of TOML, and, where they are known, its cells' outlines (K, 2) mm.

    ``px_per_mm`` is of the picture in which a host points; ``told`` is what to say; ``level`` the
    levelled photo (H, W, 3) sRGB; ``cards`` whether corner cards lie beside the board.
    """

    lines: list[str]
    outlines: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    size_mm: tuple[float, float] = (0.0, 0.0)
    px_per_mm: float = 1.0
    told: tuple[str, ...] = ()
    level: NDArray[np.uint8] | None = None
    cards: bool = False


def typed_name() -> str:
    """The game's name as it is typed, or the proposed one where nothing is or nobody types."""
    try:
        typed = input("Name of the game [My game]: ").strip()
    except EOFError:
        print()
        typed = ""
    return typed or "My game"


def run_sheet_new(wanted: Wanted, out: Path) -> None:
    """Make, check, save, and say so."""
    if out.exists():
        raise GivenError(str(out), "exists already; choose another name or move it away.")
    if wanted.overlay:
        check_apart(wanted.overlay, wanted.photo, wanted.svg)
    board = made_board(wanted)
    text = whole_sheet(wanted, board)
    sheet = parse_sheet(text, str(out))
    if wanted.overlay and board.level is not None:
        wanted.overlay.parent.mkdir(parents=True, exist_ok=True)
        write_whole(wanted.overlay, overlay_png(board.level, sheet))
        print(f"{wanted.overlay}: look whether every cell is outlined; --drop takes one off.")
    out.parent.mkdir(parents=True, exist_ok=True)
    write_whole(out, text.encode())
    print(f"{out}: a new sheet; look through its remarks and change what your rules say.")
    print(*board.told, *sheet_words(sheet), *again_words(wanted, out), sep="\n")


def again_words(wanted: Wanted, out: Path) -> list[str]:
    """How the photo of the empty board, and its corners, serve again to learn a table."""
    if not wanted.photo:
        return []
    corners = ["--corners", *wanted.corners] if wanted.corners else []
    known = ["--layout", "known-1.jpg", "--layout", "known-2.jpg", "--plan", "print-out/layout.txt"]
    words = ["tallyglass", "calibrate", "--sheet", str(out), "--empty", str(wanted.photo), *corners]
    return [
        "In the same light the photo serves again, once the known layout is laid and photographed:",
        shlex.join([*words, *known, "--out", f"{out.stem}.table"]),
    ]


def made_board(wanted: Wanted) -> MadeBoard:
    """The board from whatever the host gave. Raises GivenError for what does not go together."""
    if wanted.photo and wanted.svg:
        raise GivenError("--svg", "give either --photo or --svg, not both.")
    if wanted.photo:
        photo = photo_in(wanted.photo)
        placed = placed_board(photo, wanted.corners, wanted.size_mm)
        return board_in_photo(photo, placed, wanted.drop, wanted.add)
    if wanted.drop:
        raise GivenError("--drop", "takes cells off a lattice proposed from a --photo.")
    if wanted.add:
        raise GivenError("--add", "adds cells to a lattice proposed from a --photo.")
    if wanted.svg:
        return _from_drawing(wanted)
    return MadeBoard(regular_board(wanted.board))


def _from_drawing(wanted: Wanted) -> MadeBoard:
    assert wanted.svg
    size = parse_size(wanted.size_mm) if wanted.size_mm else None
    drawn = read_drawing(wanted.svg, size)
    lines = drawn_lines(drawn.cells, drawn.size_mm, drawn.like)
    like = f"Its cells lie like {drawn.like}." if drawn.like else NO_KIND
    return MadeBoard(lines, dict(drawn.cells), drawn.size_mm, told=(*drawn.told, like))


NO_KIND = "Its cells lie like no regular kind, so cards name their cells (at = { A1 = ... })."


def board_in_photo(
    photo: Photo, placed: Placed, drop: Sequence[str] = (), add: Sequence[str] = ()
) -> MadeBoard:
    """The board proposed from a photo; ``add`` holds points ``X,Y`` of the levelled picture."""
    level, proposal = proposal_from(photo, placed.corners_px, placed.size_mm)
    px_per_mm = LEVEL_PX / max(placed.size_mm)
    for tap in add:
        proposal = with_cell_at(proposal, point_mm(tap, "--add", px_per_mm, placed.size_mm))
    board = board_of(proposal, placed.size_mm, drop)
    return replace(board, told=placed.told, level=level, cards=placed.by_cards)


def board_of(
    proposal: Proposal, size_mm: tuple[float, float], drop: Sequence[str] = ()
) -> MadeBoard:
    """The board of a proposal."""
    lines, ids = board_from_proposal(proposal, size_mm, drop)
    outlines = {name: proposal.outline_mm(step) for step, name in ids.items()}
    return MadeBoard(lines, outlines, size_mm, LEVEL_PX / max(size_mm))


def tapped(proposal: Proposal, point: Point) -> Proposal:
    """The proposal after a tap, board mm: a cell there is taken off, else the place becomes one."""
    for step in proposal.steps:
        if within(point, tuple((float(x), float(y)) for x, y in proposal.outline_mm(step))):
            return replace(proposal, steps=tuple(s for s in proposal.steps if s != step))
    return with_cell_at(proposal, point)


def whole_sheet(wanted: Wanted, board: MadeBoard) -> str:
    """The sheet's text: board, anchors, colours, and the corner cards where they were seen."""
    if not board.outlines and any("," in one for one in wanted.anchor):
        raise GivenError("--anchor", "name cells, such as C4; points are of a --photo or --svg.")
    pointed: list[str | Point] = [
        point_mm(one, "--anchor", board.px_per_mm, board.size_mm) if "," in one else one
        for one in wanted.anchor
    ]
    anchors = anchors_toml(wanted.anchors, pointed, board.outlines)
    text = sheet_text(wanted, board.lines, anchors)
    return text + marks_text(parse_sheet(text)) if board.cards else text


def proposal_from(
    photo: Photo, corners_px: PointsPx, size_mm: tuple[float, float]
) -> tuple[NDArray[np.uint8], Proposal]:
    """The levelled board (H, W, 3) sRGB and the lattice proposed on it, from four taps."""
    flat = _plain_lattice(size_mm)
    registration = from_corners(photo, flat, corners_px)
    scale = LEVEL_PX / max(size_mm)
    size_px = (round(size_mm[0] * scale), round(size_mm[1] * scale))
    level = rectify(photo, registration, (0.5 / scale, 0.5 / scale), scale, size_px)
    return level, propose_lattice(level, size_mm, photo.name)


def _plain_lattice(size_mm: tuple[float, float]) -> Lattice:
    """A board of this size with one cell, for nothing but its corners matters yet."""
    return regular_lattice("square", Shape((1,), min(size_mm)), size_mm)


def overlay_png(level: NDArray[np.uint8], sheet: GameSheet) -> bytes:
    """The levelled photo with every cell outlined and named, PNG.

    Anchors have a second outline, and a dot lies on every inner side, toward the anchors.
    """
    picture = level.copy()
    scale = LEVEL_PX / max(sheet.lattice.board_size_mm)
    cells = sheet.lattice.cells
    middles = dict(zip((c.id for c in cells), cell_centres_mm(sheet.lattice), strict=True))
    for cell in cells:
        outline, middle = np.array(cell.polygon_mm), np.array(middles[cell.id])
        shrunk = middle + 0.8 * (outline - middle)
        for ring in (outline, shrunk) if cell.anchor else (outline,):
            points = np.round(ring * scale * 8).astype(np.int32)
            cv2.polylines(picture, [points], True, (230, 30, 120), 2, cv2.LINE_AA, 3)
        write_words(picture, cell.id, middle * scale, 0.75, (120, 0, 60), (255, 255, 255))
    for here, others in sheet.lattice.inner.items():
        for there in others:
            between = (np.array(middles[here]) + np.array(middles[there])) / 2
            x, y = np.round(between * scale).astype(int).tolist()
            cv2.circle(picture, (x, y), 7, (255, 255, 255), -1, cv2.LINE_AA)
            cv2.circle(picture, (x, y), 5, (120, 0, 60), -1, cv2.LINE_AA)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG")
    return out.getvalue()


def propose_letters(
    names: Sequence[str], wished: Mapping[str, str] | None = None
) -> dict[str, str]:
    """A letter for each colour, no two alike: the one wished for, else of its own name if one is
    left, capitals first."""
    letters = dict(wished or {})
    for name in names:
        if name in letters:
            continue
        own = [c for c in name.upper() if c.isalpha()] + [c for c in name if c.isalpha()]
        spare = [*own, *"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"]
        taken = set(letters.values())
        letters[name] = next((c for c in spare if c not in taken), "")
        if not letters[name]:
            raise GivenError(name, "there are more colours than letters.")
    return {name: letters[name] for name in names}


def parse_colours(words: Sequence[str]) -> dict[str, int | None]:
    """``moss=32`` or ``moss`` ... as supply by colour (None: not said)."""
    found: dict[str, int | None] = {}
    for word in words:
        name, equals, number = (part.strip() for part in word.partition("="))
        if not name or (equals and not is_count(number)):
            raise GivenError(repr(word), "write COLOUR or COLOUR=PIECES, such as moss=32.")
        if name in found:
            raise GivenError(repr(word), "two colours have this name.")
        found[name] = int(number) if equals else None
    if not found:
        raise GivenError("--colour", "name at least one colour of piece.")
    return found


def sheet_text(wanted: Wanted, board: Sequence[str], anchors: str = "") -> str:
    """The whole sheet as commented TOML; ``anchors`` is an inline table."""
    colours = parse_colours(wanted.colours)
    letters = propose_letters(list(colours))
    lines = [f"name = {quoted(wanted.name)}", "", "[board]", *board]
    if anchors:
        lines += [
            f"anchors = {anchors}  # where a piece may lie with nothing beside it",
            f'support = "{wanted.support}"  # how many inner sides must lie against a piece',
        ]
    else:
        lines.append('support = "none"            # a piece may lie anywhere; or name anchors')
    if wanted.piece_height_mm:
        lines.append(f"piece_height_mm = {wanted.piece_height_mm:g}")
    lines += [
        "",
        "# A letter stands for a colour in grids and patterns. supply: pieces in the box.",
    ]
    for name, supply in colours.items():
        lines += ["", "[[colours]]", f"name = {quoted(name)}", f'letter = "{letters[name]}"']
        lines += [f"supply = {supply}"] if supply else ["# supply = 30"]
    return "\n".join([*lines, REST])


REST = """
# Cards are drawn in letters; pieces of a row stand two characters apart. For example:
# [[cards]]
# name = "First Card"
# points = 3
# pattern = '''
# A A
# '''

# What is counted. Other kinds: cards, extras, regions, variety, adjacent, empties, ends.
[[rules]]
kind = "groups"
label = "groups of three or more"
min_size = 3
each = 1
"""
"""What ends a new sheet: an example of a card, and a rule to begin with."""


def quoted(words: str) -> str:
    """A TOML basic string."""
    escaped = words.replace("\\", "\\\\").replace('"', '\\"')
    if any(ord(c) < 32 or ord(c) == 127 for c in escaped):
        raise GivenError(repr(words), "holds a character that cannot be printed.")
    return f'"{escaped}"'
