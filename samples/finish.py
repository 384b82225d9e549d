"""From the canvas to the file: lens, sensor, the phone's own software, JPEG with its EXIF
orientation.
"""

from __future__ import annotations

from io import BytesIO

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from samples.camera import Canvas, lens_maps
from samples.conditions import Conditions
from samples.layers import Field
from samples.spectra import linear_to_srgb

MIDDLE_GREY = 0.2
"""Mean linear light that a phone aims at."""

ORIENTATIONS: dict[int, Image.Transpose] = {
    1: Image.Transpose.ROTATE_90, 3: Image.Transpose.ROTATE_180,
    6: Image.Transpose.ROTATE_90, 8: Image.Transpose.ROTATE_270,
}  # fmt: skip
"""How a picture is turned before it is stored with an EXIF orientation (for 1 it is not turned)."""


def develop(
    picture: Field, canvas: Canvas, conditions: Conditions, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Return the finished picture, uint8 sRGB, from the canvas in linear light."""
    seen = through_lens(picture, canvas, conditions)
    exposed = expose(darken_rim(seen, canvas, conditions.vignette), conditions.exposure_ev)
    noisy = add_noise(exposed, conditions.noise, rng)
    toned = tone(noisy, conditions.contrast)
    return np.clip(sharpen(toned, conditions.sharpen) * 255.0 + 0.5, 0, 255).astype(np.uint8)


def through_lens(picture: Field, canvas: Canvas, conditions: Conditions) -> Field:
    """Return the picture bent by the lens and blurred by focus and shake."""
    spread = canvas.scale * float(np.hypot(conditions.blur_px, 0.3))
    soft = cv2.GaussianBlur(picture, (0, 0), spread)
    kernel = shake_kernel(np.array(conditions.motion_px) * canvas.scale)
    if kernel.size > 1:
        soft = cv2.filter2D(soft, -1, kernel)
    map_x, map_y = lens_maps(canvas)
    return np.asarray(
        cv2.remap(soft, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    )


def shake_kernel(way_px: NDArray) -> Field:
    """Return a kernel that smears along a straight way of (x, y) px, the middle staying in
    place.
    """
    reach = int(np.ceil(np.abs(way_px).max() / 2.0))
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    for part in np.linspace(-0.5, 0.5, 33):
        x, y = np.round(way_px * part).astype(int) + reach
        kernel[y, x] += 1.0
    return np.asarray(kernel / kernel.sum(), np.float32)


def darken_rim(picture: Field, canvas: Canvas, strength: float) -> Field:
    """Return the picture darker toward its corners, by ``strength`` of cos^4 of the angle of
    view.
    """
    height, width = picture.shape[:2]
    x = (np.arange(width) - (width - 1) / 2.0) / canvas.camera.focal_px
    y = (np.arange(height) - (height - 1) / 2.0) / canvas.camera.focal_px
    square = x[None, :] ** 2 + y[:, None] ** 2
    fade = 1.0 - strength + strength / (1.0 + square) ** 2
    return picture * fade.astype(np.float32)[..., None]


def expose(picture: Field, ev: float) -> Field:
    """Return the picture as bright as a phone would make it, and ``ev`` stops off."""
    grey = picture[::7, ::7].mean(axis=2)
    bright = float(np.percentile(grey, 97))
    scale = min(MIDDLE_GREY / float(grey.mean()), 1.0 / bright)
    return np.asarray(picture * np.float32(scale * 2.0**ev), np.float32)


def add_noise(picture: Field, noise: float, rng: np.random.Generator) -> Field:
    """Return the picture with read noise and photon noise; ``noise`` is the spread at white, in
    white.
    """
    grain = rng.standard_normal(picture.shape, np.float32)
    soft = 0.75 * grain + 0.5 * cv2.GaussianBlur(grain, (0, 0), 1.0)
    spread = noise * np.sqrt(0.12 + np.clip(picture, 0.0, 1.0))
    return np.clip(picture + spread * soft, 0.0, 1.0)


def tone(picture: Field, contrast: float) -> Field:
    """Return sRGB 0 to 1, its middle steepened by ``contrast`` of an S-curve."""
    steps = np.linspace(0.0, 1.0, 4096)
    flat = linear_to_srgb(steps)
    curve = ((1.0 - contrast) * flat + contrast * flat * flat * (3.0 - 2.0 * flat)).astype(
        np.float32
    )
    return np.asarray(curve[(picture * 4095.0 + 0.5).astype(np.uint16)])


def sharpen(picture: Field, strength: float) -> Field:
    """Return the picture with its edges lifted (unsharp mask of 1.2 px)."""
    if strength == 0.0:
        return picture
    soft = cv2.GaussianBlur(picture, (0, 0), 1.2)
    return np.asarray(picture + np.float32(strength) * (picture - soft), np.float32)


def encode(pixels: NDArray[np.uint8], quality: int, orientation: int = 1) -> bytes:
    """Return a JPEG of this upright picture, stored turned and marked with the EXIF orientation."""
    image = Image.fromarray(pixels)
    if orientation != 1:
        image = image.transpose(ORIENTATIONS[orientation])
    exif = Image.Exif()
    exif[0x0112] = orientation
    out = BytesIO()
    image.save(out, "JPEG", quality=quality, subsampling=2, exif=exif)
    return out.getvalue()
