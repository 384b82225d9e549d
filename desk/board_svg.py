"""A drawing of a board: each closed path is a cell, in mm, whatever groups and transforms hold."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from desk.given import GivenError
from scoring.errors import SheetError
from scoring.given_file import read_given
from scoring.lattice import build_lattice
from scoring.limits import MOST_CELLS, MOST_DRAWING_BYTES, MOST_DRAWN_ELEMENTS
from scoring.regular import cell_name
from scoring.sides import within
from scoring.types import Cell

Array = NDArray[np.float64]
Named = list[tuple[str, Array]]

PX_PER_MM = 96 / 25.4
"""SVG user units per mm, where the drawing says mm (CSS: 96 px an inch)."""

XLINK_HREF = "{http://www.w3.org/1999/xlink}href"
UNREADABLE = (
    ElementTree.ParseError,
    ValueError,
    AttributeError,
    TypeError,
    LookupError,
    RecursionError,
)
"""What svgelements raises at drawings that break the rules."""

CURVE_STEPS = 12
MEETS_MM = 0.05
"""A path whose ends are nearer than this is closed, as drawing programs often leave it."""

BESIDE = {
    "square": {(1, 0), (0, 1)},
    "courses": {(2, 0), (1, 1), (1, -1)},
    "hex-pointy": {(2, 0), (1, 1), (1, -1)},
    "hex-flat": {(0, 2), (1, 1), (1, -1)},
    "diamond": {(1, 1), (1, -1)},
}
"""Steps (u, v) from a cell to half of its neighbours on each regular lattice; the others oppose."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """A drawing's cells by name, the page in mm, the regular kind they lie like ("" if none), and
    what was left out, in words."""

    cells: Named
    size_mm: tuple[float, float]
    like: str
    told: tuple[str, ...] = ()


def read_drawing(path: Path, size_mm: tuple[float, float] | None) -> Drawn:
    """The cells of an SVG. ``size_mm`` of the board, where given, sets the scale.

    Raises GivenError for a file that is no drawing, or one without a closed path.
    """
    page = _parsed(path)
    closed: list[Array] = []
    still_open = 0
    try:
        for outline in _outlines(page):
            if outline is None:
                still_open += 1
            else:
                closed.append(outline)
    except UNREADABLE as error:
        raise GivenError(str(path), "has a path that cannot be followed.") from error
    if len(closed) > MOST_CELLS:
        raise GivenError(str(path), f"has more than {MOST_CELLS} paths; a board has fewer cells.")
    width, height = float(page.width), float(page.height)
    scale = (PX_PER_MM, PX_PER_MM)
    if size_mm:
        scale = (width / size_mm[0], height / size_mm[1])
        if not 0.98 < scale[0] / scale[1] < 1.02:
            raise GivenError(
                "--size", f"does not fit the drawing's page, {width:g} wide and {height:g} high."
            )
    outlines = [outline / scale for outline in closed]
    middles = np.array([(one.min(axis=0) + one.max(axis=0)) / 2 for one in outlines]).reshape(-1, 2)
    cells = [
        one
        for i, one in enumerate(outlines)
        if not _holds_others(one, np.delete(middles, i, axis=0))
    ]
    if not cells:
        raise GivenError(str(path), "holds no closed path; draw each cell as one.")
    page_mm = (width / scale[0], height / scale[1])
    named = in_rows(cells)
    told = []
    if len(cells) < len(outlines):
        told.append(f"{len(outlines) - len(cells)} paths that hold others were taken as frames.")
    if still_open:
        told.append(f"{still_open} open paths are no cells; close them if they should be.")
    return Drawn(named, page_mm, lies_like(named, page_mm), tuple(told))


def drawing_bytes(path: Path) -> bytes:
    """The file's content. Raises GivenError where it is too long for a drawing."""
    data = read_given(path, MOST_DRAWING_BYTES)
    if len(data) > MOST_DRAWING_BYTES:
        raise GivenError(str(path), "is too large to be the drawing of a board.")
    return data


def _parsed(path: Path) -> Any:
    from svgelements import SVG

    data = drawing_bytes(path)
    try:
        if drawn_elements(ElementTree.fromstring(data)) > MOST_DRAWN_ELEMENTS:
            raise GivenError(str(path), f"draws more than {MOST_DRAWN_ELEMENTS} things.")
        return SVG.parse(io.BytesIO(data), ppi=96.0)
    except UNREADABLE as error:
        raise GivenError(str(path), "is not an SVG drawing that can be read.") from error


def drawn_elements(root: ElementTree.Element) -> int:
    """How many elements a drawing comes to once each ``use`` is followed.

    Copies of copies double with each line of the file. Raises RecursionError where one holds
    itself.
    """
    by_id = {one.get("id", ""): one for one in root.iter()}
    known: dict[ElementTree.Element, int] = {}

    def count(one: ElementTree.Element) -> int:
        if one not in known:
            used = by_id.get((one.get("href") or one.get(XLINK_HREF) or "").removeprefix("#"))
            copies = count(used) if one.tag.endswith("}use") and used is not None else 0
            known[one] = 1 + copies + sum(map(count, one))
        return known[one]

    return count(root)


def _outlines(page: Any) -> Iterator[Array | None]:
    """The outline (K, 2) px of every path, part by part; None for one that is open."""
    from svgelements import Path as Drawing
    from svgelements import Shape

    for shape in page.elements():
        if not isinstance(shape, Shape) or shape.values.get("visibility") == "hidden":
            continue
        drawn = Drawing(shape)
        drawn.reify()
        for part in drawn.as_subpaths():
            outline = _outline(Drawing(part))
            if outline is not None and len(outline) == 0:
                continue
            yield outline


def _outline(drawn: Any) -> Array | None:
    """One part's outline (K, 2) px, curves in short steps; None where open, empty where a dot."""
    from svgelements import Close, Line, Move

    points: list[Any] = []
    for part in drawn:
        if isinstance(part, Move):
            points.append(part.end)
            continue
        steps = 1 if isinstance(part, Line | Close) else CURVE_STEPS
        points += [part.point((k + 1) / steps) for k in range(steps)]
    outline = np.array([[p.x, p.y] for p in points if p is not None]).reshape(-1, 2)
    if len(outline) < 2:
        return np.empty((0, 2))
    ends_meet = float(np.linalg.norm(outline[0] - outline[-1])) < MEETS_MM * PX_PER_MM
    if not ends_meet and not any(isinstance(part, Close) for part in drawn):
        return None
    apart = np.linalg.norm(outline - np.roll(outline, 1, axis=0), axis=1) > 0.01 * PX_PER_MM
    return outline[apart] if apart.sum() >= 3 else np.empty((0, 2))


def _holds_others(outline: Array, middles: Array) -> bool:
    """Whether two or more of the others' ``middles`` (N, 2) lie within: it is a frame, no cell."""
    corners = tuple((float(x), float(y)) for x, y in outline)
    low, high = outline.min(axis=0), outline.max(axis=0)
    near = middles[np.all((middles >= low) & (middles <= high), axis=1)]
    return sum(within((x, y), corners) for x, y in near.tolist()) >= 2


def in_rows(outlines: Sequence[Array]) -> Named:
    """Outlines named by row from the top and column from the left."""
    centres = np.array([(o.min(axis=0) + o.max(axis=0)) / 2 for o in outlines])
    tall = float(np.median([np.ptp(o[:, 1]) for o in outlines]))
    last = -math.inf
    rows: list[list[int]] = []
    for i in np.argsort(centres[:, 1], kind="stable").tolist():
        if centres[i, 1] - last > 0.3 * tall:
            rows.append([])
        last = centres[i, 1]
        rows[-1].append(i)
    return [
        (cell_name(row, column), outlines[i])
        for row, members in enumerate(rows)
        for column, i in enumerate(sorted(members, key=lambda i: centres[i, 0]))
    ]


def lies_like(cells: Named, size_mm: tuple[float, float]) -> str:
    """The regular kind whose steps and neighbours the cells have, so that cards can be drawn.

    All cells must be of one shape; "" where no kind has just these neighbours.
    """
    sizes = np.array([np.ptp(outline, axis=0) for _, outline in cells])
    if len(cells) < 3 or np.ptp(sizes, axis=0).max() > 0.05 * sizes.mean():
        return ""
    plain = [Cell(name, tuple(map(tuple, outline.tolist()))) for name, outline in cells]
    kinds = ["hex-pointy", "hex-flat", "square", "diamond", "courses"]
    if np.median([len(outline) for _, outline in cells]) != 6:
        kinds = ["square", "diamond", "courses"]
    for kind in kinds:
        try:
            lattice = build_lattice("drawn", plain, size_mm, None, kind)
        except SheetError:
            continue
        at = {step: name for name, step in lattice.places.items()}
        beside = BESIDE[kind] | {(-u, -v) for u, v in BESIDE[kind]}
        expected = {
            name: {at[u + a, v + b] for a, b in beside if (u + a, v + b) in at}
            for name, (u, v) in lattice.places.items()
        }
        if all(set(lattice.neighbours[name]) == near for name, near in expected.items()):
            return kind
    return ""
