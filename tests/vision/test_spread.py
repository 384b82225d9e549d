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


def test_rings_and_dots_printed_on_a_cloth_are_never_counted(penmarrow_table: Table) -> None:
    names = ["moss", "plum", "slate", "lichen"] * 3
    shot = spread_of(names, "plain", 3)
    piece = piece_of(OUTLINE)
    bare = find_pieces(from_pixels(shot.pixels), piece)
    size = np.sqrt(cv2.contourArea(bare.pieces[0].outline_px.astype(np.float32)))
    at = np.array([[[0.0, 0.0]], [[size, 0.0]]]) + bare.pieces[0].outline_px.mean(axis=0)
    a, b = cv2.perspectiveTransform(at, bare.to_photo).reshape(2, 2)
    radius = float(np.linalg.norm(b - a)) / np.sqrt(np.pi)
    pixels = shot.pixels.copy()
    spots = [(round(radius) + 12, round(radius) + 12), (988 - round(radius), 738 - round(radius))]
    assert min(np.linalg.norm(np.subtract(s, t)) for s in spots for t in shot.spots_px) > 3 * radius
    for spot, hole in zip(spots, (True, False), strict=True):
        cv2.circle(pixels, spot, round(radius), (120, 60, 100), -1, cv2.LINE_AA)
        if hole:
            cv2.circle(pixels, spot, round(radius * 0.4), pixels[2, 2].tolist(), -1, cv2.LINE_AA)
    spread = find_pieces(from_pixels(pixels), piece)
    told = tell_pieces(spread, penmarrow_table.palette)
    fared = how_pieces_fared(spread, told, shot)

    assert fared["invented"] == 0
    assert len(spread.unsettled) + sum(one.doubt is not None for one in told) >= 2


def test_a_table_without_pieces_is_refused() -> None:
    bare = np.full((480, 640, 3), 140, np.uint8)

    with pytest.raises(PhotoError, match="hardly any loose pieces are seen"):
        find_pieces(from_pixels(bare), piece_of(OUTLINE))


def test_scattered_pieces_never_overlap_and_some_touch() -> None:
    laid, near = scatter(OUTLINE, 30, np.random.default_rng(1), 0.4)
    gaps = [apart_mm(a, b) for i, a in enumerate(laid) for b in laid[:i]]

    assert min(gaps) >= 0
    assert Counter(near)[0] < 30
