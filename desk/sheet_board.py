"""The board of a new sheet as lines of TOML: from options, a proposed lattice, or drawn cells."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from desk.given import GivenError
from scoring.regular import Shape, cell_name, place_outline, steps_of
from vision.lattice_proposal import Proposal

Array = NDArray[np.float64]
Step = tuple[int, int]


def regular_board(keys: dict[str, str]) -> list[str]:
    """A regular board's lines from its keys, values as they stand in TOML."""
    missing = [key for key in ("kind", "rows", "pitch_mm") if key not in keys]
    if missing:
        options = ", ".join(f"--{key.removesuffix('_mm')}" for key in missing)
        raise GivenError("sheet new", f"needs {options}, or a --photo or an --svg of the board.")
    return [f"{key} = {value}" for key, value in keys.items()]


def board_from_proposal(
    proposal: Proposal, size_mm: tuple[float, float], drop: Sequence[str]
) -> tuple[list[str], dict[Step, str]]:
    """The board's lines, and the name of each cell by its step in the proposal."""
    ids = _named(proposal, proposal.steps)
    strangers = [name for name in drop if name not in ids.values()]
    if strangers:
        raise GivenError(f"--drop {strangers[0]}", "there is no such cell in the proposal.")
    kept = [step for step in proposal.steps if ids[step] not in set(drop)]
    if not kept:
        raise GivenError("--drop", "leaves no cell at all.")
    ids = _named(proposal, kept)
    return _as_regular(proposal, size_mm, ids) or _as_drawn(proposal, size_mm, ids), ids


def _named(proposal: Proposal, steps: Sequence[Step]) -> dict[Step, str]:
    """Names of the cells: rows from the top, numbered from the left."""
    rows: dict[int, list[Step]] = {}
    odd = _odd_column(steps)
    for u, v in steps:
        row = (v - (u % 2 == odd)) // 2 if proposal.kind == "hex-flat" else v
        rows.setdefault(row, []).append((u, v))
    return {
        step: cell_name(row, column)
        for row, (_, cells) in enumerate(sorted(rows.items()))
        for column, step in enumerate(sorted(cells))
    }


def _odd_column(steps: Sequence[Step]) -> int:
    """Which columns (of even or odd u) of flat hexagons stand half a cell lower."""
    tops = {p: min((v for u, v in steps if u % 2 == p), default=10_000) for p in (0, 1)}
    return 0 if tops[0] > tops[1] else 1


def _as_regular(
    proposal: Proposal, size_mm: tuple[float, float], ids: dict[Step, str]
) -> list[str] | None:
    """A regular board's lines if one has just these cells at these places."""
    names = list(ids.values())
    rows = [0] * len({name.rstrip("0123456789") for name in names})
    letters = [cell_name(row, 0)[:-1] for row in range(len(rows))]
    for name in names:
        rows[letters.index(name.rstrip("0123456789"))] += 1
    options = ["none", "centred"] if proposal.kind == "square" else ["first", "second", "centred"]
    for shifted in options:
        if proposal.kind == "hex-flat" and shifted == "centred":
            continue
        margin = _margin_if_alike(proposal, tuple(rows), shifted, ids)
        if margin is not None:
            return _regular_lines(proposal, size_mm, (rows, shifted, margin))
    return None


def _shape(proposal: Proposal, rows: tuple[int, ...], shifted: str, margin: Step | Array) -> Shape:
    down = proposal.down_mm if proposal.kind == "courses" else None
    at = (float(margin[0]), float(margin[1]))
    return Shape(rows, proposal.pitch_mm, proposal.gap_mm, at, down, shifted, proposal.round_lower)


def _margin_if_alike(
    proposal: Proposal, rows: tuple[int, ...], shifted: str, ids: dict[Step, str]
) -> Array | None:
    """The margin (2,) mm with which a regular board of these rows lies on the proposal."""
    shape = _shape(proposal, rows, shifted, (0, 0))
    spots = {}
    for name, step in steps_of(proposal.kind, shape).items():
        place = np.array(place_outline(proposal.kind, shape, step))
        spots[name] = (place.min(axis=0) + place.max(axis=0)) / 2
    if set(spots) != set(ids.values()):
        return None
    apart = np.array([np.array(proposal.centre_mm(s)) - spots[name] for s, name in ids.items()])
    return apart.mean(axis=0) if np.abs(apart - apart.mean(axis=0)).max() < 0.5 else None


def _regular_lines(
    proposal: Proposal, size_mm: tuple[float, float], found: tuple[list[int], str, Array]
) -> list[str]:
    rows, shifted, margin = found
    lines = [
        f'kind = "{proposal.kind}"',
        f"rows = {rows}  # cells in each row, from the top (A) down",
        f'shifted = "{shifted}"',
        f"pitch_mm = {proposal.pitch_mm:.2f}",
    ]
    if proposal.kind == "courses":
        lines.append(f"row_pitch_mm = {proposal.down_mm:.2f}")
        lines.append(f'lower_edge = "{"round" if proposal.round_lower else "straight"}"')
    return [
        *lines,
        f"gap_mm = {proposal.gap_mm:.1f}",
        f"margin_mm = [{max(margin[0], 0):.1f}, {max(margin[1], 0):.1f}]",
        f"size_mm = [{size_mm[0]:.1f}, {size_mm[1]:.1f}]",
    ]


def _as_drawn(proposal: Proposal, size_mm: tuple[float, float], ids: dict[Step, str]) -> list[str]:
    """A drawn board's lines; outlines touch where the print leaves a gap, so that sides join."""
    outlines = [(name, proposal.outline_mm(step)) for step, name in ids.items()]
    return drawn_lines(outlines, size_mm, proposal.kind)


def drawn_lines(
    outlines: Sequence[tuple[str, Array]], size_mm: tuple[float, float], like: str
) -> list[str]:
    """The lines of a board drawn cell by cell, in mm."""
    cells = []
    for name, outline in outlines:
        points = ", ".join(f"[{x:.2f}, {y:.2f}]" for x, y in outline)
        cells.append(f'  {{ id = "{name}", polygon_mm = [{points}] }},')
    head = ['kind = "drawn"', f"size_mm = [{size_mm[0]:.1f}, {size_mm[1]:.1f}]"]
    return head + ([f'like = "{like}"'] if like else []) + ["cells = [", *cells, "]"]
