"""Cells weighed together: what twenty cells say alike, one cell need not doubt."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from vision.colour import FROM_INTENSITY_CHROMA, lab_from_linear
from vision.fit import LIGHT_SD
from vision.together import kinship, weigh_together

RUST, COPPER = np.array([0.30, 0.10, 0.05]), np.array([0.30, 0.115, 0.062])
CELLS = 20
NOISE_LAB = 2.5
"""As in a light that is not quite the one that was learned."""


def seen(labels: np.ndarray, shift: float) -> Callable[[np.ndarray], np.ndarray]:
    """Cells of two near colours, in a light ``shift`` (log) yellower than the board tells."""
    colours = np.array([RUST, COPPER])
    cells = colours[labels] * np.exp(shift * FROM_INTENSITY_CHROMA[:, 2])

    def distances_under(shifts: np.ndarray) -> np.ndarray:
        light = np.exp(LIGHT_SD * shifts[:, :2] @ FROM_INTENSITY_CHROMA[:, 1:].T)
        shown = lab_from_linear(light[:, None] * colours)
        apart = shown[:, None] - lab_from_linear(cells)[None, :, None]
        pieces = ((apart / NOISE_LAB) ** 2).sum(axis=3)
        return np.concatenate([pieces, np.full((len(shifts), CELLS, 1), 1e6)], axis=2)

    return distances_under


ALIKE = np.ones((CELLS, CELLS)) - np.eye(CELLS)
"""Every cell hears every other."""


def gaps(labels: np.ndarray, shift: float, known: dict[int, int] | None = None) -> np.ndarray:
    """How much likelier the true label is than the other, minus twice the log."""
    distances, _ = weigh_together(seen(labels, shift), known or {}, ALIKE)
    rows = np.arange(CELLS)
    return distances[rows, 1 - labels] - distances[rows, labels]


@pytest.mark.parametrize("shift", [-0.03, 0.0, 0.03])
def test_both_colours_side_by_side_tell_the_shift_that_moves_both(shift: float) -> None:
    both = np.arange(CELLS) % 2

    assert (gaps(both, shift) > 0).all()


def test_one_colour_alone_is_doubted_where_the_light_may_have_made_it_of_the_other() -> None:
    """From rust to copper is just such a step as a lamp makes: no cell may be sure of itself."""
    alone = np.zeros(CELLS, dtype=int)
    both = np.arange(CELLS) % 2

    assert np.median(gaps(alone, 0.0)) < np.median(gaps(both, 0.0))


def test_a_named_cell_tells_about_its_neighbours() -> None:
    alone = np.zeros(CELLS, dtype=int)

    told = gaps(alone, -0.04, {0: 0})

    assert told[1:].min() > gaps(alone, -0.04)[1:].min()


def test_what_cannot_be_stays_impossible() -> None:
    labels = np.arange(CELLS) % 2
    distances, _ = weigh_together(seen(labels, 0.0), {}, ALIKE)

    assert (distances[:, 2] > 1e5).all()
    assert np.isfinite(distances).all()


def test_the_same_photo_gives_the_same_distances() -> None:
    labels = np.arange(CELLS) % 2
    (once, _), (again, _) = (weigh_together(seen(labels, 0.02), {}, ALIKE) for _ in range(2))

    np.testing.assert_array_equal(once, again)


def test_cells_of_like_colour_hear_each_other_most() -> None:
    kin = kinship(np.array([RUST, COPPER, [0.05, 0.1, 0.4]]))

    assert kin[0, 1] > 0.8
    assert kin[0, 2] < 0.2
    assert (np.diag(kin) == 0).all()
    np.testing.assert_array_equal(kin, kin.T)
