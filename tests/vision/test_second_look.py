"""Two photos of one board: less doubt, no less safety, and a word when a second would help."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from samples.conditions import HandShadow, Lamp
from samples.photographer import Shot, take_photo
from tests.vision.practice import APART, KIND_LIGHT, final_board, photo_of, practice
from vision.errors import DifferentBoards
from vision.read import read_photo
from vision.second_look import Together, read_together, settle, why_look_again
from vision.types import ODD, CellReading, Reading

GLARING = replace(
    KIND_LIGHT,
    lamps=(Lamp("bulb", 0.65, (60.0, -190.0, 420.0), 90.0),),
    ambient=("bulb", 0.35),
    gloss=0.75,
)
"""A bulb close above a glossy board: its glare lies over other pieces from each stand."""

HANDS = (
    HandShadow(tip_mm=(-15.0, 0.0), from_deg=0.0, half_width_mm=30.0, depth=0.7),
    HandShadow(tip_mm=(15.0, 0.0), from_deg=180.0, half_width_mm=30.0, depth=0.7),
)


@dataclass(frozen=True, eq=False)
class Looks:
    """Two photos of one board, and what each says alone."""

    shots: tuple[Shot, Shot]
    readings: tuple[Reading, Reading]


@cache
def looks(seed: int) -> Looks:
    """The same pieces in the same places from two stands: hand and glare lie elsewhere."""
    made = practice("square")
    rng = np.random.default_rng([seed, 0x2])
    grid = {cell.id: str(rng.choice(APART)) for cell in made.sheet.lattice.cells}
    grid |= dict.fromkeys([str(c) for c in rng.choice(list(grid), 2, replace=False)], "empty")
    stands = [
        replace(GLARING, tilt_deg=25.0, turn_deg=turn, shadows=(hand,), dice=1)
        for turn, hand in zip((-30.0, 30.0), HANDS, strict=True)
    ]
    first, second = (
        take_photo(made.board, grid, stand, np.random.default_rng([seed, 0x3]))
        for stand in (stands[0], replace(stands[1], dice=0))
    )
    one, other = (read_photo(photo_of(shot), made.table) for shot in (first, second))
    return Looks((first, second), (one, other))


def doubtful(reading: Reading) -> list[str]:
    return [cell for cell, read in reading.cells.items() if read.doubt is not None]


def below(shot: Shot) -> dict[str, str]:
    return {**shot.truth.labels, **shot.truth.under_cover}


def wrong(reading: Reading, shot: Shot) -> list[str]:
    truth = below(shot)
    return [
        cell
        for cell, read in reading.cells.items()
        if read.doubt is None and read.colour != truth[cell]
    ]


SEEDS = (0, 1, 2, 3)


def test_two_photos_at_least_halve_the_doubts_of_one_and_err_no_oftener() -> None:
    table = practice("square").table
    alone = together = 0.0
    for seed in SEEDS:
        seen = looks(seed)
        joined = read_together(seen.readings, table)
        alone += np.mean([len(doubtful(reading)) for reading in seen.readings])
        together += len(doubtful(joined))

        assert wrong(joined, seen.shots[0]) == []

    assert alone >= 6
    assert together <= alone / 2


def test_the_truth_is_among_what_two_photos_leave() -> None:
    for seed in SEEDS:
        seen = looks(seed)
        joined = read_together(seen.readings, practice("square").table)
        truth = below(seen.shots[0])

        assert all(truth[cell] in joined.cells[cell].candidates for cell in doubtful(joined))


def test_the_order_of_the_photos_does_not_matter() -> None:
    seen = looks(0)
    there = read_together(seen.readings, practice("square").table)
    back = read_together(seen.readings[::-1], practice("square").table)

    assert dict(there.cells) == dict(back.cells)


def test_one_photo_stays_as_it_is() -> None:
    reading = looks(0).readings[0]

    assert read_together([reading], practice("square").table) is reading


def test_the_same_photo_twice_is_no_proof_of_anything() -> None:
    """Twice the same look would be certain of all that it leans to if it counted twice."""
    reading = looks(0).readings[0]
    joined = read_together([reading, reading], practice("square").table)
    certain = set(reading.cells) - set(doubtful(reading))

    assert certain <= set(joined.cells) - set(doubtful(joined))
    assert wrong(joined, looks(0).shots[0]) == []


def test_photos_that_disagree_with_certainty_raise_a_question() -> None:
    seen, table = looks(1), practice("square").table
    joined = read_together(seen.readings, table)
    cell = next(
        c
        for c in joined.cells
        if all(r.cells[c].doubt is None and r.cells[c].colour in APART for r in seen.readings)
    )
    true = joined.cells[cell].colour
    other = next(name for name in APART if name != true)
    lying = replace(
        seen.readings[1], cells={**seen.readings[1].cells, cell: CellReading(other, (other,))}
    )
    read = read_together([seen.readings[0], lying], table).cells[cell]

    assert read.doubt == f"the photos disagree: {read.candidates[0]} or {read.candidates[1]}"
    assert {true, other} <= set(read.candidates)


def test_photos_of_different_boards_are_refused_in_plain_words() -> None:
    table = practice("square").table
    boards = [read_photo(photo_of(final_board("square", seed), f"{seed}.jpg"), table)
              for seed in (0, 1)]  # fmt: skip

    with pytest.raises(DifferentBoards) as refused:
        read_together(boards, table)

    assert len(refused.value.cells) > 5
    assert str(refused.value) == (
        f"0.jpg and 1.jpg show different boards: they differ in {len(refused.value.cells)} cells "
        f"that both show clearly, such as {', '.join(refused.value.cells[:3])}. Give photos of "
        "the same board, taken without moving a piece."
    )


def test_answers_settle_a_joined_reading_and_never_change_what_was_certain() -> None:
    seen, table = looks(2), practice("square").table
    joined = read_together(seen.readings, table)
    answers = {cell: below(seen.shots[0])[cell] for cell in doubtful(joined)}
    answers |= {next(iter(joined.cells)): ODD}
    told = settle(joined, answers, table)

    assert isinstance(told, Together)
    assert doubtful(told) == []
    for cell, read in told.cells.items():
        if cell in answers:
            assert (read.colour, read.candidates) == (answers[cell], (answers[cell],))
        elif joined.cells[cell].doubt is None:
            assert read == joined.cells[cell]


def test_without_answers_a_joined_reading_stays_as_it_was() -> None:
    joined = read_together(looks(0).readings, practice("square").table)

    assert dict(settle(joined, {}, practice("square").table).cells) == dict(joined.cells)


def test_a_second_photo_is_asked_for_where_glare_and_hands_make_the_doubts() -> None:
    table = practice("square").table
    advised = [why_look_again(looks(seed).readings[0], table) for seed in SEEDS]
    said = [words for words in advised if words]

    assert said
    assert all("may go with a second photo" in words and "snap again" in words for words in said)
    assert why_look_again(read_photo(photo_of(final_board("square", 0)), table), table) is None
    assert why_look_again(read_together(looks(0).readings, table), table) is None
