"""Light on the scene: how much of each lamp reaches a point, from where, and what colours it makes.

Amounts of light are relative: all lamps and the ambient light together give 1 at the middle of
the board.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samples.conditions import Conditions, HandShadow, Lamp
from samples.layers import Field, Patch, fill
from samples.spectra import LAMPS, balance, basis, camera, response

Ways = tuple[Field, Field, Field]

COARSE_PX_PER_MM = 0.5
"""Light without cast shadows is smooth; it is computed at this resolution."""

AMBIENT_SHARE_OF_HAND = 0.35
"""A hand also hides part of the room: this share of what it takes from the lamps."""


@dataclass(frozen=True, eq=False)
class Light:
    """The light of one photo: its lamps, the middle of the board (mm), the shadows of hands, and
    for each lamp and, last, the ambient light the (3, 16) that turns a reflectance into linear
    sRGB per unit of light.
    """

    lamps: tuple[Lamp, ...]
    ambient: float
    middle_mm: tuple[float, float]
    shadows: tuple[HandShadow, ...]
    responses: tuple[NDArray[np.float64], ...]

    def matrices(self) -> list[NDArray[np.float32]]:
        """Return for each light the 3 x 3 that turns daylight's linear sRGB into this light's."""
        return [(r @ basis()).astype(np.float32) for r in self.responses]

    def whites(self) -> list[NDArray[np.float32]]:
        """Return for each light the linear sRGB of a perfect white under it, shape (3,)."""
        return [r.sum(axis=1).astype(np.float32) * 1.0 for r in self.responses]

    def colours(self, paints: Sequence[NDArray]) -> list[NDArray[np.float32]]:
        """Return for each light the linear sRGB of these paints, shape (N, 3)."""
        return [(np.asarray(paints) @ r.T).astype(np.float32) for r in self.responses]


def make_light(conditions: Conditions, middle_mm: tuple[float, float]) -> Light:
    """Return the light of these conditions as this phone's white balance sees it."""
    eye = camera(conditions.phone_nm)
    ambient, share = conditions.ambient
    spectra = [normal(LAMPS[lamp.kind], eye) for lamp in conditions.lamps]
    spectra.append(normal(LAMPS[ambient], eye))
    shares = [lamp.share for lamp in conditions.lamps] + [share]
    mixed = np.einsum("i,ij->j", shares, spectra)
    gains = balance(eye, mixed) * np.asarray(conditions.balance_error)
    responses = tuple(response(eye, spectrum, gains) for spectrum in spectra)
    return Light(conditions.lamps, share, middle_mm, conditions.shadows, responses)


def normal(spectrum: NDArray, eye: NDArray) -> NDArray[np.float64]:
    """Return the lamp's power scaled so that white raises this eye's green as much as daylight
    does.
    """
    return spectrum * float(eye[1] @ LAMPS["daylight"]) / float(eye[1] @ spectrum)


def ways_to(lamp: Lamp, patch: Patch, middle_mm: tuple[float, float]) -> Ways:
    """Return the unit way (x, y, up) from each px of the patch to the lamp."""
    x, y = patch.grid_mm()
    dx = lamp.position_mm[0] + middle_mm[0] - x
    dy = lamp.position_mm[1] + middle_mm[1] - y
    dz = lamp.position_mm[2] - patch.height_mm
    return unit(dx, dy, dz)


def unit(x: Field, y: Field, up: Field | float) -> Ways:
    """Return a field of ways (x, y, up) at unit length."""
    long = np.sqrt(x**2 + y**2 + up**2)
    cut = [np.asarray(part / long, np.float32) for part in (x, y, up)]
    return cut[0], cut[1], cut[2]


def falloff(lamp: Lamp, patch: Patch, middle_mm: tuple[float, float]) -> Field:
    """Return the lamp's light on a level surface, its share being the value at the board's
    middle.
    """
    x, y = patch.grid_mm()
    px, py, pz = lamp.position_mm
    square = (
        (px + middle_mm[0] - x) ** 2 + (py + middle_mm[1] - y) ** 2 + (pz - patch.height_mm) ** 2
    )
    there = px**2 + py**2 + pz**2
    return np.asarray(lamp.share * (there / square) ** 1.5, np.float32)


def hand_cover(light: Light, patch: Patch) -> Field:
    """Return the share of the lamps' light that hands take at each px."""
    x, y = patch.grid_mm()
    left = np.ones(patch.shape, np.float32)
    for shadow in light.shadows:
        left *= 1.0 - shadow.depth * arm(shadow, x - light.middle_mm[0], y - light.middle_mm[1])
    return 1.0 - left


def arm(shadow: HandShadow, x: Field, y: Field) -> Field:
    """Return 0 to 1: how deep (x, y), in mm from the board's middle, lies in the shadow of one
    arm.
    """
    c, s = np.cos(np.radians(shadow.from_deg)), np.sin(np.radians(shadow.from_deg))
    dx, dy = x - shadow.tip_mm[0], y - shadow.tip_mm[1]
    along = c * dx + s * dy
    across = -s * dx + c * dy + 6.0 * np.sin(along / 37.0)
    out = np.hypot(np.minimum(along, 0.0), across) - shadow.half_width_mm
    return np.asarray(
        1.0 / (1.0 + np.exp(np.clip(out / (0.25 * shadow.softness_mm), -30, 30))), np.float32
    )


def lights_on(light: Light, patch: Patch) -> list[Field]:
    """Return the amount of each lamp's light and, last, of ambient light on a patch, hands
    included.
    """
    coarse = patch.at(min(COARSE_PX_PER_MM, patch.px_per_mm))
    cover = hand_cover(light, coarse)
    fields = [falloff(lamp, coarse, light.middle_mm) * (1.0 - cover) for lamp in light.lamps]
    fields.append(light.ambient * (1.0 - AMBIENT_SHARE_OF_HAND * cover))
    return fields


def cast(light: Light, patch: Patch, polygons_mm: list[NDArray], tall_mm: float) -> list[Field]:
    """Return for each lamp and, last, the ambient light what is left beside slabs standing on a
    patch.
    """
    standing = fill(patch, polygons_mm).astype(np.float32) / 255.0
    left = [1.0 - 0.93 * thrown(lamp, patch, standing, tall_mm) for lamp in light.lamps]
    left.append(1.0 - 0.5 * cv2.GaussianBlur(standing, (0, 0), 0.5 * tall_mm * patch.px_per_mm))
    return left


def thrown(lamp: Lamp, patch: Patch, standing: Field, tall_mm: float) -> Field:
    """Return 0 to 1: how deep each px lies in the shadow that slabs of this height throw from
    one lamp.
    """
    px, py, pz = lamp.position_mm
    reach = -np.array([px, py]) / pz * tall_mm * patch.px_per_mm
    steps = max(2, int(np.ceil(np.hypot(*reach) / 3.0)))
    dark = standing
    for part in np.linspace(0, 1, steps + 1)[1:]:
        move = np.array([[1, 0, reach[0] * part], [0, 1, reach[1] * part]])
        dark = np.maximum(dark, cv2.warpAffine(standing, move, standing.shape[::-1]))
    soft = max(0.4, 0.6 * lamp.radius_mm / pz * tall_mm * patch.px_per_mm)
    return np.asarray(cv2.GaussianBlur(dark, (0, 0), soft), np.float32)


def shine(light: Light, patch: Patch, flat: Field, amounts: list[Field]) -> Field:
    """Return the linear light of shape (H, W, 3) that a flat print of linear sRGB ``flat`` sends
    out.
    """
    out = np.zeros_like(flat)
    for matrix, amount in zip(light.matrices(), amounts, strict=True):
        out += cv2.transform(flat, matrix) * patch.fit(amount)[..., None]
    return out
