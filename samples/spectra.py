"""Small spectra: what a paint, a lamp and a camera do to each other.

Everything is sampled in ``BANDS_NM``, 16 bands of 20 nm. A paint is a reflectance of shape
(16,), 0 to 1; a lamp is a relative power of shape (16,); a camera is a sensitivity of shape (3,
16). The shapes are simple Gaussians and Planck curves: good enough to bend colours the way real
lamps do, and nobody's measurements.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BANDS_NM: Array = np.arange(400.0, 701.0, 20.0)
DAYLIGHT_K = 6500.0
"""The light under which the camera returns a paint's own linear sRGB, in kelvin."""


def bump(centre_nm: float, width_nm: float) -> Array:
    """Return a Gaussian of unit height over the bands."""
    return np.exp(-0.5 * ((BANDS_NM - centre_nm) / width_nm) ** 2)


def planck(kelvin: float) -> Array:
    """Return black-body power over the bands, 1 at 560 nm (second radiation constant 1.4388e-2 m
    K).
    """
    metres = BANDS_NM * 1e-9
    power = 1.0 / (metres**5 * np.expm1(1.4388e-2 / (metres * kelvin)))
    return power / power[8]


LAMPS: dict[str, Array] = {
    "daylight": planck(DAYLIGHT_K),
    "shade": planck(8500.0),
    "bulb": planck(2850.0),
    "led-warm": 0.45 * bump(452, 11) + 1.0 * bump(604, 58),
    "led-cool": 1.0 * bump(452, 11) + 0.75 * bump(560, 60),
    "tube": 0.25 * bump(560, 70) + 0.8 * bump(436, 8) + 1.2 * bump(546, 9) + 1.0 * bump(611, 10),
}
"""Relative power of each named lamp."""


def basis() -> Array:
    """Return three overlapping reflectances, shape (16, 3), for red, green and blue; rows add up
    to 1.
    """
    blue = 1.0 / (1.0 + np.exp((BANDS_NM - 492.0) / 13.0))
    red = 1.0 / (1.0 + np.exp((586.0 - BANDS_NM) / 11.0))
    return np.stack([red, 1.0 - red - blue, blue], axis=1)


def camera(shift_nm: float = 0.0) -> Array:
    """Return the sensitivities of one phone, shape (3, 16); ``shift_nm`` makes a sister model."""
    red = bump(600 + shift_nm, 34) + 0.08 * bump(450, 25)
    return np.stack([red, bump(536 + 0.6 * shift_nm, 40), bump(458 - 0.4 * shift_nm, 27)])


def colour_matrix(sensitivity: Array) -> Array:
    """Return the 3 x 3 that takes this camera's raw values to linear sRGB, exact for ``basis``
    by day.
    """
    return np.asarray(np.linalg.inv(sensitivity @ (LAMPS["daylight"][:, None] * basis())))


def balance(sensitivity: Array, lamp: Array) -> Array:
    """Return the three raw gains that make a white sheet under this lamp look white."""
    white_by_day = sensitivity @ LAMPS["daylight"]
    return np.asarray(white_by_day / (sensitivity @ lamp), np.float64)


def response(sensitivity: Array, lamp: Array, gains: Array) -> Array:
    """Return the (3, 16) that takes a reflectance under this lamp to linear sRGB after white
    balance.
    """
    return colour_matrix(sensitivity) @ (gains[:, None] * sensitivity * lamp[None, :])


def paint(rgb: Array, ripple: float = 0.0) -> Array:
    """Return a reflectance that shows linear sRGB ``rgb`` by day.

    ``ripple`` (about -0.1 to 0.1) adds what a plain day does not show but a lamp does: the part
    of a wave that the camera is blind to under daylight (a metameric black).
    """
    wave = np.sin((BANDS_NM - 400.0) / 300.0 * 5.0 * np.pi)
    seen = camera() * LAMPS["daylight"][None, :]
    blind = wave - np.linalg.pinv(seen) @ (seen @ wave)
    return np.clip(basis() @ rgb + ripple * blind, 0.01, 0.98)


def srgb_to_linear(values: NDArray) -> NDArray:
    """Return linear light 0 to 1 from sRGB 0 to 1 (IEC 61966-2-1)."""
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(values: NDArray) -> NDArray:
    """Return sRGB 0 to 1 from linear light 0 to 1 (IEC 61966-2-1)."""
    values = np.clip(values, 0.0, 1.0)
    return np.where(values <= 0.0031308, 12.92 * values, 1.055 * values ** (1 / 2.4) - 0.055)
