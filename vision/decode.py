"""Photo files as phones send them -> ``Photo``: oriented, in sRGB, no larger than needed."""

from __future__ import annotations

import hashlib
import io
import time
import warnings

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from vision.errors import PhotoError
from vision.types import Photo

MAX_BYTES = 80_000_000
MAX_PIXELS = 120_000_000
MIN_SIDE_PX = 240
ENOUGH_PX = 1600
"""A long side of so many decoded px gives a cell of a ten-cell board over 60 px (by hand)."""

SRGB_NAMES = ("srgb", "sgry", "c2")
"""Fragments of the descriptions that ICC profiles equal to sRGB carry (from memory)."""

RETAKE = "Send the original photo again, or take a new one."


def load_photo(data: bytes, name: str) -> Photo:
    """The photo in ``data`` (JPEG, PNG, WebP or HEIC), turned upright and converted to sRGB.

    It is decoded at 1/1, 1/2, 1/4 or 1/8, the smallest that keeps ``ENOUGH_PX`` of its long side.
    Raises PhotoError where the bytes are no photo, are cut short, or are beyond the size limits.
    """
    if len(data) > MAX_BYTES:
        raise PhotoError(name, f"the file is over {MAX_BYTES // 1_000_000} MB.", RETAKE)
    started = time.perf_counter()
    width, height, icc, kind, turned = _header(data, name)
    scale = _decoding_scale(max(width, height))
    pixels = _decode_heif(data, name, scale) if kind == "HEIF" else _decode(data, name, scale)
    if icc:
        pixels = _to_srgb(pixels, icc)
    pixels.setflags(write=False)
    return Photo(
        name=name,
        pixels=pixels,
        scale=scale,
        full_size_px=(height, width) if turned else (width, height),
        sha256=hashlib.sha256(data).hexdigest(),
        decode_ms=1000 * (time.perf_counter() - started),
    )


def check_photo(data: bytes, name: str) -> None:
    """Look at the header alone. Raises PhotoError where ``load_photo`` would refuse it for that."""
    if len(data) > MAX_BYTES:
        raise PhotoError(name, f"the file is over {MAX_BYTES // 1_000_000} MB.", RETAKE)
    _header(data, name)


def _header(data: bytes, name: str) -> tuple[int, int, bytes, str, bool]:
    """Width and height as stored, ICC profile, format, and whether upright swaps the sides."""
    import pillow_heif

    if data[4:8] == b"ftyp":
        pillow_heif.register_heif_opener()
    try:
        with _opened(data) as image:
            width, height = image.size
            _check_size(width, height, name)
            icc = image.info.get("icc_profile") or b""
            turned = image.getexif().get(0x0112, 1) >= 5 and image.format != "HEIF"
            kind = image.format or ""
    except Image.DecompressionBombError as error:
        raise PhotoError(name, "the picture has too many pixels to read safely.", RETAKE) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise PhotoError(
            name, "this is not a photo that can be read (JPEG, PNG, WebP or HEIC).", RETAKE
        ) from error
    return width, height, icc, kind, turned


def _opened(data: bytes) -> Image.Image:
    """The picture, not decoded yet, without Pillow's warning of sizes that are allowed here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        return Image.open(io.BytesIO(data))


def _check_size(width: int, height: int, name: str) -> None:
    if width * height > MAX_PIXELS:
        raise PhotoError(
            name, f"the picture has over {MAX_PIXELS // 1_000_000} million pixels.", RETAKE
        )
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(
            name,
            f"the picture is only {width} x {height} pixels.",
            "Send the original, not a thumbnail.",
        )


def _decoding_scale(long_side_px: int) -> int:
    """Largest of 1, 2, 4, 8 that leaves ``ENOUGH_PX`` along the long side."""
    return max(k for k in (1, 2, 4, 8) if k == 1 or long_side_px / k >= ENOUGH_PX)


def _decode(data: bytes, name: str, scale: int) -> NDArray[np.uint8]:
    """RGB pixels by OpenCV, which applies the EXIF orientation itself for these flags."""
    flags = {
        1: cv2.IMREAD_COLOR,
        2: cv2.IMREAD_REDUCED_COLOR_2,
        4: cv2.IMREAD_REDUCED_COLOR_4,
        8: cv2.IMREAD_REDUCED_COLOR_8,
    }[scale]
    try:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error:
        pixels = None
    if pixels is None:
        raise PhotoError(name, "the photo is cut short or damaged.", RETAKE)
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB, dst=pixels), dtype=np.uint8)


def _decode_heif(data: bytes, name: str, scale: int) -> NDArray[np.uint8]:
    """RGB pixels by Pillow; libheif has applied the orientation already."""
    try:
        with _opened(data) as image:
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except (OSError, SyntaxError, ValueError, RuntimeError) as error:
        raise PhotoError(name, "the HEIC photo is cut short or damaged.", RETAKE) from error
    if scale > 1:
        upright = upright.reduce(scale)
    return np.array(upright, dtype=np.uint8)


def _to_srgb(pixels: NDArray[np.uint8], icc: bytes) -> NDArray[np.uint8]:
    """Pixels of an ICC profile such as Display P3 as sRGB; an unreadable one counts as sRGB."""
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        described = ImageCms.getProfileDescription(profile).lower()
        if any(name in described for name in SRGB_NAMES):
            return pixels
        image = Image.fromarray(pixels)
        converted = ImageCms.profileToProfile(image, profile, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError, ValueError):
        return pixels
    return np.array(converted, dtype=np.uint8)
