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
from vision.colour import lab_from_linear
from vision.errors import PhotoError
from vision.ground import half
from vision.outlines import piece_of
from vision.spread import Spread, find_pieces
from vision.spread_colours import (
    ABSENT,
    CLIPPED,
    MARGIN,
    MOVED,
    NO_COLOUR,
    SHOWN,
    ToldPiece,
    colours_like_table,
    core_colours,
    margins,
    moved_pieces,
    tell_pieces,
)

OUTLINE = np.array(load_penmarrow().lattice.cells[0].polygon_mm)


def spread_of(names: list[str], tabletop: str, seed: int, exposure_ev: float = -0.4) -> SpreadShot:
    """Pieces of these colours on a table-top, some touching."""
    light = replace(
        Conditions(), size_px=(1000, 750), tabletop=tabletop, tilt_deg=9.0, turn_deg=25.0,
        reach=0.85, exposure_ev=exposure_ev, supersample=1.0,
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


def test_burnt_pieces_on_a_dark_mat_are_counted_right_or_flagged(penmarrow_table: Table) -> None:
    names = ["moss", "rust", "slate", "lichen"] * 7
    shot = spread_of(names, "felt", 4, exposure_ev=0.5)
    spread = find_pieces(from_pixels(shot.pixels), piece_of(OUTLINE))
    fared = how_pieces_fared(spread, tell_pieces(spread, penmarrow_table.palette), shot)

    assert (core_colours(spread)[0].max(axis=1) > 0.95).mean() > 0.3
    assert (fared["wrong"], fared["missed"], fared["invented"]) == (0, 0, 0)


def told_spread(table: Table) -> tuple[Spread, tuple[ToldPiece, ...]]:
    """Five pieces of each of four colours on plain grey, and what they are told to be."""
    shot = spread_of(["moss", "plum", "slate", "lichen"] * 5, "plain", 3)
    spread = find_pieces(from_pixels(shot.pixels), piece_of(OUTLINE))
    return spread, tell_pieces(spread, table.palette)


def test_colours_that_the_table_itself_has_are_named(penmarrow_table: Table) -> None:
    spread, told = told_spread(penmarrow_table)
    moss = core_colours(spread)[0][[one.candidates == ("moss",) for one in told]]
    like_moss = replace(spread, table=half(lab_from_linear(moss).astype(np.float32)))
    on_white = replace(spread, table=np.array([[50, 0, 0]], np.float32))

    assert "moss" in colours_like_table(like_moss, told, penmarrow_table.palette)
    assert "plum" not in colours_like_table(like_moss, told, penmarrow_table.palette)
    assert "moss" not in colours_like_table(on_white, told, penmarrow_table.palette)


def test_whatever_a_piece_may_be_that_looks_like_the_table_is_named(penmarrow_table: Table) -> None:
    """The light may be misjudged; a piece that is seen to look so is not."""
    spread, told = told_spread(penmarrow_table)
    one = core_colours(spread)[0][:1]
    like_one = replace(spread, table=half(lab_from_linear(one).astype(np.float32)))
    doubted = (replace(told[0], candidates=("rust", "copper"), doubt="it lies between colours"),)

    named = colours_like_table(like_one, doubted + told[1:], penmarrow_table.palette)

    assert {"rust", "copper"} <= set(named)


def test_in_a_light_not_understood_colours_that_no_piece_shows_are_named(
    penmarrow_table: Table,
) -> None:
    spread, told = told_spread(penmarrow_table)
    on_white = replace(spread, table=np.array([[50, 0, 0]], np.float32))
    sure = [replace(one, candidates=one.candidates[:1], doubt=None) for one in told]
    strange = [replace(one, doubt=NO_COLOUR) for one in sure[:2]] + sure[2:]
    pieces = Counter(one.candidates[0] for one in strange if one.doubt is None)
    shown = {name for name, number in pieces.items() if number >= SHOWN}
    named = set(colours_like_table(on_white, strange, penmarrow_table.palette))

    assert shown
    assert colours_like_table(on_white, sure, penmarrow_table.palette) == ()
    assert {"rust", "copper"} <= named
    assert not named & shown


def test_pieces_that_lie_far_from_their_nearest_colour_as_a_crowd_are_not_certain() -> None:
    """A lamp moves whole colours: what lies on a colour's place may be its neighbour."""
    far, near, strange = [MOVED + 5, 60.0], [60.0, 2.0], [60.0, 200.0]
    best = np.array([far] * 5 + [near] * 5 + [strange])
    plain = np.array([True] * 10 + [False])

    assert moved_pieces(best, plain).tolist() == [True] * 5 + [False] * 5 + [True]
    assert not moved_pieces(np.array([near] * 5 + [[60.0, 18.0]]), np.ones(6, bool)).any()


def test_margins_are_wider_at_full_scale_and_toward_colours_that_no_piece_shows() -> None:
    best = np.array([[0.0, 40.0, 60.0], [40.0, 0.0, 60.0], [50.0, 60.0, 0.0]])
    seen = np.array([[1.0, 0.5, 0.1], [0.5, 0.5, 0.1], [0.4, 0.4, 0.4]])
    told = margins(best, seen, np.array([True, True, False]))

    assert told[1].tolist() == [MARGIN, MARGIN, MARGIN * ABSENT]
    assert told[0].tolist() == [MARGIN * CLIPPED, MARGIN * CLIPPED, MARGIN * CLIPPED * ABSENT]


def test_a_piece_that_mirrors_a_lamp_in_a_part_of_it_is_in_doubt(penmarrow_table: Table) -> None:
    spread, told = told_spread(penmarrow_table)
    number = next(k for k, one in enumerate(told) if one.doubt is None)
    low = np.round(spread.pieces[number].outline_px.min(axis=0)).astype(int)
    high = np.round(spread.pieces[number].outline_px.max(axis=0)).astype(int)
    level = spread.level.copy()
    level[low[1] : high[1], low[0] : high[0]] = (247, 245, 170)
    level[low[1] : high[1], low[0] : low[0] + (high - low)[0] * 2 // 5] = (255, 255, 182)
    glary = replace(spread, level=level)
    burnt, mixed = core_colours(glary)[1][number], core_colours(glary)[2][number]

    assert 0.1 < burnt < 0.5
    assert mixed < 0.05
    assert "burnt out in places" in str(tell_pieces(glary, penmarrow_table.palette)[number].doubt)


def test_dark_pieces_do_not_pass_for_the_dark_room_beyond_the_table() -> None:
    pixels = np.full((600, 900, 3), 150, np.uint8)
    pixels[:, 780:] = 35
    spots = [(80 + 100 * (k % 7), 80 + 110 * (k // 7)) for k in range(28)]
    pairs = [(305, 540), (343, 540), (505, 540), (543, 540)]
    for k, (x, y) in enumerate(spots + pairs):
        ink = (36, 36, 36) if (x, y) in pairs else [(110, 130, 70), (150, 60, 40)][k % 2]
        cv2.rectangle(pixels, (x - 18, y - 18), (x + 18, y + 18), ink, -1)
    spread = find_pieces(from_pixels(pixels), piece_of([(0, 0), (1, 0), (1, 1), (0, 1)]))
    counted = [one.outline_px.mean(axis=0) for one in spread.pieces]
    left = [place.box_px for place in spread.unsettled]
    back = np.linalg.inv(spread.to_photo)
    for spot in cv2.perspectiveTransform(np.array(pairs, float)[:, None], back)[:, 0]:
        seen = min(np.linalg.norm(np.array(counted) - spot, axis=1)) < 15
        boxed = any((box.min(0) < spot).all() and (spot < box.max(0)).all() for box in left)

        assert seen or boxed


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
