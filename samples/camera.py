"""A phone's eye: a pin-hole with one radial term of distortion.

The world is (x, y, height) in mm: the board plane, and height above the board's surface toward
the viewer. A picture point is (x, y) in px, (0, 0) at the centre of the top left pixel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def turn_about_z(deg: float) -> Array:
    """Return the 3 x 3 rotation about the viewing axis."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def tip_away(deg: float) -> Array:
    """Return the 3 x 3 rotation that tips the board's upper side away from the viewer."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[1.0, 0, 0], [0, c, s], [0, -s, c]])


@dataclass(frozen=True, eq=False)
class Camera:
    """Where the phone is: rotation (3, 3), the board point it looks at (mm), its distance to it
    (mm), focal length (px), picture size (width, height) and ``k1``: x_d = x_u (1 + k1 r_u^2),
    r_u in focal lengths.
    """

    rotation: Array
    target_mm: Array
    distance_mm: float
    focal_px: float
    size_px: tuple[int, int]
    k1: float
    shift: tuple[float, float] = (0.0, 0.0)

    @property
    def eye_mm(self) -> Array:
        """The pin-hole as (x, y, height) in mm."""
        away = self.rotation.T @ self._arm()
        x, y = self.target_mm - away[:2]
        return np.array([x, y, away[2]])

    def _arm(self) -> Array:
        """From the eye to the target, in camera axes, in mm."""
        return self.distance_mm * np.array([*self.shift, 1.0])

    def plane(self, height_mm: float) -> Array:
        """Return the 3 x 3 from (x, y, 1) mm at this height to undistorted (x, y, 1) in focal
        lengths.
        """
        r = self.rotation
        middle = np.array([*self.target_mm, 0.0])
        offset = self._arm() - r @ middle - height_mm * r[:, 2]
        return np.column_stack([r[:, 0], r[:, 1], offset])

    def straight(self, points_mm: Array, height_mm: float) -> Array:
        """Return undistorted (x, y) in focal lengths of points of shape (N, 2) at one height."""
        rays = np.column_stack([points_mm, np.ones(len(points_mm))]) @ self.plane(height_mm).T
        return rays[:, :2] / rays[:, 2:]

    def project(self, points_mm: Array, height_mm: float = 0.0) -> Array:
        """Return where points of shape (N, 2) at one height fall in the picture, px, shape (N,
        2).
        """
        xy = self.straight(np.asarray(points_mm, float), height_mm)
        bent = xy * (1.0 + self.k1 * (xy**2).sum(axis=1, keepdims=True))
        return self.focal_px * bent + (np.array(self.size_px) - 1.0) / 2.0


@dataclass(frozen=True, eq=False)
class Canvas:
    """The undistorted, larger picture that is painted first: scale (px per picture px), size (w,
    h).
    """

    camera: Camera
    scale: float
    size_px: tuple[int, int]

    @property
    def intrinsics(self) -> Array:
        """The 3 x 3 from focal lengths to canvas px."""
        f = self.camera.focal_px * self.scale
        cx, cy = (np.array(self.size_px) - 1.0) / 2.0
        return np.array([[f, 0, cx], [0, f, cy], [0, 0, 1.0]])

    def plane(self, height_mm: float) -> Array:
        """Return the homography from board mm at this height to canvas px."""
        return self.intrinsics @ self.camera.plane(height_mm)

    def place(self, points_mm: Array, height_mm: float) -> Array:
        """Return canvas px of points of shape (N, 2) at one height."""
        xy = self.camera.straight(np.asarray(points_mm, float), height_mm)
        k = self.intrinsics
        return xy * k[0, 0] + k[:2, 2]


def make_canvas(camera: Camera, scale: float) -> Canvas:
    """Return a canvas large enough that every picture pixel has something to look at."""
    half = np.array(camera.size_px) / 2.0
    rim = float(np.hypot(*half) / camera.focal_px)
    grow = max(1.0, straighten(np.array([rim]), camera.k1)[0] / rim) * 1.01
    w, h = np.ceil(2 * half * scale * grow).astype(int)
    return Canvas(camera, scale, (int(w), int(h)))


def straighten(radius: Array, k1: float) -> Array:
    """Return undistorted radii from distorted ones, both in focal lengths, by a table."""
    table = np.linspace(0.0, 2.0, 4001)
    bent = table * (1.0 + k1 * table**2)
    rising = int(np.argmax(np.diff(bent) <= 0)) or len(table)
    return np.interp(radius, bent[:rising], table[:rising])


def lens_maps(canvas: Canvas) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return for each picture pixel the canvas (x, y) that it sees, two float32 maps."""
    camera = canvas.camera
    w, h = camera.size_px
    x = (np.arange(w) - (w - 1) / 2.0) / camera.focal_px
    y = (np.arange(h) - (h - 1) / 2.0) / camera.focal_px
    radius = np.hypot(x[None, :], y[:, None])
    table = np.linspace(1e-6, radius.max(), 2000)
    ratio = np.interp(radius, table, straighten(table, camera.k1) / table)
    k = canvas.intrinsics
    map_x = k[0, 0] * x[None, :] * ratio + k[0, 2]
    map_y = k[0, 0] * y[:, None] * ratio + k[1, 2]
    return map_x.astype(np.float32), map_y.astype(np.float32)


def aim(
    corners_mm: Array,
    rotation: Array,
    focal_px: float,
    size_px: tuple[int, int],
    reach: float,
) -> float:
    """Return the distance (mm) at which the furthest corner comes to ``reach`` of the half
    picture.
    """
    target = 0.5 * (corners_mm.min(axis=0) + corners_mm.max(axis=0))
    near, far = float(np.ptp(corners_mm, axis=0).max()) * 0.55, 5000.0
    for _ in range(40):
        middle = 0.5 * (near + far)
        camera = Camera(rotation, target, middle, focal_px, size_px, 0.0)
        if extent(camera, corners_mm) > reach:
            near = middle
        else:
            far = middle
    return far


def extent(camera: Camera, corners_mm: Array) -> float:
    """Return how far the furthest corner is from the middle, 1.0 being the edge of the picture."""
    half = np.array(camera.size_px) / (2.0 * camera.focal_px)
    return float((np.abs(camera.straight(corners_mm, 0.0)) / half).max())
