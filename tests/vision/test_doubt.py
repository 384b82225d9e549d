"""When a cell is certain, and when something may lie over it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.belief import Belief
from vision.doubt import BEYOND_TRUST, UNEVEN, UNLIKE, name_cells
from vision.types import ODD, Samples

USUAL = 0.4
NAMES = ("sand", "moss", "empty")


def smooth(count: int) -> Samples:
    """Samples of cells of one even colour."""
    none, blank = np.zeros(count), np.zeros((count, 3))
    return Samples(blank, blank, blank, none, none, none, blank, blank)


@pytest.mark.parametrize(
    ("distance", "unrest", "is_odd"),
    [
        (UNLIKE + 1, UNEVEN * USUAL * 1.1, True),
        (UNLIKE + 1, UNEVEN * USUAL * 0.9, False),
        (UNLIKE - 1, UNEVEN * USUAL * 1.1, False),
        (0.5, USUAL * 1.1, True),
    ],
)
def test_what_looks_unlike_its_colour_and_uneven_may_be_covered(
    distance: float, unrest: float, is_odd: bool
) -> None:
    """One alone is no reason, but for a surface far more uneven than any piece's."""
    none = np.zeros(1)
    belief = Belief(NAMES, np.array([[distance, 60.0, 80.0]]), none, 0.3, none)
    samples = replace(smooth(1), unrest=np.array([unrest]))

    (read,) = name_cells(belief, samples, ("A1",), USUAL).values()

    if is_odd:
        assert read.colour == ODD
        assert read.candidates == NAMES
        assert "something may lie over it" in (read.doubt or "")
    else:
        assert (read.colour, read.doubt) == ("sand", None)


@pytest.mark.parametrize("typical", [BEYOND_TRUST - 0.1, 7.5])
@pytest.mark.parametrize(
    ("distances", "left"),
    [([1.0, 60.0, 80.0], NAMES[:2]), ([60.0, 70.0, 1.0], ("empty", "sand", "moss"))],
)
def test_in_a_light_unlike_anything_learned_no_colour_is_certain(
    typical: float, distances: list[float], left: tuple[str, ...]
) -> None:
    """What is plainly no bare cell stays none; what looks bare may be a piece all the same."""
    none = np.zeros(1)
    belief = Belief(NAMES, np.array([distances]), none, typical, none)

    (read,) = name_cells(belief, smooth(1), ("A1",), USUAL).values()

    trusted = typical < BEYOND_TRUST
    assert read.colour == left[0]
    assert read.candidates == (left[:1] if trusted else left)
    assert (read.doubt is None) == trusted
