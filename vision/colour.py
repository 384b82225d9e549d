"""sRGB and CIELAB, exact formulas in double precision."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FULL_SCALE = 250
"""8-bit level from which a channel may be at full scale: of the light there, only the least is
known."""

RGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
"""IEC 61966-2-1:1999, clause 5.2."""

WHITE_XYZ = RGB_TO_XYZ.sum(axis=1)
"""XYZ of R = G = B = 1, so that greys have a = b = 0."""

LUMINANCE = RGB_TO_XYZ[1]

INTENSITY_CHROMA = np.array([[1 / 3, 1 / 3, 1 / 3], [0.5, -0.5, 0.0], [0.25, 0.25, -0.5]])
"""Rows: log intensity, red against green, yellow against blue, of log linear RGB."""

FROM_INTENSITY_CHROMA = np.linalg.inv(INTENSITY_CHROMA)


_LAB_FROM_CURVES = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
_KNEE, _STEEP = 216 / 24389, 24389 / 27 / 116


def linear_from_srgb(pixels: NDArray[np.uint8]) -> Array:
    """Linear RGB in [0, 1] of 8-bit sRGB of any shape (IEC 61966-2-1:1999, clause 5.2)."""
    return _LINEAR[pixels]


def _decoded(v: Array) -> Array:
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


_LINEAR = _decoded(np.arange(256) / 255)


def lab_from_linear(rgb: Array) -> Array:
    """CIELAB (L 0-100, a, b) of linear sRGB of shape (..., 3), white R = G = B = 1.

    Source: CIE 15:2004, clause 8.2.1, with the exact constants 216/24389 and 24389/27.
    """
    t = np.maximum(rgb, 0) @ RGB_TO_XYZ.T / WHITE_XYZ
    f = np.where(t > _KNEE, np.cbrt(t), _STEEP * t + 16 / 116)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def lab_slopes(rgb: Array) -> Array:
    """Change of CIELAB (..., 3, 3) per change of each channel of linear sRGB (..., 3), none
    negative: the derivative of ``lab_from_linear``."""
    t = rgb @ RGB_TO_XYZ.T / WHITE_XYZ
    steep = np.where(t > _KNEE, 1 / (3 * np.cbrt(np.maximum(t, _KNEE)) ** 2), _STEEP)
    return np.asarray(_LAB_FROM_CURVES @ (steep[..., None] * (RGB_TO_XYZ / WHITE_XYZ[:, None])))
