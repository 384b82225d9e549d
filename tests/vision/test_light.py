"""Today's light over the board, from board that no piece covers."""

from __future__ import annotations

import numpy as np
import pytest

from calibrate.types import Artwork
from scoring.lattice import regular_lattice
from scoring.regular import Shape
from vision.level import Plan, plan_of
from vision.light import gain_at, light_over

PAPER, INK = 200, 110
"""Levels of the printed board, sRGB."""


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(
        regular_lattice(
            "square", Shape(rows=(5, 5, 5, 5), pitch_mm=22.0, gap_mm=2.0, margin_mm=(24.0, 24.0))
        )
    )


@pytest.fixture(scope="module")
def artwork(plan: Plan) -> Artwork:
    """Paper on one half of the board, ink on the other."""
    width, height = plan.size_px
    row = np.where(np.arange(width)[:, None] < width / 2, [PAPER] * 3, [INK, INK, INK + 20])
    return printed(np.tile(row, (height, 1, 1)).astype(np.uint8), plan)


def printed(level: np.ndarray, plan: Plan) -> Artwork:
    """The artwork whose level picture this is."""
    return Artwork(level, np.ones(level.shape[:2], bool), plan.px_per_mm, plan.origin_mm)


def lit(artwork: Artwork, gain: np.ndarray) -> np.ndarray:
    """The artwork in so much more light (3,), what is beyond full scale cut off."""
    level = artwork.pixels / 255
    linear = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4) * gain
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(255 * np.clip(coded, 0, 1)).astype(np.uint8)


@pytest.mark.parametrize("gain", [(0.5, 0.6, 0.7), (1.3, 1.2, 1.1), (3.0, 2.6, 2.2)])
def test_the_light_is_told_even_where_paper_burns_out(
    plan: Plan, artwork: Artwork, gain: tuple[float, float, float]
) -> None:
    """At the strongest the paper would be 1.3 to 1.7 times full scale; ink tells the light."""
    level = lit(artwork, np.array(gain))
    assert (level.max() == 255) == (gain[0] > 2)

    found = light_over(level, artwork, plan)

    np.testing.assert_allclose(found.gain, np.tile(gain, (20, 1)), rtol=0.1)
    np.testing.assert_allclose(
        gain_at(plan.centres_mm, level, artwork, plan), found.gain, rtol=1e-9
    )


def test_where_all_is_burnt_out_the_light_is_the_least_that_it_can_be(plan: Plan) -> None:
    paper = np.full((*plan.size_px[::-1], 3), PAPER, np.uint8)

    found = light_over(np.full_like(paper, 255), printed(paper, plan), plan)

    np.testing.assert_allclose(found.gain, 1 / 0.578, rtol=0.02)
