"""Near colours told apart by all loose pieces together, and when they are not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.spread_pairs import SIDE, settled_by_all

Array = NDArray[np.float64]
MARGIN = 26.0
FAR = 200.0


def costs_at(places: list[float], spots: tuple[float, ...] = (0.0, 30.0)) -> Array:
    """Costs (N, C) of pieces on a line on which the colours lie at these spots; where two costs
    are alike is the middle between their colours. A colour that lies at infinity costs ``FAR``."""
    off = np.abs(np.array(places)[:, None] - np.array(spots))
    return np.minimum(off - off.min(axis=1, keepdims=True), FAR)


def alone(costs: Array) -> Array:
    """The colours (N, C) that each piece by itself cannot rule out."""
    return costs - costs.min(axis=1, keepdims=True) < MARGIN


def settled(costs: Array, *, lights: list[Array] | None = None, worse: float = 3.0) -> Array:
    """The colours left for each piece; ``lights`` are other gains, each so much ``worse``."""
    stack = np.array([costs, *(lights or [])])
    plain = np.ones(len(costs), bool)
    return settled_by_all(stack, np.array([0.0] + [worse] * (len(stack) - 1)), alone(costs), plain)


TWO = [2.0, 3.0, 4.0, 5.0, 25.0, 26.0, 27.0, 28.0]
"""Four pieces of each of two colours that a piece by itself cannot rule out."""


def test_two_sides_with_a_bare_middle_are_told_apart() -> None:
    left = settled(costs_at(TWO))

    assert alone(costs_at(TWO)).all(axis=1).any(), "alone, some could be either"
    assert (left.sum(axis=1) == 1).all()
    assert left.argmax(axis=1).tolist() == [0] * 4 + [1] * 4


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ([14.0], "a piece lies near the middle"),
        ([13.0, 17.0], "the two nearest are not far apart"),
    ],
)
def test_a_peopled_middle_settles_nothing(more: list[float], why: str) -> None:
    costs = costs_at(TWO + more)

    assert (settled(costs) == alone(costs)).all(), why


def test_a_colour_alone_may_have_moved_onto_the_others_place() -> None:
    costs = costs_at([3.0, 4.0, 5.0, 4.0, 6.0, 27.0])

    assert len([p for p in TWO if p > 15]) >= SIDE > 1
    assert (settled(costs) == alone(costs)).all()


def test_colours_that_moved_each_onto_the_next_are_not_settled() -> None:
    """The first of three near colours has no piece left: all may lie one place too far."""
    spots = (0.0, 24.0, 48.0)
    costs = costs_at([23.0, 24.0, 25.0, 22.0, 47.0, 48.0, 49.0, 46.0], spots)
    open_before = alone(costs)

    assert open_before[:4, 0].all()
    assert (settled(costs) == open_before).all()
    whole = costs_at([1.0, 0.0, 2.0, 1.0, 23.0, 24.0, 25.0, 22.0, 47.0, 48.0, 49.0, 46.0], spots)
    assert (settled(whole).sum(axis=1) == 1).all(), "with pieces of all three, each is its own"


def test_a_light_that_would_put_a_piece_on_the_other_side_settles_nothing() -> None:
    costs, other = costs_at(TWO), costs_at([p + 12.0 for p in TWO])

    assert (settled(costs, lights=[other]) == alone(costs)).all()
    assert (settled(costs, lights=[other], worse=9.0).sum(axis=1) == 1).all(), "it is unlikely"


def test_a_piece_that_lies_apart_from_its_side_stays_open() -> None:
    costs = costs_at([*TWO, 10.0])
    glary = costs_at(TWO)
    glary[3] += 12.0  # its own colour explains it badly

    assert settled(costs)[-1].sum() == 2
    assert (settled(costs)[:-1].sum(axis=1) == 1).all()
    assert settled(glary)[3].sum() == 2


def test_pieces_that_are_not_plain_neither_speak_nor_are_settled() -> None:
    costs = costs_at([*TWO, 15.0])
    plain = np.array([True] * len(TWO) + [False])
    left = settled_by_all(costs[None], np.zeros(1), alone(costs), plain)

    assert (left[:-1].sum(axis=1) == 1).all()
    assert left[-1].sum() == 2
