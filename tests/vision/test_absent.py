"""Whole colours doubted for a near one of which nothing is seen on the board."""

from __future__ import annotations

import numpy as np
import pytest

from vision.absent import DOUBTED, GAP, GAP_PER_STRANGENESS, weigh_absent
from vision.belief import Belief, margin_asked

RUST, BERRY, MOSS, EMPTY = range(4)
NAMES = ("rust", "berry", "moss", "empty")
HEAP = [[2.0, 16.0, 60.0, 90.0], [3.0, 14.0, 70.0, 90.0], [1.0, 31.0, 65.0, 90.0]]


def belief(distances: list[list[float]], typical: float = 2.0) -> Belief:
    none = np.zeros(len(distances))
    return Belief(NAMES, np.array(distances), none, typical, none)


def certain(told: Belief) -> np.ndarray:
    two = np.partition(told.distances, 1, axis=1)
    return two[:, 1] - two[:, 0] > margin_asked(told)


def test_a_colour_is_doubted_whole_where_a_near_one_is_nowhere() -> None:
    """Even its piece that looks least like the other is: they moved together, if they did."""
    before = belief([*HEAP, [80.0, 90.0, 2.0, 90.0]])
    assert certain(before).all()

    after = weigh_absent(before, {})

    assert certain(after).tolist() == [False, False, False, True]
    np.testing.assert_array_equal(after.distances.argmin(axis=1), before.distances.argmin(axis=1))
    left = after.distances[:3, BERRY] - after.distances[:3, RUST]
    assert (left <= DOUBTED * margin_asked(before)[:3]).all()
    assert np.argsort(left).tolist() == [1, 0, 2]  # what looks most like the other is asked first


def test_one_word_settles_what_looks_no_more_like_the_other() -> None:
    before = belief(HEAP)
    settled = [certain(weigh_absent(before, {cell: RUST})).tolist() for cell in range(3)]

    assert settled == [[True, False, True], [True, True, True], [False, False, True]]
    assert not certain(weigh_absent(before, {1: BERRY})).any()


def test_where_the_other_lies_on_the_board_nothing_is_doubted() -> None:
    before = belief([*HEAP, [30.0, 2.0, 70.0, 90.0]])
    np.testing.assert_array_equal(weigh_absent(before, {}).distances, before.distances)


@pytest.mark.parametrize("typical", [0.0, 1.0, 3.0])
def test_the_stranger_the_light_the_farther_off_is_near(typical: float) -> None:
    near = GAP + GAP_PER_STRANGENESS * typical
    inside = belief([[1.0, near, 90.0, 99.0]] * 3, typical)
    outside = belief([[1.0, near + 2.0, 90.0, 99.0]] * 3, typical)

    assert not certain(weigh_absent(inside, {})).any()
    assert certain(weigh_absent(outside, {})).all()


def test_bare_board_is_never_doubted_for_it() -> None:
    before = belief([[9.0, 60.0, 70.0, 1.0]] * 3)
    np.testing.assert_array_equal(weigh_absent(before, {}).distances, before.distances)


def test_two_colours_that_look_just_alike_stay_in_doubt() -> None:
    before = belief([[2.0, 2.0, 60.0, 90.0]] * 3)

    np.testing.assert_array_equal(weigh_absent(before, {}).distances, before.distances)
