"""From the board of a sheet's form to a lattice, every contradiction refused with its place."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from scoring.errors import SheetError
from scoring.lattice import (
    anchor_distance,
    build_lattice,
    cells_at_edge,
    regular_lattice,
    rows_of,
    with_anchors,
)
from scoring.limits import MOST_CELLS
from scoring.regular import Shape
from scoring.sheet_form import BoardForm
from scoring.types import Cell, Lattice


def lattice_of(form: BoardForm) -> Lattice:
    """The lattice that a sheet's board describes, with its anchors."""
    bare = _drawn(form) if form.kind == "drawn" else _regular(form)
    _refuse_cells_off_board(bare)
    lattice = with_anchors(bare, _anchors(form, bare))
    if form.support != "none":
        _refuse_unreachable(lattice)
    return lattice


def _regular(form: BoardForm) -> Lattice:
    if form.cells or form.like:
        raise SheetError("board", f"cells and like are for drawn boards, not for {form.kind}")
    if form.pitch_mm is None:
        raise SheetError("board, pitch_mm", "this key is missing")
    if form.row_pitch_mm and form.kind != "courses":
        raise SheetError("board, row_pitch_mm", "is for courses only")
    if form.lower_edge == "round" and form.kind != "courses":
        raise SheetError("board, lower_edge", "is for courses only")
    least = min(form.pitch_mm, form.row_pitch_mm or form.pitch_mm)
    if form.gap_mm > 0.3 * least:
        raise SheetError("board, gap_mm", f"leaves too little of cells {least:g} mm wide")
    rows = _row_lengths(form)
    if form.shifted == "centred":
        _refuse_off_centre(form.kind, rows)
    shape = Shape(
        rows=rows,
        pitch_mm=form.pitch_mm,
        gap_mm=form.gap_mm,
        margin_mm=_margin(form),
        row_pitch_mm=form.row_pitch_mm,
        shifted=form.shifted,
        round_lower=form.lower_edge == "round",
    )
    return regular_lattice(form.kind, shape, form.size_mm)


def _refuse_off_centre(kind: str, rows: tuple[int, ...]) -> None:
    """Rows can be centred only if their cells then lie as the lattice has them."""
    if kind == "hex-flat":
        raise SheetError("board, shifted", "rows of flat hexagons cannot be centred")
    odd = 0 if kind == "square" else 1
    for above, below in pairwise(rows):
        if (above - below) % 2 != odd:
            reason = f"centred rows of {above} and {below} cells do not lie as in {kind}"
            raise SheetError("board, shifted", reason)


def _row_lengths(form: BoardForm) -> tuple[int, ...]:
    if isinstance(form.rows, list):
        if form.columns is not None:
            raise SheetError("board, columns", "rows already says how many cells each row has")
        lengths = tuple(form.rows)
    elif form.rows is None or form.columns is None:
        raise SheetError("board", "say rows = [cells in each row], or rows and columns as numbers")
    else:
        lengths = (form.columns,) * form.rows
    if sum(lengths) > MOST_CELLS:
        raise SheetError("board, rows", f"{sum(lengths)} cells; a board has at most {MOST_CELLS}")
    return lengths


def _margin(form: BoardForm) -> tuple[float, float]:
    margin = form.margin_mm
    return margin if isinstance(margin, tuple) else (margin, margin)


def _drawn(form: BoardForm) -> Lattice:
    if not form.cells:
        raise SheetError("board, cells", "a drawn board needs its cells")
    if form.size_mm is None:
        raise SheetError("board, size_mm", "a drawn board needs its size")
    if len(form.cells) > MOST_CELLS:
        raise SheetError("board, cells", f"a board has at most {MOST_CELLS}")
    cells = [Cell(cell.id, tuple(cell.polygon_mm)) for cell in form.cells]
    given = {cell.id: cell.neighbours for cell in form.cells if cell.neighbours is not None}
    if given and len(given) < len(cells):
        bare = next(cell.id for cell in form.cells if cell.neighbours is None)
        raise SheetError(f"board, cell {bare}", "give neighbours for every cell or for none")
    return build_lattice("drawn", cells, form.size_mm, given or None, form.like)


def _refuse_cells_off_board(lattice: Lattice) -> None:
    width, height = lattice.board_size_mm
    for cell in lattice.cells:
        if any(
            not (-0.01 <= x <= width + 0.01 and -0.01 <= y <= height + 0.01)
            for x, y in cell.polygon_mm
        ):
            raise SheetError(
                f"board, cell {cell.id}", f"lies beyond the board of {width:g} x {height:g} mm"
            )


def _anchors(form: BoardForm, lattice: Lattice) -> set[str]:
    ids = [cell.id for cell in lattice.cells]
    rows = rows_of(lattice)
    _refuse_strangers("rows", form.anchors.rows, rows, "row")
    _refuse_strangers("cells", form.anchors.cells, ids, "cell")
    found = set(ids) if form.anchors.all else set(form.anchors.cells)
    found.update(id for row in form.anchors.rows for id in rows[row])
    if form.anchors.edge:
        found.update(cells_at_edge(lattice, form.anchors.edge))
    return found


def _refuse_strangers(key: str, named: Iterable[str], known: Iterable[str], word: str) -> None:
    strangers = [name for name in named if name not in set(known)]
    if strangers:
        raise SheetError(f"board, anchors, {key}", f"there is no {word} {strangers[0]}")


def _refuse_unreachable(lattice: Lattice) -> None:
    reached = anchor_distance(lattice)
    if not reached:
        raise SheetError(
            "board, anchors", 'no cell is an anchor, so no piece may ever lie (support = "none"?)'
        )
    cut_off = [cell.id for cell in lattice.cells if cell.id not in reached]
    if cut_off:
        raise SheetError(
            "board, anchors", f"no anchor can be reached from {', '.join(cut_off[:5])}"
        )
