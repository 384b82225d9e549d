"""Totals do not hang on how a board is turned, mirrored or coloured."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import KDTree

from scoring.lattice import cell_centres_mm, regular_lattice
from scoring.patterns import orientations
from scoring.regular import Shape
from scoring.rules import Adjacent, Card, Cards, Empties, Extras, Groups, Spot, Variety
from scoring.sheet import GameSheet
from scoring.tally import tally
from scoring.types import Grid
from tests.scoring.plain import TURNS
from tests.strategies import COLOURS, NAMES, cases, connected_cells, grids

# Boards that turn and mirror onto themselves: rows of a larger board, and what is kept of it.
WHOLE = {
    "square": ((4,) * 4, lambda *_: True),
    "courses": ((4,) * 3, lambda u, _: u <= 6),
    "diamond": ((5,) * 9, lambda u, v: abs(u - 4) + abs(v - 4) <= 4),
    "hex-pointy": ((7,) * 7, lambda u, v: abs(v - 3) <= 2 and abs(u - 7) + abs(v - 3) <= 4),
    "hex-flat": ((7,) * 7, lambda u, v: abs(u - 3) <= 2 and abs(v - 7) + abs(u - 3) <= 4),
}
IMAGES = {"square": 8, "courses": 4, "diamond": 8, "hex-pointy": 12, "hex-flat": 12}


def board(kind):
    """The kept part of a regular board, its cells named as before."""
    rows, keeps = WHOLE[kind]
    lattice = regular_lattice(kind, Shape(rows, 20.0))
    kept = {a: step for a, step in lattice.places.items() if keeps(*step)}
    beside = {a: tuple(b for b in lattice.neighbours[a] if b in kept) for a in kept}
    cells = tuple(cell for cell in lattice.cells if cell.id in kept)
    return replace(
        lattice, cells=cells, neighbours=beside, inner=dict.fromkeys(kept, ()), places=kept
    )


def images(lattice, kind):
    """Every turn and mirror of the board as a mapping of cells, told from their centres in mm."""
    ids = [cell.id for cell in lattice.cells]
    centres = np.array(cell_centres_mm(lattice))
    centres -= (centres.max(axis=0) + centres.min(axis=0)) / 2
    tree = KDTree(centres)
    for mirror in (1.0, -1.0):
        for k in range(TURNS[kind]):
            angle = 2 * math.pi * k / TURNS[kind]
            turn = np.array(
                [[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]]
            )
            far, at = tree.query(centres * [mirror, 1.0] @ turn)
            if far.max() < 0.5:
                yield {id: ids[i] for id, i in zip(ids, at, strict=True)}


@st.composite
def turning_games(draw):
    """A board and a game whose rules name no place and no direction."""
    kind = draw(st.sampled_from(sorted(WHOLE)))
    lattice = board(kind)
    cards = []
    for i in range(draw(st.integers(1, 4))):
        cells = draw(connected_cells(lattice))
        spots = tuple(Spot(*lattice.places[c], draw(st.sampled_from("AABBC*_112"))) for c in cells)
        pattern = orientations(spots, kind, False, False)[0]
        cards.append(Card(f"card {i}", 3, pattern=pattern, each=draw(st.booleans()), common=True))
    points = st.integers(-2, 3)
    rules = (
        Cards("cards", draw(st.booleans()), draw(st.booleans())),
        Groups(
            "groups",
            NAMES,
            2,
            draw(points),
            draw(points),
            only=draw(st.sampled_from(["all", "largest"])),
        ),
        Extras("extras", "dusk", draw(points)),
        Variety("variety", {}, "ash", draw(points)),
        Adjacent("meetings", ("ash", "brick"), draw(points)),
        Empties("empty", draw(points)),
    )
    sheet = GameSheet("drawn", lattice, COLOURS, tuple(cards), rules, support="none")
    return kind, sheet, draw(grids(lattice))


def points_of(sheet, grid):
    result = tally(sheet, {"Ada": grid}).players[0]
    return [
        (rule.label, sum(x.points for x in result.lines if x.rule == rule.label))
        for rule in sheet.rules
    ]


@pytest.mark.parametrize("kind", WHOLE)
def test_the_boards_of_these_tests_turn_and_mirror_onto_themselves(kind):
    found = {tuple(image.values()) for image in images(board(kind), kind)}

    assert len(found) == IMAGES[kind]


@cases(60)
@given(turning_games())
def test_turning_or_mirroring_a_board_keeps_the_points_of_every_rule(game):
    kind, sheet, grid = game
    expected = points_of(sheet, grid)
    for image in images(sheet.lattice, kind):
        turned = Grid({image[cell]: colour for cell, colour in grid.items()})
        assert points_of(sheet, turned) == expected


@cases(30)
@given(turning_games())
def test_giving_two_colours_each_others_names_keeps_the_total(game):
    """Ash and brick, which no rule treats differently here, change places on board and cards."""
    _, sheet, grid = game
    swap = {"A": "B", "B": "A", "ash": "brick", "brick": "ash"}
    cards = tuple(
        Card(
            c.name,
            3,
            tuple(Spot(s.u, s.v, swap.get(s.needs, s.needs)) for s in c.pattern),
            each=c.each,
            common=True,
        )
        for c in sheet.cards
    )
    rules = tuple(r for r in sheet.rules if not isinstance(r, Variety))
    plain = GameSheet("drawn", sheet.lattice, COLOURS, sheet.cards, rules, support="none")
    swapped = GameSheet("drawn", sheet.lattice, COLOURS, cards, rules, support="none")
    other = Grid({cell: swap.get(colour, colour) for cell, colour in grid.items()})

    totals = [tally(plain, {"Ada": grid}), tally(swapped, {"Ada": other})]
    assert totals[0].players[0].total == totals[1].players[0].total
