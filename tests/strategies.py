"""Hypothesis builders of lattices, sheets, cards and grids; one place for all tests of scoring.

The short suite tries few cases of each property; TALLYGLASS_CASES=20 tries twenty times as many.
"""

from __future__ import annotations

import os
from functools import lru_cache

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from scoring.lattice import cells_at_edge, regular_lattice, rows_of, with_anchors
from scoring.patterns import orientations, placements
from scoring.regular import Shape
from scoring.rules import (
    Adjacent,
    Card,
    Cards,
    Empties,
    Ends,
    Extras,
    Groups,
    Regions,
    Rule,
    Spot,
    TieBreak,
    Variety,
)
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Colour, Grid, Lattice

CASES = int(os.environ.get("TALLYGLASS_CASES", "1"))


def cases(number: int) -> settings:
    """So many cases of a property, times TALLYGLASS_CASES; no limit on the time of one case."""
    unhurried = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
    return settings(max_examples=number * CASES, deadline=None, suppress_health_check=unhurried)


KINDS = ("square", "courses", "hex-pointy", "hex-flat", "diamond")

COLOURS = (
    Colour("ash", "A"),
    Colour("brick", "B"),
    Colour("chalk", "C"),
    Colour("dusk", "D", in_patterns=False),
)
NAMES = tuple(colour.name for colour in COLOURS)


@lru_cache(maxsize=512)
def made(
    kind: str, rows: tuple[int, ...], shifted: str = "second", edge: str = "bottom"
) -> Lattice:
    """A regular lattice with 20 mm between cells and one edge of anchors."""
    lattice = regular_lattice(kind, Shape(rows, 20.0, gap_mm=1.0, shifted=shifted))
    return with_anchors(lattice, cells_at_edge(lattice, edge))


@st.composite
def lattices(draw: st.DrawFn, most: int = 5, kinds: tuple[str, ...] = KINDS) -> Lattice:
    """Small regular lattices in which every cell reaches an anchor."""
    kind = draw(st.sampled_from(kinds))
    rows = draw(st.integers(2, most))
    columns = draw(st.integers(2, most))
    ragged = kind != "square" and kind != "hex-flat" and draw(st.booleans())
    lengths = tuple(columns + (i % 2 if ragged else 0) for i in range(rows))
    shifted = "first" if ragged else draw(st.sampled_from(["first", "second"]))
    edge = draw(st.sampled_from(["bottom", "left", "rim", "top"]))
    return made(kind, lengths, shifted, edge)


@st.composite
def cards(draw: st.DrawFn, lattice: Lattice, name: str) -> Card:
    """A card whose pattern fits the lattice, or that lies in its own place."""
    each = draw(st.booleans())
    common = draw(st.booleans())
    missed = 0 if each or common else draw(st.sampled_from([0, 0, -2]))
    kept = {"each": each, "common": common, "missed": missed, "points": draw(st.integers(-2, 6))}
    kept["points"] = kept["points"] or 1
    cells = draw(connected_cells(lattice))
    needs = [draw(st.sampled_from("AABBC*_1123")) for _ in cells]
    if draw(st.integers(0, 4)) == 0:
        return Card(name, at=tuple(sorted(zip(cells, needs, strict=True))), **kept)
    spots = [Spot(*lattice.places[c], n) for c, n in zip(cells, needs, strict=True)]
    pattern = orientations(tuple(spots), lattice.like, False, False)[0]
    return Card(
        name, pattern=pattern, turns=draw(st.booleans()), mirrors=draw(st.booleans()), **kept
    )


@st.composite
def connected_cells(draw: st.DrawFn, lattice: Lattice, most: int = 4) -> list[str]:
    """Up to four cells that hang together."""
    cells = [draw(st.sampled_from([cell.id for cell in lattice.cells]))]
    for _ in range(draw(st.integers(0, most - 1))):
        beside = [b for a in cells for b in lattice.neighbours[a] if b not in cells]
        if beside:
            cells.append(draw(st.sampled_from(beside)))
    return cells


@st.composite
def rules(draw: st.DrawFn, lattice: Lattice) -> tuple[Rule, ...]:
    """A rule of every kind or of some, cards first."""
    colour = st.sampled_from(NAMES)
    regions = {f"row {name}": tuple(row) for name, row in rows_of(lattice).items()}
    points = st.integers(-2, 3)
    table = st.sampled_from([(), ((2, 1), (4, 3)), ((1, 2), (3, -1), (5, 4))])
    several = st.lists(colour, min_size=1, max_size=4, unique=True).map(tuple)
    only = st.sampled_from(["all", "all", "largest", "largest-of-each-colour"])
    some: list[st.SearchStrategy[Rule]] = [
        st.builds(
            Groups,
            st.just("groups"),
            several,
            min_size=st.integers(1, 4),
            each=points,
            flat=points,
            by_size=table,
            only=only,
        ),
        st.builds(Extras, st.just("extras"), colour, points),
        st.builds(
            Regions,
            st.just("rows"),
            st.just(regions),
            points,
            st.sampled_from(["full", "one-colour", "all-different"]),
        ),
        st.builds(
            Variety,
            st.just("variety"),
            st.just(regions),
            st.sampled_from(["", *NAMES]),
            points,
            table,
        ),
        st.builds(Adjacent, st.just("meetings"), st.tuples(colour, colour), points),
        st.builds(Empties, st.just("empty"), points),
        st.builds(Ends, st.just("ends"), st.just("first"), points),
    ]
    sharing = draw(st.tuples(st.booleans(), st.booleans()))
    chosen = draw(st.lists(st.sampled_from(range(len(some))), unique=True, min_size=1, max_size=4))
    return (Cards("cards", *sharing), *(draw(some[i]) for i in sorted(chosen)))


TIE_BREAKS = st.lists(
    st.builds(
        TieBreak,
        st.sampled_from(["cards", "pieces", "largest-group", "fact"]),
        st.just(""),
        st.booleans(),
    ).map(lambda tie: TieBreak(tie.by, "first", tie.fewer) if tie.by == "fact" else tie),
    max_size=2,
).map(tuple)


@st.composite
def sheets(draw: st.DrawFn, most: int = 5, kinds: tuple[str, ...] = KINDS) -> GameSheet:
    """Whole games: a lattice, a few cards, a few rules, tie-breaks."""
    lattice = draw(lattices(most, kinds))
    number = draw(st.integers(0, 4))
    drawn = tuple(draw(cards(lattice, f"card {i}")) for i in range(number))
    return GameSheet(
        name="drawn",
        lattice=lattice,
        colours=COLOURS,
        cards=drawn,
        rules=draw(rules(lattice)),
        support=draw(st.sampled_from(["any", "all", "none"])),
        full_board=draw(st.booleans()),
        tie_breaks=draw(TIE_BREAKS),
    )


@st.composite
def grids(draw: st.DrawFn, lattice: Lattice, empties: bool = True) -> Grid:
    """Any grid of a lattice."""
    names = [*NAMES, EMPTY] if empties else list(NAMES)
    return Grid({cell.id: draw(st.sampled_from(names)) for cell in lattice.cells})


@st.composite
def games(draw: st.DrawFn, players: int = 2, most: int = 4) -> tuple:
    """(sheet, grids by player, claims, facts)."""
    sheet = draw(sheets(most))
    names = [f"player {i + 1}" for i in range(players)]
    boards = {name: draw(grids(sheet.lattice)) for name in names}
    open_cards = [card.name for card in sheet.cards if not card.common]
    claims = {n: tuple(c for c in open_cards if draw(st.booleans())) for n in names}
    facts = {n: ("first",) if knows_first(sheet) and draw(st.booleans()) else () for n in names}
    return sheet, boards, claims, facts


def knows_first(sheet: GameSheet) -> bool:
    """Whether the game asks who was first."""
    ends = any(isinstance(rule, Ends) for rule in sheet.rules)
    return ends or any(tie.by == "fact" for tie in sheet.tie_breaks)


def fits_somewhere(card: Card, lattice: Lattice) -> bool:
    """Whether a card's pattern fits the lattice at all."""
    steps = {step: id for id, step in lattice.places.items()}
    ways = orientations(card.pattern, lattice.like, card.turns, card.mirrors)
    return bool(card.at) or any(True for way in ways for _ in placements(way, steps))
