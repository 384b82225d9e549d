"""Homographies, their refinement and its own error, against scikit-image and OpenCV's camera."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.transform import ProjectiveTransform

from tests.strategies import cases
from vision.geometry import (
    board_places,
    homography_between,
    px_per_mm,
    refine_registration,
    registration_from,
)
from vision.types import Registration

SIZE_PX = (1600, 1200)
BOARD_MM = np.array([[0, 0], [200, 0], [200, 150], [0, 150]], float)
NOISE_PX = 0.5
STRAYS = 0.15
"""Share of the pairs that are plainly wrong."""

Quad = list[tuple[float, float]]


def quads() -> st.SearchStrategy[Quad]:
    """Where the four corners of a board fall in a photo: a convex quadrilateral, never flat."""
    middle = np.array([[350, 250], [1250, 250], [1250, 950], [350, 950]], float)
    moves = st.lists(st.tuples(st.floats(-150, 150), st.floats(-150, 150)), min_size=4, max_size=4)
    return moves.map(lambda found: [tuple(spot) for spot in middle + np.array(found)])


def places(columns: int = 10, rows: int = 8) -> np.ndarray:
    """Places all over the board, mm."""
    x, y = np.meshgrid(np.linspace(10, 190, columns), np.linspace(10, 140, rows))
    return np.column_stack([x.ravel(), y.ravel()])


def by_scikit_image(quad: Quad) -> ProjectiveTransform:
    return ProjectiveTransform.from_estimate(BOARD_MM, np.array(quad))


def in_homogeneous(homography: np.ndarray, points: np.ndarray) -> np.ndarray:
    w = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return w[:, :2] / w[:, 2:]


@cases(40)
@given(quads(), st.floats(-0.05, 0.05), st.floats(0, 12))
def test_places_come_back_from_their_px(quad: Quad, k1: float, high_mm: float) -> None:
    homography = homography_between(BOARD_MM, np.array(quad), 4.0)
    assert homography is not None
    lies = registration_from(homography, SIZE_PX, "corners", k1)
    back = board_places(lies, lies.project(places(), high_mm), high_mm)

    np.testing.assert_allclose(back, places(), atol=1e-3)


@cases(60)
@given(quads())
def test_four_corners_give_the_homography_of_scikit_image(quad: Quad) -> None:
    ours = homography_between(BOARD_MM, np.array(quad), 4.0)
    theirs = by_scikit_image(quad)

    assert ours is not None
    np.testing.assert_allclose(in_homogeneous(ours, places()), theirs(places()), atol=1e-6)


@cases(25)
@given(quads())
def test_many_pairs_with_strays_give_the_homography_of_scikit_image(quad: Quad) -> None:
    truth = by_scikit_image(quad)
    photo = truth(places())
    photo[::5] += [90.0, -70.0]
    ours = homography_between(places(), photo, 3.0)

    assert ours is not None
    np.testing.assert_allclose(in_homogeneous(ours, places()), truth(places()), atol=0.01)


def test_fewer_than_four_pairs_give_no_homography() -> None:
    assert homography_between(BOARD_MM[:3], BOARD_MM[:3], 4.0) is None


def camera(tilt_deg: float, turn_deg: float, focal: float = 0.78) -> dict[str, np.ndarray]:
    """A pin-hole that sees the whole board: K, rotation vector, translation.

    Its world is right handed with x right, y down, so heights above the board count downward.
    """
    f = focal * max(SIZE_PX)
    K = np.array([[f, 0, (SIZE_PX[0] - 1) / 2], [0, f, (SIZE_PX[1] - 1) / 2], [0, 0, 1]])
    tip = cv2.Rodrigues(np.radians([tilt_deg, 0.0, 0.0]))[0]
    turn = cv2.Rodrigues(np.radians([0.0, 0.0, turn_deg]))[0]
    rotation = tip @ turn
    translation = np.array([0, 0, 260.0 * focal / 0.78]) - rotation @ [100, 75, 0]
    return {"K": K, "rotation": cv2.Rodrigues(rotation)[0], "translation": translation}


def by_opencv(
    eye: dict[str, np.ndarray], points_mm: np.ndarray, z_mm: float = 0.0, k1: float = 0.0
) -> np.ndarray:
    """Photo px of board points at a height, by OpenCV's model of a camera."""
    world = np.column_stack([points_mm, np.full(len(points_mm), -z_mm)])
    lens = np.array([k1, 0, 0, 0, 0])
    return cv2.projectPoints(world, eye["rotation"], eye["translation"], eye["K"], lens)[0][:, 0]


def plane_of(eye: dict[str, np.ndarray]) -> np.ndarray:
    """Homography board mm -> px: K [r1 r2 t]."""
    rotation = cv2.Rodrigues(eye["rotation"])[0]
    return eye["K"] @ np.column_stack([rotation[:, 0], rotation[:, 1], eye["translation"]])


LIFT_MM = 0.3
"""A guessed focal length may shift a 3 mm piece by a tenth of its height, and no more."""


@pytest.mark.parametrize("turn_deg", [0.0, 70.0, 200.0])
@pytest.mark.parametrize("tilt_deg", [5.0, 15.0, 30.0, 45.0])
@pytest.mark.parametrize("focal", [0.68, 0.78, 0.9])
def test_pieces_stand_where_a_real_camera_sees_their_tops(
    focal: float, tilt_deg: float, turn_deg: float
) -> None:
    eye = camera(tilt_deg, turn_deg, focal)
    found = registration_from(plane_of(eye), SIZE_PX, "test")
    true_top = by_opencv(eye, places(), 3.0)
    true_foot = by_opencv(eye, places())
    off_mm = np.linalg.norm(found.project(places(), 3.0) - true_top, axis=1) / px_per_mm(
        found, places()
    )

    np.testing.assert_allclose(found.project(places()), true_foot, atol=1e-6)
    assert off_mm.max() < LIFT_MM


def test_a_tilted_view_tells_the_focal_length_itself() -> None:
    """At 30 degrees the homography fixes the focal length; the prior has next to no say."""
    for focal in (0.62, 0.78, 0.98):
        eye = camera(30.0, 25.0, focal)
        found = registration_from(plane_of(eye), SIZE_PX, "test")
        off_px = found.project(places(), 3.0) - by_opencv(eye, places(), 3.0)

        assert np.abs(off_px).max() < 0.6


def test_lens_distortion_is_that_of_opencv() -> None:
    """Same polynomial; k1 here counts in half long sides, there in focal lengths."""
    eye, k1 = camera(20.0, 10.0), -0.08
    radius_in_focals = (max(SIZE_PX) / 2) / eye["K"][0, 0]
    found = registration_from(plane_of(eye), SIZE_PX, "test", k1 * radius_in_focals**2)

    np.testing.assert_allclose(
        found.project(places()), by_opencv(eye, places(), 0.0, k1), atol=1e-6
    )


@cases(40)
@given(quads(), st.floats(-0.05, 0.05))
def test_the_local_scale_is_the_least_that_any_direction_shows(quad: Quad, k1: float) -> None:
    found = registration_from(by_scikit_image(quad).params, SIZE_PX, "test", k1)
    scale = px_per_mm(found, places())
    base, step = found.project(places()), 0.01
    ways = np.radians(np.arange(0, 180, 5))
    seen = np.array(
        [
            np.linalg.norm(
                found.project(places() + step * np.array([np.cos(w), np.sin(w)])) - base, axis=1
            )
            / step
            for w in ways
        ]
    )

    np.testing.assert_allclose(seen.min(axis=0), scale, rtol=0.02)


def test_straight_above_the_local_scale_is_the_scale() -> None:
    found = registration_from(np.diag([5.0, 5.0, 1.0]), SIZE_PX, "test")

    np.testing.assert_allclose(px_per_mm(found, places()), 5.0)


def trial(seed: int, noise_px: float = NOISE_PX) -> tuple[Registration, Registration]:
    """A registration drawn at random, and the one refined from noisy pairs with strays."""
    rng = np.random.default_rng(seed)
    eye = camera(rng.uniform(3, 40), rng.uniform(-180, 180), rng.uniform(0.7, 0.86))
    truth = registration_from(plane_of(eye), SIZE_PX, "test", rng.normal(0, 0.02))
    board = rng.uniform([0, 0], [200, 150], (80, 2))
    photo = truth.project(board) + rng.normal(0, noise_px, (80, 2))
    stray = rng.uniform(size=80) < STRAYS
    photo[stray] += rng.uniform(15, 60, (stray.sum(), 2)) * rng.choice([-1, 1], (stray.sum(), 2))
    nudge = np.diag([1.004, 0.997, 1.0])
    nudge[:2, 2] = rng.normal(0, 3, 2)
    start = replace(truth, homography=nudge @ truth.homography, k1=0.0)
    return truth, refine_registration(start, board, photo, SIZE_PX, places())


def off_mm(truth: Registration, found: Registration) -> np.ndarray:
    """How far every place is off along x and y, shape (N, 2)."""
    off_px = found.project(places()) - truth.project(places())
    return np.abs(off_px) / px_per_mm(truth, places())[:, None]


def test_refinement_recovers_homography_and_lens_from_noisy_pairs_with_strays() -> None:
    for seed in range(12):
        truth, found = trial(seed)

        assert off_mm(truth, found).max() < 0.25
        assert abs(found.k1 - truth.k1) < 0.012


def test_without_noise_refinement_is_exact() -> None:
    truth, found = trial(5, noise_px=0.0)

    assert off_mm(truth, found).max() < 0.02
    assert found.k1 == pytest.approx(truth.k1, abs=2e-3)


def test_the_reported_error_is_honest() -> None:
    """It promises 95 %; over seeded trials it covers about that, and is no lazy upper bound."""
    trials = [trial(seed) for seed in range(100, 220)]
    worst = np.array([np.quantile(off_mm(truth, found), 0.999) for truth, found in trials])
    each = np.array([off_mm(truth, found) for truth, found in trials])
    promised = np.array([found.error_mm for _, found in trials])

    assert (each <= promised[:, None, None]).mean() > 0.95
    assert (worst <= promised).mean() > 0.75
    assert np.median(promised) < 3 * np.median(worst)


def test_more_pairs_and_less_noise_promise_a_smaller_error() -> None:
    _, noisy = trial(7, noise_px=1.5)
    _, calm = trial(7, noise_px=0.3)

    assert calm.error_mm < noisy.error_mm / 2


def test_refinement_keeps_the_name_of_its_finder() -> None:
    _, found = trial(1)

    assert found.method == "test"
    assert np.isfinite(found.error_mm)
