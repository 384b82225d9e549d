"""Outlines and steps of the regular lattices. Lengths in mm, x right, y down.

Steps (u, v), in which patterns are written, are

=============  =======================================================================
square         u column, v row
courses        u half columns (a shifted row is one more), v row
hex-pointy     the same
diamond        the same: neighbours lie one half column and one row away
hex-flat       u column, v half rows
=============  =======================================================================
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from scoring.types import Point

Outline = tuple[Point, ...]
Step = tuple[int, int]


@dataclass(frozen=True)
class Shape:
    """What a regular board is built from: cells in each row, and lengths in mm.

    ``pitch_mm`` is the distance of two neighbouring cells (in courses: of two in one row);
    ``gap_mm`` the clear space between two cells; ``margin_mm`` the space left of and above the
    lattice; ``row_pitch_mm`` the distance of two courses. ``shifted`` says which rows lie half a
    cell to the right ("first": A, C, E ...; "second": B, D, F ...; "none"); in hex-flat, which
    columns lie half a cell lower. "centred" puts the middles of all rows below one another, as on
    boards in the shape of a hexagon. ``round_lower`` rounds the lower edge of a course's pieces.
    """

    rows: tuple[int, ...]
    pitch_mm: float
    gap_mm: float = 0.0
    margin_mm: tuple[float, float] = (0.0, 0.0)
    row_pitch_mm: float | None = None
    shifted: str = "second"
    round_lower: bool = False


def cell_name(row: int, column: int) -> str:
    """Name of a cell by row and column counted from 0: A1 ... Z9, AA1 ..."""
    letters = ""
    row += 1
    while row:
        row, letter = divmod(row - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"{letters}{column + 1}"


def row_of(cell: str) -> str:
    """Row letter of a cell name."""
    return cell.rstrip("0123456789")


def steps_of(kind: str, shape: Shape) -> dict[str, Step]:
    """Step of every cell by name, row by row."""
    return {
        cell_name(row, column): _step(kind, shape, row, column)
        for row, length in enumerate(shape.rows)
        for column in range(length)
    }


def piece_outline(kind: str, shape: Shape, step: Step) -> Outline:
    """Outline of the cell at a step, the gap left out."""
    corners = _CORNERS[kind](shape, shape.gap_mm)
    return _moved(kind, shape, step, _round_lower(corners) if shape.round_lower else corners)


def place_outline(kind: str, shape: Shape, step: Step) -> Outline:
    """Outline of the place that the cell at a step fills, gap included and corners sharp."""
    return _moved(kind, shape, step, _CORNERS[kind](shape, 0.0))


def _step(kind: str, shape: Shape, row: int, column: int) -> Step:
    if kind == "hex-flat":
        return (column, 2 * row + _half_steps(shape, column))
    if kind == "square":
        return (column + (_half_steps(shape, row) // 2 if shape.shifted == "centred" else 0), row)
    return (2 * column + _half_steps(shape, row), row)


def _half_steps(shape: Shape, line: int) -> int:
    """How many half cells a line lies off the first possible place."""
    if shape.shifted == "centred":
        return max(shape.rows) - shape.rows[line]
    return {"first": 1 - line % 2, "second": line % 2, "none": 0}[shape.shifted]


def _moved(kind: str, shape: Shape, step: Step, corners: Sequence[Point]) -> Outline:
    x, y = _CENTRES[kind](shape, *step)
    x, y = x + shape.margin_mm[0], y + shape.margin_mm[1]
    return tuple((round(x + dx, 4), round(y + dy, 4)) for dx, dy in corners)


def _height(shape: Shape) -> float:
    return shape.row_pitch_mm or shape.pitch_mm


def _hex_centre(pitch: float, across: int, along: int) -> Point:
    """Centre of a hexagon counted along its rows in half pitches and across them in rows."""
    radius = pitch / math.sqrt(3)
    return (pitch * (along + 1) / 2, radius * (1 + 1.5 * across))


_CENTRES: Mapping[str, Callable[[Shape, int, int], Point]] = {
    "square": lambda s, u, v: (s.pitch_mm * (u + 0.5), s.pitch_mm * (v + 0.5)),
    "courses": lambda s, u, v: (s.pitch_mm * (u + 1) / 2, _height(s) * (v + 0.5)),
    "hex-pointy": lambda s, u, v: _hex_centre(s.pitch_mm, v, u),
    "hex-flat": lambda s, u, v: _hex_centre(s.pitch_mm, u, v)[::-1],
    "diamond": lambda s, u, v: (
        s.pitch_mm / math.sqrt(2) * (u + 1),
        s.pitch_mm / math.sqrt(2) * (v + 1),
    ),
}

_CORNERS: Mapping[str, Callable[[Shape, float], list[Point]]] = {
    "square": lambda s, gap: _box(s.pitch_mm - gap, s.pitch_mm - gap),
    "courses": lambda s, gap: _box(s.pitch_mm - gap, _height(s) - gap),
    "hex-pointy": lambda s, gap: _ring((s.pitch_mm - gap) / math.sqrt(3), 6, 30.0),
    "hex-flat": lambda s, gap: _ring((s.pitch_mm - gap) / math.sqrt(3), 6, 0.0),
    "diamond": lambda s, gap: _ring((s.pitch_mm - gap) / math.sqrt(2), 4, 0.0),
}


def _box(width: float, height: float) -> list[Point]:
    x, y = width / 2, height / 2
    return [(-x, -y), (x, -y), (x, y), (-x, y)]


def _ring(radius: float, corners: int, first_deg: float) -> list[Point]:
    angles = [math.radians(first_deg + 360 * k / corners) for k in range(corners)]
    return [(radius * math.cos(a), radius * math.sin(a)) for a in angles]


def _round_lower(box: Sequence[Point]) -> list[Point]:
    """A box whose lower edge is half an ellipse, 42 % of the height deep, drawn with 11 points."""
    (left, top), (right, _), (_, bottom), _ = box
    deep = (bottom - top) * 0.42
    angles = [math.pi * k / 10 for k in range(11)]
    arc = [(right * math.cos(a), bottom - deep + deep * math.sin(a)) for a in angles]
    return [(left, top), (right, top), *arc]
