"""Deliberate mistakes in a calibration are caught and named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibrate.compose import Shot, compose_artwork
from calibrate.errors import CalibrationError, MistakesFound
from calibrate.learn import calibrate, seen_in
from calibrate.mistakes import Seen, doubted_swaps, find_mistakes, unnoticed_swaps
from scoring.errors import TallyglassError
from scoring.lattice import cells_at_edge, regular_lattice, rows_of, with_anchors
from scoring.regular import Shape
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Grid
from tests.vision.practice import committed, practice
from vision.find import find_board, from_marks

EMPTIES = ("empty-1.jpg", "empty-2.jpg")
LAYOUTS = ("layout-1.jpg", "layout-2.jpg")


@pytest.fixture(scope="module")
def seen(penmarrow: GameSheet, penmarrow_layout: Grid) -> list[Seen]:
    """What the layout's photos show, as the empty board's own photo lets them be judged."""
    first = committed(EMPTIES[0])
    marks = {mark: np.array(corners, float) for mark, corners in penmarrow.marks.items()}
    found = from_marks(first, marks)
    assert found is not None
    bare = Shot(first, found, (EMPTY,) * len(penmarrow_layout))
    artwork = compose_artwork([bare], penmarrow.lattice)
    labels = tuple(penmarrow_layout.values())
    photos = [committed(name) for name in LAYOUTS]
    shots = [
        Shot(photo, find_board(photo, penmarrow.lattice, artwork, {}), labels) for photo in photos
    ]
    return seen_in([bare], shots, penmarrow)


def said(seen: list[Seen], plan: Grid, sheet: GameSheet) -> str:
    labels = np.array([plan[cell.id] for cell in sheet.lattice.cells])
    return " ".join(find_mistakes([replace(s, labels=labels) for s in seen], sheet.lattice))


def learn(sheet: GameSheet, plan: Grid, empty=EMPTIES, layouts=LAYOUTS, **how) -> None:
    calibrate(
        "mistaken",
        sheet,
        [committed(name) for name in empty],
        [(committed(name), plan) for name in layouts],
        **how,
    )


def swapped(plan: Grid, one: str, other: str) -> Grid:
    return Grid({**plan, one: plan[other], other: plan[one]})


def said_of(sheet: GameSheet, plan: Grid, **given) -> str:
    with pytest.raises(MistakesFound) as found:
        learn(sheet, plan, **given)
    return str(found.value)


def apart(plan: Grid) -> list[tuple[str, str]]:
    """Pairs of cells whose colours no lamp confuses."""
    by_colour = {colour: [c for c in plan if plan[c] == colour] for colour in set(plan.values())}
    return [
        (by_colour["moss"][0], by_colour["plum"][1]),
        (by_colour["rust"][1], by_colour["slate"][2]),
        (by_colour["lichen"][0], by_colour["plum"][0]),
        (by_colour["copper"][0], by_colour[EMPTY][1]),
    ]


@pytest.mark.parametrize("which", range(4))
def test_two_swapped_pieces_are_named(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid, which: int
) -> None:
    one, other = sorted(apart(penmarrow_layout)[which])
    words = said(seen, swapped(penmarrow_layout, one, other), penmarrow)

    assert f"{one} and {other}: the pieces look swapped" in words
    assert f"{penmarrow_layout[one]} seems to lie in {one}" in words


def test_two_pieces_swapped_are_named_from_one_photo_without_an_empty_board(
    penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    one, other = sorted(apart(penmarrow_layout)[0])
    plan = swapped(penmarrow_layout, one, other)

    assert f"{one} and {other}: the pieces look swapped" in said_of(
        penmarrow, plan, empty=(), layouts=LAYOUTS[:1]
    )


def test_a_plan_turned_by_180_degrees_is_named(
    penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    ids = list(penmarrow_layout)
    turned = Grid(dict(zip(ids, reversed([penmarrow_layout[c] for c in ids]), strict=True)))

    assert said_of(penmarrow, turned) == (
        "layout-1.jpg, layout-2.jpg: the pieces lie as in the plan turned by 180 degrees. Turn the "
        "plan, or, where --corners were given, begin them at the board's own top left corner."
    )


def test_a_mirrored_plan_is_named(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    mirrored = {
        cell: penmarrow_layout[other]
        for row in rows_of(penmarrow.lattice).values()
        for cell, other in zip(row, reversed(row), strict=True)
    }

    assert "mirrored left to right" in said(seen, Grid(mirrored), penmarrow)


def test_another_plan_is_named(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    rng = np.random.default_rng(4)
    dealt = dict(zip(penmarrow_layout, rng.permutation(list(penmarrow_layout.values())),
                     strict=True))  # fmt: skip
    words = said(seen, Grid({cell: str(name) for cell, name in dealt.items()}), penmarrow)

    assert words.startswith("layout-1.jpg, layout-2.jpg: the plan does not fit what lies there")


def test_one_piece_of_another_colour_than_planned_is_named(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    cell = next(c for c, name in penmarrow_layout.items() if name == "moss")
    plan = Grid({**penmarrow_layout, cell: "plum"})

    assert f"{cell}: the plan says plum, but it looks like moss." in said(seen, plan, penmarrow)


def test_an_empty_board_given_as_a_layout_is_named(
    penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    words = said_of(penmarrow, penmarrow_layout, empty=EMPTIES[:1], layouts=EMPTIES[1:])

    assert words.startswith("empty-2.jpg: ")
    assert "look as they do on the photos of the empty board" in words


def test_small_pieces_that_leave_the_printed_cell_in_sight_are_no_empty_board(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    shown = [replace(one, bare=np.maximum(one.bare, 0.85)) for one in seen]

    assert "look as they do on the photos of the empty" not in said(
        shown, penmarrow_layout, penmarrow
    )


def test_a_layout_given_as_an_empty_board_is_named(
    penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    words = said_of(penmarrow, penmarrow_layout, empty=LAYOUTS[:1], layouts=LAYOUTS[1:])

    assert words.startswith("layout-1.jpg: was given as the empty board but shows the layout.")


def test_photos_of_the_board_under_another_boards_sheet_are_refused(
    penmarrow: GameSheet,
) -> None:
    """Squares where the print has courses, of the same size and with the same marks."""
    bare = regular_lattice("square", Shape((7,) * 6, 22.0, 1.0, (20.0, 17.0)), (194.0, 166.5))
    lattice = with_anchors(bare, cells_at_edge(bare, "bottom"))
    names = [c.name for c in penmarrow.colours]
    plan = Grid({cell.id: names[i % len(names)] for i, cell in enumerate(lattice.cells)})
    with pytest.raises(TallyglassError, match=r"the plan does not fit|many pieces|empty board"):
        learn(replace(penmarrow, lattice=lattice), plan)


def test_the_right_plan_accuses_nobody(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    assert said(seen, penmarrow_layout, penmarrow) == ""
    assert said(seen[:1], penmarrow_layout, penmarrow) == ""


def test_a_person_who_has_looked_may_insist(penmarrow: GameSheet, penmarrow_layout: Grid) -> None:
    one, other = apart(penmarrow_layout)[0]
    learn(
        penmarrow,
        swapped(penmarrow_layout, one, other),
        empty=(),
        layouts=LAYOUTS[:1],
        trust_plan=True,
    )


@pytest.mark.parametrize("kind", ["square", "diamond", "hex-pointy"])
def test_right_plans_of_other_boards_accuse_nobody(kind: str) -> None:
    """Learning the table looks for mistakes, and would refuse."""
    assert practice(kind).table.name == kind


def test_mistakes_are_errors_of_calibration() -> None:
    error = MistakesFound(["A1: one.", "B2: two."])

    assert isinstance(error, CalibrationError)
    assert str(error) == "A1: one. B2: two."


def near(seen: list[Seen], one: str, other: str) -> list[Seen]:
    """The same photos with one colour's pieces painted almost as another's."""
    found = []
    for photo in seen:
        lab = photo.lab.copy()
        here, there = (np.median(lab[photo.labels == name], axis=0) for name in (one, other))
        lab[photo.labels == one] += there - here + np.array((0.0, 1.0, 0.0))
        found.append(replace(photo, lab=lab))
    return found


def test_what_a_swap_would_hide_is_told_where_colours_are_near(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    alike = near(seen, "moss", "slate")
    told = unnoticed_swaps(alike, penmarrow.lattice)
    words = next(words for words in told if words.startswith("moss and slate lie"))
    moss, slate = (
        [cell for cell, name in penmarrow_layout.items() if name == wanted]
        for wanted in ("moss", "slate")
    )

    for cell in (*moss, *slate):
        assert cell in words
    hidden = swapped(penmarrow_layout, moss[0], slate[0])
    assert said(alike, hidden, penmarrow) == ""


def test_every_swap_that_goes_unnoticed_was_told(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    told = " ".join(unnoticed_swaps(seen, penmarrow.lattice))
    rng = np.random.default_rng(8)
    ids = list(penmarrow_layout)
    for _ in range(25):
        one, other = (str(cell) for cell in rng.choice(ids, 2, replace=False))
        if penmarrow_layout[one] == penmarrow_layout[other]:
            continue
        named = said(seen, swapped(penmarrow_layout, one, other), penmarrow)

        assert {one, other} <= set(named.replace(":", " ").split()) or {one, other} <= set(
            told.replace(",", " ").split()
        )


@pytest.mark.parametrize("alike", [True, False])
def test_one_photos_word_on_near_colours_is_a_doubt_and_no_refusal(
    seen: list[Seen], penmarrow: GameSheet, penmarrow_layout: Grid, alike: bool
) -> None:
    """Glare on dark pieces of a near pair looked like a swap in one of three photos."""
    cells = list(penmarrow_layout)
    moss, slate = (
        next(i for i, cell in enumerate(cells) if penmarrow_layout[cell] == name)
        for name in ("moss", "slate")
    )
    photos = near(seen, "moss", "slate") if alike else seen
    glaring = photos[0].lab.copy()
    if alike:
        glaring[photos[0].labels == "moss"] += (0.0, 0.0, 36.0)
    glaring[[moss, slate]] = glaring[[slate, moss]]
    photos = [replace(photos[0], lab=glaring), photos[1], photos[1], photos[1]]
    one, other = sorted((cells[moss], cells[slate]))
    refused = " ".join(find_mistakes(photos, penmarrow.lattice))
    doubted = " ".join(doubted_swaps(photos, penmarrow.lattice))

    assert (f"{one} and {other}: the pieces look swapped" in refused) != alike
    assert (f"{one} and {other} may be swapped: on this photo alone" in doubted) == alike
