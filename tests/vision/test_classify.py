"""What a person's word on one cell tells about cells of a colour that a lamp has moved."""

from __future__ import annotations

import numpy as np

from vision.belief import FAMILIAR, STRANGE
from vision.classify import ALONE, as_named

TEAL, MOSS = 0, 1
STRANGE_TEALS = [[42.0, 90.0, 88.0], [46.0, 80.0, 92.0], [31.0, 95.0, 90.0]]


def test_a_word_on_a_strange_cell_is_heard_by_all_that_look_as_strange() -> None:
    told = as_named(np.array(STRANGE_TEALS), {1: TEAL})

    assert (told[:, TEAL] <= FAMILIAR).all()
    np.testing.assert_array_equal(told[:, 1:], np.array(STRANGE_TEALS)[:, 1:])


def test_it_is_not_heard_by_what_may_be_another_colour_or_looks_stranger_still() -> None:
    """A cell as near to another colour, one that looks as learned, one much farther off."""
    others = [[42.0, 42.0 + ALONE - 1, 90.0], [70.0, 8.0, 60.0], [95.0, 160.0, 150.0]]
    distances = np.array([*STRANGE_TEALS, *others])

    told = as_named(distances, {0: TEAL})

    np.testing.assert_array_equal(told[3:5], distances[3:5])
    assert told[5].min() > STRANGE


def test_a_word_on_a_cell_that_looks_as_learned_or_like_another_colour_moves_nothing() -> None:
    distances = np.array([*STRANGE_TEALS, [3.0, 60.0, 70.0]])

    for labels in ({}, {3: TEAL}, {0: MOSS}):
        np.testing.assert_array_equal(as_named(distances, labels), distances)
