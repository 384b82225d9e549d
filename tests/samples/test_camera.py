import cv2
import numpy as np
import pytest
from skimage.transform import ProjectiveTransform

from samples.camera import (
    Camera,
    aim,
    extent,
    lens_maps,
    make_canvas,
    tip_away,
    turn_about_z,
)

CORNERS = np.array([[0, 0], [180, 0], [180, 150], [0, 150]], float)
INNER = np.array([[x, y] for x in (20, 71, 133) for y in (18, 77, 141)], float)


def hold(tilt: float = 30.0, turn: float = 40.0, k1: float = 0.0) -> Camera:
    rotation = turn_about_z(-7.0) @ tip_away(tilt) @ turn_about_z(turn)
    distance = aim(CORNERS, rotation, 800.0, (1200, 900), 0.9)
    return Camera(rotation, CORNERS.mean(axis=0), distance, 800.0, (1200, 900), k1, (0.03, -0.02))


@pytest.mark.parametrize("turn", range(0, 360, 45))
def test_without_distortion_a_plane_maps_by_the_homography_of_its_corners(turn: int) -> None:
    camera = hold(turn=turn)
    homography = ProjectiveTransform.from_estimate(CORNERS, camera.project(CORNERS))

    assert np.abs(homography(INNER) - camera.project(INNER)).max() < 1e-6


@pytest.mark.parametrize("k1", [-0.06, 0.0, 0.05])
@pytest.mark.parametrize("height_mm", [-2.0, 0.0, 3.0])
def test_projects_like_opencv_with_the_same_k1(k1: float, height_mm: float) -> None:
    camera = hold(k1=k1)
    world = np.column_stack([INNER, np.full(len(INNER), -height_mm)])
    middle = np.array([*camera.target_mm, 0.0])
    shift = camera.distance_mm * np.array([*camera.shift, 1.0]) - camera.rotation @ middle
    intrinsics = np.array([[800.0, 0, 599.5], [0, 800.0, 449.5], [0, 0, 1]])
    turned, _ = cv2.Rodrigues(camera.rotation)
    lens = np.array([k1, 0.0, 0.0, 0.0])
    expected, _ = cv2.projectPoints(world, turned, shift, intrinsics, lens)

    assert np.abs(expected.reshape(-1, 2) - camera.project(INNER, height_mm)).max() < 1e-6


@pytest.mark.parametrize("k1", [-0.06, 0.0, 0.05])
def test_the_lens_maps_undo_the_lens(k1: float) -> None:
    camera = hold(k1=k1)
    canvas = make_canvas(camera, 1.5)
    map_x, map_y = lens_maps(canvas)
    seen = camera.project(INNER).astype(np.float32)
    looked_up = [
        cv2.remap(m, seen[:, :1], seen[:, 1:], cv2.INTER_LINEAR).ravel() for m in (map_x, map_y)
    ]

    assert np.abs(np.column_stack(looked_up) - canvas.place(INNER, 0.0)).max() < 0.05


@pytest.mark.parametrize("k1", [-0.06, 0.05])
def test_every_picture_pixel_has_canvas_to_look_at(k1: float) -> None:
    canvas = make_canvas(hold(k1=k1), 1.0)
    map_x, map_y = lens_maps(canvas)

    assert min(map_x.min(), map_y.min()) >= 0
    assert map_x.max() <= canvas.size_px[0] - 1
    assert map_y.max() <= canvas.size_px[1] - 1


def test_aims_so_that_the_furthest_corner_comes_just_within_reach() -> None:
    camera = Camera(tip_away(35.0), CORNERS.mean(axis=0), 1.0, 800.0, (1200, 900), 0.0)
    distance = aim(CORNERS, camera.rotation, 800.0, (1200, 900), 0.7)
    there = Camera(camera.rotation, camera.target_mm, distance, 800.0, (1200, 900), 0.0)

    assert extent(there, CORNERS) == pytest.approx(0.7, abs=1e-3)


def test_tilt_moves_the_upper_side_of_the_board_away() -> None:
    seen = hold(tilt=40.0, turn=0.0).project(CORNERS)
    upper, lower = np.linalg.norm(seen[1] - seen[0]), np.linalg.norm(seen[2] - seen[3])

    assert upper < lower


def test_the_eye_is_above_the_board_and_sees_heights_displaced_away_from_it() -> None:
    camera = hold()
    low, high = camera.project(INNER, 0.0), camera.project(INNER, 5.0)
    foot = camera.project(camera.eye_mm[None, :2], 0.0)

    assert camera.eye_mm[2] > 0
    assert (((high - low) * (low - foot)).sum(axis=1) > 0).all()
