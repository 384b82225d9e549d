"""The command ``sheet colours``: a box's colours named and lettered from a photo of its pieces.

The pieces lie in a row, one of each colour, or on the board by a plan in signs of the host's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ImageColor
from scipy.optimize import linear_sum_assignment
from skimage.color import deltaE_ciede2000

from desk.durable import write_durably, write_whole
from desk.given import GivenError, check_apart, parse_corners, text_of
from desk.packing import png, write
from desk.photo_file import photo_in
from desk.sheet_colours import colour_toml, with_colours
from desk.sheet_new import propose_letters
from desk.tints import plain_colours
from desk.types import PointsPx
from scoring.grid import EMPTY_MARK, parse_grid
from scoring.sheet import GameSheet, load_sheet
from scoring.types import EMPTY, Colour
from vision.colour import lab_from_linear, linear_from_srgb
from vision.find import from_corners, from_marks
from vision.marks import marks_of
from vision.outlines import SIDE_PX, piece_of
from vision.rectify import rectify
from vision.sample import colour_inside
from vision.spread import Spread, find_pieces
from vision.spread_colours import core_colours
from vision.types import Photo, Registration

Array = NDArray[np.float64]

ALIKE_LAB = 8.0
"""CIELAB units within which two pieces may be one colour; chosen by hand."""

CORE = 0.5
"""A cell's colour is sampled in its outline shrunk to this."""

PICTURE_PX, LARGEST = 1400, 6.0
"""Width of a picture of pieces, and how much a small photo is enlarged at most."""


class CornersNeeded(GivenError):
    """A laid board without printed marks, whose corners nobody gave."""


@dataclass(frozen=True)
class ColourJob:
    """What was asked for: the sheet, the photo, names in the picture's order; for a laid board its
    plan, and its corners where no printed marks tell them; whether they are put into the sheet."""

    sheet: Path
    photo: Path
    named: Sequence[str] = ()
    plan: Path | None = None
    corners: Sequence[str] | None = None
    put: bool = False


@dataclass(frozen=True, eq=False)
class Shown:
    """The colours that a photo shows: the ``sign`` of each in the picture, its CIELAB (N, 3), the
    picture (PNG), and what a person should look at."""

    signs: tuple[str, ...]
    lab: Array
    picture: bytes
    remarks: tuple[str, ...] = ()


def run_sheet_colours(job: ColourJob, out: Path) -> None:
    """Print the lines of TOML of the colours in a photo, named by the host or by their looks."""
    check_apart(out, job.photo, job.sheet, job.plan)
    sheet = load_sheet(job.sheet)
    photo = photo_in(job.photo)
    if job.plan:
        corners = parse_corners(job.corners) if job.corners else None
        shown = colours_in_layout(photo, sheet, text_of(job.plan), corners)
    else:
        shown = colours_in_row(photo, sheet)
    write_whole(out, shown.picture)
    words = [name.strip() for word in job.named for name in word.split(",")]
    names = checked_names(words, shown) if words else list(names_for(shown.lab))
    print(f"{job.photo.name}: {len(names)} colours, marked {', '.join(shown.signs)} in {out}")
    print(*shown.remarks, *likenesses(names, shown.lab), "", sep="\n")
    colours = lettered(names, shown.signs)
    if job.put:
        write_durably(job.sheet, with_colours(sheet.text, colours).encode())
        print(f"{job.sheet}: these are its colours now.")
    print(colours_toml(colours, shown.signs))


def checked_names(names: Sequence[str], shown: Shown) -> list[str]:
    """The names, if there is one for each colour. Raises GivenError."""
    if len(names) != len(shown.signs):
        raise GivenError(
            "--names",
            f"names {len(names)} colours; {len(shown.signs)} are seen: {', '.join(shown.signs)}.",
        )
    if "" in names or len(set(names)) < len(names):
        raise GivenError("--names", "give every colour a name of its own.")
    return list(names)


def lettered(names: Sequence[str], signs: Sequence[str]) -> list[Colour]:
    """A colour of each name with letters that do not clash: a plan's own letter stays."""
    wished = {n: sign for n, sign in zip(names, signs, strict=True) if sign.isalpha()}
    return [Colour(name, letter) for name, letter in propose_letters(names, wished).items()]


def colours_toml(colours: Sequence[Colour], signs: Sequence[str]) -> str:
    """The lines of a sheet for these colours, each with its sign in the picture."""
    parts = zip(map(colour_toml, colours), signs, strict=True)
    return "\n".join(
        lines.replace("[[colours]]", f"[[colours]] # {sign} in the picture", 1)
        for lines, sign in parts
    )


def likenesses(names: Sequence[str], lab: Array) -> list[str]:
    """A sentence for each two colours that look nearly alike."""
    return [
        f"{names[i]} and {names[j]} look nearly alike here: one colour twice, or a pair to watch."
        for j in range(len(names))
        for i in range(j)
        if np.linalg.norm(lab[i] - lab[j]) < ALIKE_LAB
    ]


def colours_in_row(photo: Photo, sheet: GameSheet) -> Shown:
    """The pieces of a photo from left to right, numbered. Raises PhotoError where fewer than two
    are seen."""
    spread = find_pieces(photo, piece_of(sheet.lattice.cells[0].polygon_mm))
    linear = core_colours(spread)[0]
    full = cv2.perspectiveTransform(_middles(spread).reshape(-1, 1, 2), spread.to_photo)
    order = np.argsort(full[:, 0, 0], kind="stable")
    signs = tuple(str(number) for number in range(1, len(order) + 1))
    remarks = ("Another place may hold a piece: look at the picture.",) if spread.unsettled else ()
    return Shown(
        signs, lab_from_linear(linear[order]), row_png(photo, spread, order, signs), remarks
    )


def row_png(photo: Photo, spread: Spread, order: NDArray[np.intp], signs: Sequence[str]) -> bytes:
    """The pieces as sharp as the photo has them, from straight above, each with its sign."""
    corners = np.concatenate([one.outline_px for one in spread.pieces])
    low, high = corners.min(axis=0) - SIDE_PX, corners.max(axis=0) + SIDE_PX
    enlarged = min(LARGEST, PICTURE_PX / (high - low)[0])
    to_level = np.array([[1 / enlarged, 0, low[0]], [0, 1 / enlarged, low[1]], [0, 0, 1.0]])
    s = photo.scale
    to_decoded = np.array([[1 / s, 0, (1 / s - 1) / 2], [0, 1 / s, (1 / s - 1) / 2], [0, 0, 1.0]])
    wide, tall = np.ceil((high - low) * enlarged).astype(int).tolist()
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    way = to_decoded @ spread.to_photo @ to_level
    picture = np.asarray(
        cv2.warpPerspective(photo.pixels, way, (wide, tall), flags=flags), np.uint8
    )
    for sign, middle in zip(signs, _middles(spread)[order], strict=True):
        write(picture, sign, (middle - low) * enlarged, 0.3 * enlarged)
    return png(picture)


def _middles(spread: Spread) -> Array:
    return np.array([one.outline_px.mean(axis=0) for one in spread.pieces])


def colours_in_layout(
    photo: Photo, sheet: GameSheet, plan: str, corners_px: PointsPx | None
) -> Shown:
    """The colours of a board laid by a plan whose signs are the host's own.

    The board is placed by its corners (4, 2), full-size px, or by the sheet's printed marks.
    Raises SheetError, BoardNotFound, GivenError.
    """
    grid = grid_in_signs(plan, sheet)
    lies = placed(photo, sheet, corners_px)
    cells = {cell.id: np.array(cell.polygon_mm) for cell in sheet.lattice.cells}
    laid = {cell: sign for cell, sign in grid.items() if sign != EMPTY}
    seen = np.array([_core(photo, lies, cells[cell], sheet.piece_height_mm) for cell in laid])
    if not np.isfinite(seen).all():
        raise GivenError(photo.name, "does not show the whole board; take it anew.")
    lab, labels = lab_from_linear(seen), np.array(list(laid.values()))
    signs = tuple(dict.fromkeys(laid.values()))
    middles = np.array([np.median(lab[labels == sign], axis=0) for sign in signs])
    far = np.linalg.norm(lab[:, None] - middles, axis=2)
    odd = [cell for cell, sign, near in zip(laid, labels, far.argmin(axis=1), strict=True)
           if signs[near] != sign]  # fmt: skip
    remark = f"{', '.join(odd)}: unlike the other pieces of the same sign; compare with the plan."
    return Shown(signs, middles, layout_png(photo, sheet, lies, laid), (remark,) if odd else ())


def grid_in_signs(plan: str, sheet: GameSheet) -> dict[str, str]:
    """Cell id -> the plan's sign, or ``empty``. Raises SheetError."""
    marks = [mark for line in plan.splitlines() for mark in line.split("#")[0].partition(":")[2]]
    signs = dict.fromkeys(mark for mark in marks if not mark.isspace() and mark != EMPTY_MARK)
    if len(signs) < 2:
        raise GivenError("The plan", "shows fewer than two kinds of pieces.")
    return dict(
        parse_grid(plan, replace(sheet, colours=tuple(Colour(s, s) for s in signs)), "The plan")
    )


def placed(photo: Photo, sheet: GameSheet, corners_px: PointsPx | None) -> Registration:
    """Where the board lies: by its corners, else by the sheet's printed marks."""
    if corners_px is not None:
        return from_corners(photo, sheet.lattice, corners_px)
    found = from_marks(photo, marks_of(sheet))
    if found is None:
        raise CornersNeeded(photo.name, "give the board's four corners in the photo (--corners).")
    return found


def _core(photo: Photo, lies: Registration, outline_mm: Array, height_mm: float) -> Array:
    middle = outline_mm.mean(axis=0)
    return colour_inside(photo, lies.project(middle + CORE * (outline_mm - middle), height_mm))


def layout_png(
    photo: Photo, sheet: GameSheet, lies: Registration, laid: Mapping[str, str]
) -> bytes:
    """The board from straight above, each piece with its sign."""
    size = sheet.lattice.board_size_mm
    scale = PICTURE_PX / size[0]
    picture = rectify(
        photo, lies, (0.0, 0.0), scale, (PICTURE_PX, round(size[1] * scale)), sheet.piece_height_mm
    )
    for cell in sheet.lattice.cells:
        if cell.id in laid:
            write(picture, laid[cell.id], np.mean(cell.polygon_mm, axis=0) * scale, 1.3)
    return png(picture)


def names_for(lab: Array) -> tuple[str, ...]:
    """A plain word for each colour (N, 3), CIELAB, no two alike, as near to all of them as can be.

    Brightness counts half, for the photo's exposure is not known. Source of the words:
    ``desk.tints.plain_colours``; of the difference: CIEDE2000 (Sharma, Wu, Dalal 2005), kL = 2.
    """
    words = list(plain_colours())
    known = np.array([ImageColor.getrgb(plain_colours()[word])[:3] for word in words], np.uint8)
    tints = lab_from_linear(linear_from_srgb(known))
    far = deltaE_ciede2000(lab[:, None], tints[None], kL=2)
    of = dict(zip(*linear_sum_assignment(far**2), strict=True))
    return tuple(words[of[k]] if k in of else f"colour {k + 1}" for k in range(len(lab)))
