"""The command ``sheet new``: a game sheet from options, an SVG or a photo of the empty board."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from desk.durable import write_whole
from desk.given import GivenError, parse_corners
from desk.sheet_board import board_from_proposal, board_from_svg, regular_board
from desk.sheets import sheet_words
from desk.types import PointsPx
from scoring.lattice import regular_lattice
from scoring.regular import Shape
from scoring.sheet import parse_sheet
from scoring.types import Lattice
from vision.decode import load_photo
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
    if not all(part.isdigit() and int(part) > 0 for part in parts):
        raise GivenError("--rows", "write the cells in each row, from the top, such as 6,7,6.")
    return f"[{', '.join(parts)}]"


def run_sheet_new(wanted: Wanted, out: Path) -> None:
    """Make, check, save, and say so."""
    if out.exists():
        raise GivenError(str(out), "exists already; choose another name or move it away.")
    text = sheet_text(wanted, board_text(wanted))
    sheet = parse_sheet(text, str(out))
    out.parent.mkdir(parents=True, exist_ok=True)
    write_whole(out, text.encode())
    print(f"{out}: a new sheet; look through its remarks and change what your rules say.")
    print(*sheet_words(sheet), sep="\n")


def board_text(wanted: Wanted) -> list[str]:
    """The lines of the sheet's board."""
    if wanted.photo and wanted.svg:
        raise GivenError("--svg", "give either --photo or --svg, not both.")
    if wanted.photo:
        return _from_photo(wanted)
    if wanted.drop:
        raise GivenError("--drop", "takes cells off a lattice proposed from a --photo.")
    if wanted.add:
        raise GivenError("--add", "adds cells to a lattice proposed from a --photo.")
    if wanted.svg:
        return board_from_svg(wanted.svg)
    return regular_board(wanted.board)


def _from_photo(wanted: Wanted) -> list[str]:
    if not (wanted.photo and wanted.corners and wanted.size_mm):
        raise GivenError(
            "--photo", "give the board's four --corners in the photo and its --size in mm, WxH."
        )
    photo = load_photo(wanted.photo.read_bytes(), wanted.photo.name)
    size_mm = parse_size(wanted.size_mm)
    level, proposal = proposal_from(photo, parse_corners(wanted.corners), size_mm)
    for tap in wanted.add:
        proposal = with_cell_at(proposal, _mm_of(tap, size_mm))
    lines, ids = board_from_proposal(proposal, size_mm, wanted.drop)
    if wanted.overlay:
        wanted.overlay.parent.mkdir(parents=True, exist_ok=True)
        write_whole(wanted.overlay, overlay_png(level, proposal, size_mm, ids))
        print(f"{wanted.overlay}: look whether every cell is outlined; --drop takes one off.")
    return lines


def _mm_of(tap: str, size_mm: tuple[float, float]) -> tuple[float, float]:
    """Board mm of a point ``X,Y`` in px of the overlay picture."""
    try:
        x, y = (float(part) * max(size_mm) / LEVEL_PX for part in tap.split(","))
    except ValueError as error:
        raise GivenError(f"--add {tap}", "write X,Y in pixels of the --overlay picture.") from error
    if not (0 < x < size_mm[0] and 0 < y < size_mm[1]):
        raise GivenError(f"--add {tap}", "this point does not lie on the board.")
    return x, y


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


def overlay_png(
    level: NDArray[np.uint8],
    proposal: Proposal,
    size_mm: tuple[float, float],
    ids: dict[tuple[int, int], str],
) -> bytes:
    """The levelled photo with every proposed cell outlined and named, PNG."""
    picture = level.copy()
    scale = LEVEL_PX / max(size_mm)
    for step, name in ids.items():
        outline = np.round(proposal.outline_mm(step) * scale * 8).astype(np.int32)
        cv2.polylines(picture, [outline], True, (230, 30, 120), 2, cv2.LINE_AA, 3)
        x, y = np.round(np.array(proposal.centre_mm(step)) * scale).astype(int).tolist()
        spot = (x - 8 * len(name), y + 7)
        for ink, width in (((255, 255, 255), 4), ((120, 0, 60), 2)):
            cv2.putText(picture, name, spot, cv2.FONT_HERSHEY_SIMPLEX, 0.6, ink, width, cv2.LINE_AA)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG")
    return out.getvalue()


def parse_size(words: str) -> tuple[float, float]:
    """``170x164`` as (width, height) in mm."""
    parts = words.lower().replace(" ", "").split("x")
    try:
        width, height = (float(part) for part in parts)
    except ValueError as error:
        raise GivenError("--size", "write width x height in mm, such as 170x164.") from error
    if not (10 <= width <= 10_000 and 10 <= height <= 10_000):
        raise GivenError("--size", "a board is between 10 and 10000 mm wide and high.")
    return width, height


def propose_letters(names: Sequence[str]) -> dict[str, str]:
    """A letter for each colour, no two alike: of its own name if one is left, capitals first."""
    letters: dict[str, str] = {}
    for name in names:
        own = [c for c in name.upper() if c.isalpha()] + [c for c in name if c.isalpha()]
        spare = [*own, *"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"]
        taken = set(letters.values())
        letters[name] = next((c for c in spare if c not in taken), "")
        if not letters[name]:
            raise GivenError(name, "there are more colours than letters.")
    return letters


def parse_colours(words: Sequence[str]) -> dict[str, int | None]:
    """``moss=32`` or ``moss`` ... as supply by colour (None: not said)."""
    found: dict[str, int | None] = {}
    for word in words:
        name, equals, number = (part.strip() for part in word.partition("="))
        if not name or (equals and not number.isdigit()):
            raise GivenError(repr(word), "write COLOUR or COLOUR=PIECES, such as moss=32.")
        if name in found:
            raise GivenError(repr(word), "two colours have this name.")
        found[name] = int(number) if equals else None
    if not found:
        raise GivenError("--colour", "name at least one colour of piece.")
    return found


def sheet_text(wanted: Wanted, board: Sequence[str]) -> str:
    """The whole sheet as commented TOML."""
    colours = parse_colours(wanted.colours)
    letters = propose_letters(list(colours))
    lines = [f"name = {quoted(wanted.name)}", "", "[board]", *board]
    if wanted.anchors:
        edge = quoted(wanted.anchors)
        lines += [
            f"anchors = {{ edge = {edge} }}  # where a piece may lie with nothing beside it",
            'support = "any"             # a piece needs one ("any") or "all" of its inner sides',
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
