from __future__ import annotations

import json
import math
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString
from shapely import Polygon as ShapelyPolygon

from scoring.errors import SheetError
from scoring.lattice import (
    anchor_distance,
    build_lattice,
    cell_centres_mm,
    cells_at_edge,
    columns_of,
    pitch_mm,
    regular_lattice,
    rows_of,
    with_anchors,
)
from scoring.regular import Shape, cell_name
from scoring.types import Cell
from tests.strategies import KINDS, cases, lattices, made

TABLES = Path(os.environ.get("TALLYGLASS_TABLES", "no folder named"))


def box(id, x, y, width=20.0, height=20.0):
    return Cell(id, ((x, y), (x + width, y), (x + width, y + height), (x, y + height)))


def beside(lattice):
    return {id: set(others) for id, others in lattice.neighbours.items()}


def test_a_square_has_neighbours_above_below_left_and_right_only():
    lattice = made("square", (3, 3, 3))

    assert beside(lattice)["B2"] == {"A2", "B1", "B3", "C2"}
    assert beside(lattice)["A1"] == {"A2", "B1"}


def test_in_courses_each_half_of_a_long_edge_is_a_side_of_its_own():
    lattice = made("courses", (3, 3, 3), "second")

    assert beside(lattice)["B2"] == {"A2", "A3", "B1", "B3", "C2", "C3"}


def test_a_pointy_hexagon_has_six_neighbours():
    lattice = made("hex-pointy", (3, 3, 3), "second")

    assert beside(lattice)["B2"] == {"A2", "A3", "B1", "B3", "C2", "C3"}


def test_a_flat_hexagon_has_six_neighbours():
    lattice = made("hex-flat", (3, 3, 3), "second")

    assert beside(lattice)["B2"] == {"A2", "C2", "B1", "B3", "C1", "C3"}


def test_a_diamond_has_no_neighbour_in_its_own_row():
    lattice = made("diamond", (3, 2, 3), "second")

    assert beside(lattice)["B1"] == {"A1", "A2", "C1", "C2"}
    assert beside(lattice)["A2"] == {"B1", "B2"}


@pytest.mark.parametrize("kind", KINDS)
def test_neighbours_lie_a_pitch_apart(kind):
    height = 20 * math.sqrt(3) / 2 if kind == "courses" else None
    lattice = regular_lattice(kind, Shape((4, 4, 4), 20.0, gap_mm=1.5, row_pitch_mm=height))

    assert pitch_mm(lattice) == pytest.approx(20.0, abs=1e-3)


def test_a_lone_cell_has_its_own_size_as_pitch():
    assert pitch_mm(regular_lattice("square", Shape((1,), 20.0, gap_mm=1.0))) == 19.0


@pytest.mark.parametrize("kind", ["square", "hex-pointy", "hex-flat", "diamond"])
def test_the_gap_between_neighbours_is_the_gap_asked_for(kind):
    lattice = regular_lattice(kind, Shape((3, 3, 3), 20.0, gap_mm=1.5))
    shapes = {cell.id: ShapelyPolygon(cell.polygon_mm) for cell in lattice.cells}

    gaps = [shapes[a].distance(shapes[b]) for a, bs in lattice.neighbours.items() for b in bs]
    assert gaps == pytest.approx([1.5] * len(gaps), abs=1e-3)


@cases(40)
@given(lattices())
def test_neighbours_are_the_cells_whose_places_share_a_border_in_shapely(lattice):
    """Places without gaps; a border of more than a third of a side, so that no corner counts."""
    grown = {
        c.id: ShapelyPolygon(c.polygon_mm).buffer(0.5, join_style="mitre") for c in lattice.cells
    }
    ids = list(grown)
    expected = {id: set() for id in ids}
    for i, a in enumerate(ids):
        for b in ids[i + 1 :]:
            border = grown[a].buffer(0.01, join_style="mitre").intersection(grown[b])
            if not border.is_empty and border.length / 2 > 20 / 3:
                expected[a].add(b)
                expected[b].add(a)

    assert beside(lattice) == expected


@cases(40)
@given(lattices())
def test_being_neighbours_is_mutual_and_listed_in_cell_order(lattice):
    order = [cell.id for cell in lattice.cells]
    for a, others in lattice.neighbours.items():
        assert a not in others
        assert list(others) == sorted(others, key=order.index)
        assert all(a in lattice.neighbours[b] for b in others)


@cases(40)
@given(lattices())
def test_inner_sides_lead_to_an_anchor(lattice):
    steps = anchor_distance(lattice)
    for cell in lattice.cells:
        assert bool(lattice.inner[cell.id]) == (not cell.anchor)
        assert all(steps[b] == steps[cell.id] - 1 for b in lattice.inner[cell.id])


@cases(40)
@given(lattices(), st.integers(0, 3))
def test_a_drawn_board_has_the_neighbours_of_the_regular_one(lattice, start):
    turned = [
        Cell(c.id, (*c.polygon_mm[start:], *c.polygon_mm[:start])[:: -1 if start % 2 else 1])
        for c in lattice.cells
    ]
    drawn = build_lattice("drawn", turned, lattice.board_size_mm)

    assert drawn.neighbours == lattice.neighbours


@cases(20)
@given(lattices(most=4))
def test_a_drawn_board_takes_the_steps_of_the_regular_lattice_it_is_like(lattice):
    drawn = build_lattice("drawn", lattice.cells, lattice.board_size_mm, like=lattice.kind)
    du, dv = drawn.places["A1"][0] - lattice.places["A1"][0], drawn.places["A1"][1]
    dv -= lattice.places["A1"][1]

    moved = {id: (u + du, v + dv) for id, (u, v) in lattice.places.items()}
    assert drawn.places == moved


def test_two_cells_that_only_touch_at_a_corner_are_no_neighbours():
    lattice = build_lattice("drawn", [box("A1", 0, 0), box("B2", 20, 20)], (40, 40))

    assert beside(lattice) == {"A1": set(), "B2": set()}


def test_cut_corners_that_face_each_other_join_nothing():
    def cut(id, x, y):
        return Cell(
            id,
            (
                (x + 2, y),
                (x + 18, y),
                (x + 20, y + 2),
                (x + 20, y + 18),
                (x + 18, y + 20),
                (x + 2, y + 20),
                (x, y + 18),
                (x, y + 2),
            ),
        )

    cells = [cut("A1", 0, 0), cut("A2", 20, 0), cut("B1", 0, 20), cut("B2", 20, 20)]
    lattice = build_lattice("drawn", cells, (40, 40))

    assert beside(lattice)["A1"] == {"A2", "B1"}


def test_a_gap_wider_than_a_sixth_of_a_cell_parts_neighbours():
    near = build_lattice("drawn", [box("A1", 0, 0), box("A2", 23, 0)], (43, 20))
    far = build_lattice("drawn", [box("A1", 0, 0), box("A2", 25, 0)], (45, 20))

    assert beside(near)["A1"] == {"A2"}
    assert beside(far)["A1"] == set()


def test_less_than_half_a_side_is_no_whole_side():
    lattice = build_lattice("drawn", [box("A1", 0, 0), box("B1", 14, 20)], (40, 40))

    assert beside(lattice)["A1"] == set()


def test_a_small_cell_whose_whole_side_lies_on_a_larger_one_is_its_neighbour():
    lattice = build_lattice("drawn", [box("A1", 0, 0, 40, 20), box("B1", 4, 20, 10, 10)], (40, 30))

    assert beside(lattice)["A1"] == {"B1"}


def test_two_cells_on_one_spot_are_refused():
    with pytest.raises(SheetError) as error:
        build_lattice("drawn", [box("A1", 0, 0), box("A2", 4, 0)], (40, 40))

    assert str(error.value) == "board, cells A1 and A2: two cells lie on one spot"


def test_two_cells_of_one_name_are_refused():
    with pytest.raises(SheetError, match="board, cell A1: two cells have this name"):
        build_lattice("drawn", [box("A1", 0, 0), box("A1", 20, 0)], (40, 40))


def test_given_neighbours_are_made_mutual():
    cells = [box("A1", 0, 0), box("A2", 30, 0), box("A3", 60, 0)]
    lattice = build_lattice("drawn", cells, (80, 20), {"A1": ["A2"], "A2": [], "A3": []})

    assert beside(lattice) == {"A1": {"A2"}, "A2": {"A1"}, "A3": set()}


def test_given_neighbours_that_do_not_exist_are_refused():
    with pytest.raises(SheetError, match="board, neighbours of A1: there is no cell B7"):
        build_lattice("drawn", [box("A1", 0, 0)], (20, 20), {"A1": ["B7"]})


def test_cells_that_do_not_lie_as_said_are_refused():
    cells = [box("A1", 0, 0), box("A2", 20, 0), box("B1", 0, 20)]

    with pytest.raises(SheetError, match="board, like: the drawn cells do not lie as in courses"):
        build_lattice("drawn", cells, (40, 40), like="courses")


def test_edges_name_the_outer_cells():
    lattice = made("hex-pointy", (3, 4, 3), "first")

    assert cells_at_edge(lattice, "top") == ["A1", "A2", "A3"]
    assert cells_at_edge(lattice, "bottom") == ["C1", "C2", "C3"]
    assert cells_at_edge(lattice, "left") == ["A1", "B1", "C1"]
    assert cells_at_edge(lattice, "right") == ["A3", "B4", "C3"]
    assert cells_at_edge(lattice, "rim") == [*lattice.neighbours][:4] + [*lattice.neighbours][6:]


def test_rows_are_lettered_from_the_top_and_columns_numbered_from_the_left():
    lattice = made("square", (2, 2))

    assert list(lattice.neighbours) == ["A1", "A2", "B1", "B2"]
    assert cell_centres_mm(lattice) == [(10.0, 10.0), (30.0, 10.0), (10.0, 30.0), (30.0, 30.0)]
    assert rows_of(lattice) == {"A": ["A1", "A2"], "B": ["B1", "B2"]}
    assert columns_of(lattice) == {"1": ["A1", "B1"], "2": ["A2", "B2"]}


def test_rows_after_z_have_two_letters():
    assert [cell_name(row, 0) for row in (0, 25, 26, 51, 52)] == ["A1", "Z1", "AA1", "AZ1", "BA1"]


def test_a_board_without_anchors_has_no_inner_sides():
    lattice = with_anchors(made("square", (2, 2)), [])

    assert set(lattice.inner.values()) == {()}


def test_centred_rows_make_a_board_in_the_shape_of_a_hexagon():
    lattice = regular_lattice("hex-pointy", Shape((2, 3, 2), 20.0, shifted="centred"))

    assert beside(lattice)["B2"] == {"A1", "A2", "B1", "B3", "C1", "C2"}
    assert all(len(lattice.neighbours[cell]) == 3 for cell in lattice.neighbours if cell != "B2")


def test_centred_rows_of_squares_make_a_cross():
    lattice = regular_lattice("square", Shape((1, 3, 1), 20.0, shifted="centred"))

    assert beside(lattice)["B2"] == {"A1", "B1", "B3", "C1"}


def test_a_rounded_lower_edge_keeps_the_neighbours_of_whole_courses():
    rounded = regular_lattice("courses", Shape((3, 3, 3), 20, 0.8, round_lower=True))
    straight = regular_lattice("courses", Shape((3, 3, 3), 20, 0.8))

    assert rounded.neighbours == straight.neighbours
    deepest = max(y for _, y in rounded.cells[0].polygon_mm)
    assert deepest == pytest.approx(max(y for _, y in straight.cells[0].polygon_mm))
    assert LineString(rounded.cells[0].polygon_mm).is_simple


LIKE = {"courses-slate": "courses", "hex-pointy": "hex-pointy"}


@pytest.mark.skipif(
    not TABLES.is_dir(), reason="TALLYGLASS_TABLES names no folder of tables with known cells"
)
@pytest.mark.parametrize("table", ["dev-courses", "dev-diamond", "dev-hex", "dev-square"])
def test_photographed_boards_have_their_known_neighbours(table):
    known = json.loads((TABLES / table / "table.json").read_text())
    cells = [Cell(c["id"], tuple(map(tuple, c["polygon_mm"])), c["anchor"]) for c in known["cells"]]
    size, like = tuple(known["board_size_mm"]), LIKE.get(known["geometry"], known["geometry"])
    given = {c["id"]: c["neighbours"] for c in known["cells"]}
    rounded = known["geometry"] == "courses-slate"
    drawn = build_lattice("drawn", cells, size, given if rounded else None, like)
    rows = tuple(len(row) for row in rows_of(drawn).values())
    pitch = known["cell_pitch_mm"]
    regular = regular_lattice(like, Shape(rows, pitch, row_pitch_mm=18 if rounded else None))

    expected = {id: set(others) for id, others in given.items()}
    assert beside(drawn) == expected
    assert beside(regular) == expected
    centres = {c["id"]: c["centre_mm"] for c in known["cells"]}
    for id, centre in zip(drawn.neighbours, cell_centres_mm(drawn), strict=True):
        assert math.dist(centre, centres[id]) < 0.6
