"""Two near labels told apart by all cells of a photo that lie between them."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel

from vision.belief import Belief, margin_asked
from vision.pairs import (
    FREEDOM,
    HALF_SPREAD,
    HALVES,
    LEAST_SHIFT,
    OWN_WIDTH,
    SHIFTS,
    TREND,
    TREND_NOISE,
    USUAL_HALF,
    WIDTHS,
    Between,
    log_odds,
    weigh_pairs,
    without_trend,
)

SHIFT = 1.0
PLACES_MM = np.array(
    [[0, 0], [25, 10], [60, 0], [80, 30], [120, 15], [150, 40], [90, 90], [20, 70]]
)


def line(places: list[float], apart: float = 2.5) -> Between:
    """Cells on the line between two labels, about which nothing but their colour is known."""
    count = len(places)
    return Between(np.array(places), np.full(count, apart), np.zeros(count))


def weighed(cells: Between, known: dict[int, bool]) -> list[tuple[float, float, float, tuple]]:
    """Weight, middle and half distance of the heaps, and labels, of every way that cells may lie;
    with scipy's t distribution."""
    count = len(cells.place)
    moved = max(2 * SHIFT / cells.apart.max(), LEAST_SHIFT)
    ways = []
    for shift, half, width in product(SHIFTS * moved, HALVES, WIDTHS):
        prior = np.exp(
            -0.5 * (shift / moved) ** 2 - 0.5 * (np.log(half / USUAL_HALF) / HALF_SPREAD) ** 2
        )
        wide = np.sqrt((2 * width / cells.apart) ** 2 + OWN_WIDTH**2)
        like = np.array(
            [t.pdf(cells.place, FREEDOM, shift + side * half, wide) for side in (-1, 1)]
        )
        like[1] *= np.exp(cells.before)
        for labels in product((0, 1), repeat=count):
            if all(labels[k] == int(is_second) for k, is_second in known.items()):
                every = prior * np.prod(like[list(labels), range(count)])
                ways.append((every, shift, half, labels))
    return ways


def enumerated(cells: Between, known: dict[int, bool]) -> np.ndarray:
    """The same odds by adding up every way of labelling the cells."""
    count = len(cells.place)
    total = np.zeros((count, 2))
    for every, _, _, labels in weighed(cells, known):
        total[range(count), list(labels)] += every
    unnamed = [k for k in range(count) if k not in known]
    return np.log(total[unnamed, 1] / total[unnamed, 0])


def trend_of(cells: Between, known: dict[int, bool], places_mm: np.ndarray) -> np.ndarray:
    """How far the line lies off at each cell, every way of labelling added up, and smoothed by
    scikit-learn's Gaussian process over all cells but this one."""
    ways = weighed(cells, known)
    weight = np.array([way[0] for way in ways]) / sum(way[0] for way in ways)
    off = np.array(
        [cells.place - shift + half * (1 - 2 * np.array(labels)) for _, shift, half, labels in ways]
    )
    mean = weight @ off
    unsure = cells.apart / 2 * np.sqrt(weight @ off**2 - mean**2)
    noise = np.hypot(TREND_NOISE, unsure)
    ((sd, length),) = TREND
    told = []
    for cell in range(len(cells.place)):
        others = np.arange(len(cells.place)) != cell
        process = GaussianProcessRegressor(
            ConstantKernel(sd**2, "fixed") * RBF(length, "fixed"), alpha=noise[others] ** 2
        )
        process.fit(places_mm[others], (mean * cells.apart / 2)[others])
        told.append(process.predict(places_mm[[cell]])[0])
    return np.array(told) / (cells.apart / 2)


@pytest.mark.parametrize("known", [{}, {0: False}, {2: True, 3: False}])
def test_the_trend_is_that_of_every_labelling_smoothed_without_the_cell_itself(
    known: dict[int, bool],
) -> None:
    """Against full enumeration with scipy, and scikit-learn's Gaussian process."""
    cells = Between(np.array([-0.9, -0.2, 1.1, 0.4]), np.array([2.5, 1.7, 3.0, 1.3]), np.zeros(4))

    flat = without_trend(cells, known, SHIFT, PLACES_MM[:4])

    expected = trend_of(cells, known, PLACES_MM[:4])
    assert abs(expected).max() > 0.02
    np.testing.assert_allclose(cells.place - flat.place, expected, atol=1e-6)


def test_heaps_that_two_lamps_pull_apart_are_sorted_once_the_trend_is_out() -> None:
    """From left to right each label's cells move by as much as the two lie apart."""
    across = PLACES_MM[:, 0] / 75 - 1
    second = np.array([0, 1, 0, 1, 0, 1, 1, 0], bool)
    cells = line(list(np.where(second, 0.8, -0.8) + 0.8 * across), apart=4.0)

    odds = [
        log_odds(seen, {}, SHIFT) * np.where(second, 1, -1)
        for seen in (cells, without_trend(cells, {}, SHIFT, PLACES_MM))
    ]

    assert odds[1].min() > odds[0].min() + 0.5
    assert (odds[1] > 2).all()


def test_a_cell_alone_has_no_trend() -> None:
    alone = line([0.7])
    assert without_trend(alone, {}, SHIFT, PLACES_MM[:1]).place == pytest.approx(alone.place)


@pytest.mark.parametrize("is_second", [False, True])
@pytest.mark.parametrize("places", [[-1.2, 0.4, 1.0], [0.2, 0.5, 0.1, -1.9], [1.4, 1.2]])
def test_the_odds_are_those_of_every_labelling_added_up(
    places: list[float], is_second: bool
) -> None:
    """Against full enumeration by scipy; the cell that was named has no odds of its own."""
    apart = [2.5, 0.7, 5.0, 1.3]
    count = len(places)
    cells = Between(np.array(places), np.array(apart[:count]), np.linspace(-1, 1, count))
    named = {0: is_second}

    odds = log_odds(cells, named, SHIFT)

    np.testing.assert_allclose(odds[1:], enumerated(cells, named), atol=1e-6)


@pytest.mark.parametrize("moved", [-0.7, 0.0, 0.7])
def test_two_heaps_are_told_apart_wherever_the_light_moved_them(moved: float) -> None:
    first, second = [-1.1, -1.0, -0.95, -0.9], [0.9, 1.0, 1.05]
    odds = log_odds(line([place + moved for place in first + second]), {}, SHIFT)

    assert (odds[:4] < -2).all()
    assert (odds[4:] > 2).all()


def test_one_heap_in_the_middle_is_in_doubt_until_one_of_its_cells_is_named() -> None:
    heap = line([0.0, 0.1, 0.15, -0.05, 0.05])

    alone, told = log_odds(heap, {}, SHIFT), log_odds(heap, {2: True}, SHIFT)

    assert (abs(alone) < 1).all()
    assert (np.delete(told, 2) > 2).all()


@given(st.lists(st.floats(-3, 3), min_size=2, max_size=8), st.floats(0.3, 8))
def test_the_other_way_round_the_odds_are_the_opposite(places: list[float], apart: float) -> None:
    there = log_odds(line(places, apart), {}, SHIFT)
    back = log_odds(line([-place for place in places], apart), {}, SHIFT)

    np.testing.assert_allclose(there, -back, atol=1e-9)


def belief(distances: list[list[float]]) -> Belief:
    count = len(distances)
    return Belief(
        ("rust", "copper", "moss", "empty"),
        np.array(distances, float),
        np.zeros(count),
        0.2,
        np.zeros(count),
    )


def test_a_third_label_a_never_empty_cell_and_a_cell_named_otherwise_stay_out_of_it() -> None:
    before = belief(
        [[1, 3, 40, 90], [3, 1, 40, 90], [40, 90, 1, 3], [90, 40, 3, 1], [1, 2, 40, 90]]
    )
    asked: list[list[int]] = []

    def between(first: int, second: int, cells: np.ndarray) -> Between:
        asked.append([first, second, *map(int, cells)])
        return line([-1.0, 1.0][: len(cells)])

    never = np.array([False, False, True, True, False])
    after = weigh_pairs(before, between, {4: 2}, never, PLACES_MM[:5])

    assert asked == [[0, 1, 0, 1]]
    np.testing.assert_array_equal(after.distances[2:], before.distances[2:])
    assert (after.distances.min(axis=1) == before.distances.min(axis=1)).all()
    gaps = abs(after.distances[:2, 0] - after.distances[:2, 1])
    assert (gaps > margin_asked(before)[:2]).all()


def test_a_cell_whose_own_samples_say_otherwise_is_in_doubt_not_overruled() -> None:
    """The middles of two labels may lie askew: nearest samples that contradict them are heard."""
    heap = [[1, 30, 40, 90]] * 4

    def gaps(own: list[float], apart: float) -> np.ndarray:
        before = belief([own, *heap])
        places = line([-1.0, -1.1, -0.9, -1.0, -0.95], apart)
        never = np.zeros(5, bool)
        after = weigh_pairs(before, lambda *_: places, {}, never, PLACES_MM[:5])
        return abs(after.distances[:, 0] - after.distances[:, 1]) - margin_asked(before)

    for apart in (2.6, 6.0, 18.0):
        told = gaps([6, 1, 40, 90], apart)
        assert told[0] < 0
        assert (told[1:] > 0).all()
    assert (gaps([1, 6, 40, 90], 6.0) > 0).all()


def test_between_labels_that_lie_close_together_its_own_samples_count_against_the_heaps() -> None:
    never = np.zeros(3, bool)

    def gap(own: list[float]) -> float:
        before = belief([own, [1, 30, 40, 90], [1, 30, 40, 90]])
        places = line([-1.0, -1.1, -0.9], 2.5)
        after = weigh_pairs(before, lambda *_: places, {}, never, PLACES_MM[:3])
        return float(after.distances[0, 1] - after.distances[0, 0])

    assert gap([9, 1, 40, 90]) <= gap([1, 9, 40, 90]) - 8 + 1e-9


def test_glare_hides_colour_but_not_the_board_under_it() -> None:
    """A piece burnt to full scale over a printed cell: its colour may be the board's, yet the
    board's print is not seen."""
    burnt = replace(belief([[1, 90, 90, 6]] * 3), clipped=np.ones(3))
    never = np.zeros(3, bool)

    def gap(before: float) -> float:
        seen = Between(np.full(3, -0.5), np.full(3, 1.5), np.full(3, before))
        after = weigh_pairs(burnt, lambda *_: seen, {}, never, PLACES_MM[:3])
        return float((after.distances[:, 3] - after.distances[:, 0]).min())

    asked = margin_asked(burnt)[0]
    assert gap(0.0) < asked
    assert gap(-4.0) > asked
