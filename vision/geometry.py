"""From point pairs to a registration: homography with one radial term, its error, its lift.

Board coordinates are mm, photo coordinates full-size px (x, y).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import Registration

Array = NDArray[np.float64]

USUAL_FOCAL = 0.78
"""Focal length of a phone's main camera in units of the photo's long side (65 deg; from memory)."""

FOCAL_SPREAD = 0.15
"""Standard deviation of log focal length among phones' main cameras (chosen by hand)."""

K1_SPREAD = 0.04
"""Standard deviation expected of ``k1`` (chosen by hand; phones straighten their pictures)."""


BESIDE = 0.6
"""Two stand in one row where their middles lie less than this share of the lower one's height
above each other."""

DAMPING = 1e-10
"""Share of its trace added to the normal equations, so that pairs which leave a direction open give
a large error there and no failure."""

UNBENDING_STEPS = 12
"""Steps in which a lens is straightened; a phone's needs three."""

MOST_STEPS = 12
SETTLED = 1e-6
"""Refitting ends after so many steps, or once none moves the board by more than this share of half
the photo's long side: a five-hundredth of a px of a 12 MP photo."""


def homography_between(board_mm: Array, photo_px: Array, tolerance_px: float) -> Array | None:
    """Robust homography (3, 3) board mm -> photo px by MAGSAC++, or None where there is none.

    Source: Barath, Noskova, Ivashechkin, Matas, "MAGSAC++", CVPR 2020, as OpenCV implements it.
    """
    if len(board_mm) < 4:
        return None
    try:
        found, _ = cv2.findHomography(
            np.asarray(board_mm, np.float64),
            np.asarray(photo_px, np.float64),
            cv2.USAC_MAGSAC if len(board_mm) > 4 else 0,
            tolerance_px,
            maxIters=5000,
            confidence=0.9999,
        )
    except cv2.error:
        return None
    if found is None or not np.isfinite(found).all():
        return None
    return np.asarray(found, np.float64)


def registration_from(
    homography: Array,
    size_px: tuple[int, int],
    method: str,
    k1: float = 0.0,
    error_mm: float = float("inf"),
    evidence: dict[str, float] | None = None,
) -> Registration:
    """A registration around a homography, its lift that of a camera that took ``size_px``."""
    centre = ((size_px[0] - 1) / 2, (size_px[1] - 1) / 2)
    long_side = max(size_px)
    return Registration(
        homography=homography,
        lift=lift_of(homography, centre, long_side),
        k1=k1,
        centre_px=centre,
        radius_px=long_side / 2,
        error_mm=error_mm,
        method=method,
        evidence=evidence or {},
    )


def lift_of(homography: Array, centre_px: tuple[float, float], long_side_px: float) -> Array:
    """Column (3,) by which one mm of height moves a point, homogeneous px.

    With K the camera matrix, H ~ K [r1 r2 t] and up is -(r1 x r2) for x right, y down; the focal
    length is the one that makes r1, r2 most nearly orthonormal, with a prior for phones.
    Source: Z. Zhang, "A flexible new technique for camera calibration", PAMI 22(11), 2000, eq. 3-4.
    """
    focals = USUAL_FOCAL * np.exp(np.linspace(-0.45, 0.45, 61))
    to_centre = np.array([[1, 0, -centre_px[0]], [0, 1, -centre_px[1]], [0, 0, 1.0]])
    h = to_centre @ homography
    inverse = 1 / (focals * long_side_px)
    scales = np.stack([inverse, inverse, np.ones_like(inverse)], 1)
    a, b = scales * h[:, 0], scales * h[:, 1]
    na, nb = (a**2).sum(1), (b**2).sum(1)
    misfit = ((a * b).sum(1) ** 2 / (na * nb)) + ((na - nb) / (na + nb)) ** 2
    cost = misfit / 0.01**2 + (np.log(focals / USUAL_FOCAL) / FOCAL_SPREAD) ** 2
    best = int(np.argmin(cost))
    focal = focals[best] * long_side_px
    length = np.sqrt((na[best] + nb[best]) / 2)
    up = -np.cross(a[best], b[best]) / length
    K = np.array([[focal, 0, centre_px[0]], [0, focal, centre_px[1]], [0, 0, 1.0]])
    return K @ up


def _normalised(points: Array, centre: Array, radius: float) -> Array:
    return (points - centre) / radius


def _residuals(theta: Array, board: Array, photo: Array) -> tuple[Array, Array]:
    """Residuals (2, N) and Jacobian (9, 2, N) of the radial homography in normalised units."""
    xy1 = np.concatenate([board.T, np.ones((1, len(board)))])
    w = theta[6:8] @ board.T + 1
    u, v = flat = theta[:6].reshape(2, 3) @ xy1 / w
    k = theta[8]
    r2 = u * u + v * v
    stretch = 1 + k * r2
    # How the bent point (rows) moves with the flat one (columns), and that with theta's first six.
    bend = np.array(
        [[stretch + 2 * k * u * u, 2 * k * u * v], [2 * k * u * v, stretch + 2 * k * v * v]]
    )
    moved = xy1 / w
    jac = np.empty((9, 2, len(board)))
    jac[0:3] = moved[:, None] * bend[:, 0]
    jac[3:6] = moved[:, None] * bend[:, 1]
    jac[6:8] = -moved[:2, None] * (bend * flat).sum(axis=1)
    jac[8] = flat * r2
    return flat * stretch - photo.T, jac


def refine_registration(
    start: Registration,
    board_mm: Array,
    photo_px: Array,
    size_px: tuple[int, int],
    places_mm: Array,
    told: Array | None = None,
) -> Registration:
    """``start`` refitted to point pairs by iteratively reweighted least squares.

    ``told`` (N, 2, 2), where given, is what of each pair's residual counts: of a pair that may lie
    anywhere along an edge what lies across it, of one placed a tenth as well a tenth.

    Weights are Tukey's biweight on residuals scaled by their median absolute deviation (Huber and
    Ronchetti, "Robust Statistics", 2nd ed., 2009, ch. 4 and 7). ``error_mm`` is the largest 95 %
    half width at ``places_mm``, propagated from the weighted normal equations.
    """
    centre_mm, radius_mm = board_mm.mean(0), max(float(np.ptp(board_mm, axis=0).max()) / 2, 1e-9)
    centre_px, radius_px = np.array(start.centre_px), start.radius_px
    to_mm = np.array([[radius_mm, 0, centre_mm[0]], [0, radius_mm, centre_mm[1]], [0, 0, 1]])
    to_unit = (
        np.array([[1, 0, -centre_px[0]], [0, 1, -centre_px[1]], [0, 0, radius_px]]) / radius_px
    )
    unit = to_unit @ start.homography @ to_mm
    theta = np.append((unit / unit[2, 2]).ravel()[:8], start.k1)
    board = _normalised(board_mm, centre_mm, radius_mm)
    photo = _normalised(photo_px, centre_px, radius_px)
    prior = np.zeros(9)
    weight = np.ones(len(board))
    sigma = 1.0
    for step in range(MOST_STEPS):
        r, jac = _residuals(theta, board, photo)
        if told is not None:
            r, jac = np.einsum("nij,jn->in", told, r), np.einsum("nij,kjn->kin", told, jac)
        size = np.hypot(*r)
        sigma = max(1.4826 * float(np.median(size)) / 1.18, 0.15 / radius_px)
        if step:
            weight = np.clip(1 - (size / (6 * sigma)) ** 2, 0, None) ** 2
        prior[8] = (sigma / K1_SPREAD) ** 2
        pulls = (jac * weight).reshape(9, -1)
        A = pulls @ jac.reshape(9, -1).T
        A += np.diag(prior + DAMPING * np.trace(A))
        g = pulls @ r.ravel() + prior * np.append(np.zeros(8), theta[8])
        move = np.linalg.solve(A, g)
        theta = theta - move
        if step and np.abs(move).max() < SETTLED:
            break
    H = np.linalg.inv(to_unit) @ np.append(theta[:8], 1).reshape(3, 3) @ np.linalg.inv(to_mm)
    refined = registration_from(H / H[2, 2], size_px, start.method, float(theta[8]))
    spread2 = (weight * r**2).sum() / max(2 * weight.sum() - 9, 1)
    _, at = _residuals(theta, _normalised(places_mm, centre_mm, radius_mm), np.zeros((1, 2)))
    covariance = np.linalg.inv(A) * spread2
    variance = (at * np.tensordot(covariance, at, 1)).sum(axis=0).max(axis=0)
    error_mm = 1.96 * radius_px * np.sqrt(variance) / px_per_mm(refined, places_mm)
    return replace(refined, error_mm=float(error_mm.max()))


def can_be(registration: Registration) -> bool:
    """Whether a fitted homography is finite and no mirror image."""
    homography = registration.homography
    return bool(np.isfinite(homography).all() and np.linalg.det(homography) > 0)


def board_places(registration: Registration, points_px: Array, z_mm: float) -> Array:
    """Board mm (N, 2) of photo px (N, 2) at height ``z_mm``: the inverse of ``project``."""
    off = (points_px - registration.centre_px) / registration.radius_px
    flat = off
    for _ in range(UNBENDING_STEPS):
        flat = off / (1 + registration.k1 * (flat**2).sum(axis=1, keepdims=True))
    plane = registration.homography + z_mm * np.outer(registration.lift, [0, 0, 1])
    px = registration.centre_px + flat * registration.radius_px
    places = np.column_stack([px, np.ones(len(px))]) @ np.linalg.inv(plane).T
    return np.asarray(places[:, :2] / places[:, 2:])


def px_per_mm(registration: Registration, points_mm: Array) -> Array:
    """Smaller local scale (N,), photo px per mm, at board points of shape (N, 2) mm."""
    return _scales(registration, points_mm)[:, 1]


def tilt_deg(registration: Registration, middle_mm: Array) -> float:
    """How far off its normal the board is seen at ``middle_mm`` (2,), degrees.

    A circle there appears as an ellipse whose axes are as 1 to the cosine of the tilt.
    """
    long, short = _scales(registration, middle_mm[None])[0]
    return float(np.degrees(np.arccos(np.clip(short / long, 0, 1))))


def _scales(registration: Registration, points_mm: Array) -> Array:
    """Larger and smaller local scale (N, 2), photo px per mm, at board points (N, 2) mm."""
    step = 0.5
    base = registration.project(points_mm)
    ax = registration.project(points_mm + np.array([step, 0])) - base
    ay = registration.project(points_mm + np.array([0, step])) - base
    scales = np.linalg.svd(np.stack([ax, ay], 2) / step, compute_uv=False)
    return np.asarray(scales, np.float64)


def reading_order(quads: Sequence[Array]) -> list[int]:
    """Indices of quadrilaterals (4, 2), px, from left to right, the upper row first.

    Rows may slope: one goes on where the next to the right stands beside its last.
    """
    middles = np.array([quad.mean(axis=0) for quad in quads]).reshape(-1, 2)
    heights = [float(np.ptp(quad[:, 1])) for quad in quads]
    rows: list[list[int]] = []
    for i in np.argsort(middles[:, 0], kind="stable").tolist():
        off = [abs(middles[i, 1] - middles[row[-1], 1]) for row in rows]
        nearest = int(np.argmin(off)) if off else 0
        if off and off[nearest] < BESIDE * min(heights[i], heights[rows[nearest][-1]]):
            rows[nearest].append(i)
        else:
            rows.append([i])
    rows.sort(key=lambda row: float(middles[row, 1].mean()))
    return [i for row in rows for i in row]
