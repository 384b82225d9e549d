"""Loose pieces found and told on rendered tables: counted right or flagged."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibrate.types import Table
from samples.cards import piece_paints
from samples.conditions import Conditions
from samples.penmarrow import load_penmarrow
from samples.practice import PENMARROW_PRINT
from samples.spread import SpreadShot, apart_mm, scatter, take_spread
from tests.bench.packing import how_pieces_fared
from tests.vision.practice import from_pixels
from vision.errors import PhotoError
from vision.outlines import piece_of
from vision.spread import find_pieces
from vision.spread_colours import tell_pieces

OUTLINE = np.array(load_penmarrow().lattice.cells[0].polygon_mm)


def spread_of(names: list[str], tabletop: str, seed: int) -> SpreadShot:
    """Pieces of these colours on a table-top, some touching."""
    light = replace(
        Conditions(), size_px=(1000, 750), tabletop=tabletop, tilt_deg=9.0, turn_deg=25.0,
        reach=0.85, exposure_ev=-0.4, supersample=1.0,
    )  # fmt: skip
    paints = piece_paints(load_penmarrow(), PENMARROW_PRINT)
    rng = np.random.default_rng(seed)
    return take_spread(OUTLINE, 2.8, paints, names, light, rng, touch=0.3)


@pytest.mark.parametrize("tabletop", ["plain", "wood"])
def test_every_loose_piece_is_counted_right_or_flagged(
    penmarrow_table: Table, tabletop: str
) -> None:
    names = ["moss", "plum", "slate", "lichen"] * 7
    shot = spread_of(names, tabletop, 3)
    spread = find_pieces(from_pixels(shot.pixels), piece_of(OUTLINE))
    fared = how_pieces_fared(spread, tell_pieces(spread, penmarrow_table.palette), shot)

    assert max(shot.touching) > 0
    assert (fared["wrong"], fared["missed"], fared["invented"]) == (0, 0, 0)
    assert fared["right"] > len(names) / 3


def test_dots_and_holed_shapes_printed_on_a_cloth_are_never_counted(
    penmarrow_table: Table,
) -> None:
    angles = np.radians(np.arange(0, 360, 60))
    hexagon = np.column_stack([np.cos(angles), np.sin(angles)])
    spots = [(100 + 120 * (k % 5), 100 + 140 * (k // 5)) for k in range(15)]
    dot, holed = spots[3], spots[7]
    pixels = np.full((480, 680, 3), 150, np.uint8)
    for spot in spots:
        outline = np.round(hexagon * 26 + spot).astype(np.int32)
        if spot != dot:
            cv2.fillPoly(pixels, [outline], (110, 130, 70), cv2.LINE_AA)
    cv2.circle(pixels, dot, 23, (110, 130, 70), -1, cv2.LINE_AA)
    cv2.circle(pixels, holed, 8, (150, 150, 150), -1, cv2.LINE_AA)
    spread = find_pieces(from_pixels(pixels), piece_of([(x, y) for x, y in hexagon]))
    told = tell_pieces(spread, penmarrow_table.palette)
    doubts = {one.doubt for one in told if one.doubt is not None}
    middles = np.array([one.piece.outline_px.mean(axis=0) for one in told]).reshape(-1, 1, 2)
    seen = cv2.perspectiveTransform(middles, spread.to_photo).reshape(-1, 2)

    assert len(told) == 14
    assert np.linalg.norm(seen - dot, axis=1).min() > 60
    assert len(spread.unsettled) == 1
    assert "it is not of one colour" in doubts


def test_a_table_without_pieces_is_refused() -> None:
    bare = np.full((480, 640, 3), 140, np.uint8)

    with pytest.raises(PhotoError, match="hardly any loose pieces are seen"):
        find_pieces(from_pixels(bare), piece_of(OUTLINE))


def test_scattered_pieces_never_overlap_and_some_touch() -> None:
    laid, near = scatter(OUTLINE, 30, np.random.default_rng(1), 0.4)
    gaps = [apart_mm(a, b) for i, a in enumerate(laid) for b in laid[:i]]

    assert min(gaps) >= 0
    assert Counter(near)[0] < 30
