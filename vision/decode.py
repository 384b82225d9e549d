"""Photo files as phones send them -> ``Photo``: oriented, in sRGB, no larger than needed."""

from __future__ import annotations

import hashlib
import io
import re
import struct
import time
import warnings
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, UnidentifiedImageError

from scoring.limits import (
    LEAST_PHOTO_SIDE_PX,
    MOST_JPEG_SCANS,
    MOST_PHOTO_BYTES,
    MOST_PHOTO_PIXELS,
)
from vision.errors import PhotoError
from vision.types import Photo

ENOUGH_PX = 1600
"""A long side of so many decoded px gives a cell of a ten-cell board over 60 px (by hand)."""

SRGB_NAMES = ("srgb", "sgry", "c2")
"""Fragments of the descriptions that ICC profiles equal to sRGB carry (from memory)."""

ORIENTATION_TAG = 0x0112
FLIPS = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}
"""OpenCV's flip for each EXIF orientation; those of 5 to 8 come after swapping rows and columns."""

NEXT_MARKER = re.compile(rb"\xff[^\x00\x01\xd0-\xd8\xff]")
PNG_START = b"\x89PNG\r\n\x1a\n"
END_OF_IMAGE, START_OF_SCAN = 0xD9, 0xDA

RETAKE = "Send the original photo again, or take a new one."
CUT_SHORT = "the photo is cut short or damaged."


def load_photo(data: bytes, name: str) -> Photo:
    """The photo in ``data`` (JPEG, PNG, WebP or HEIC), turned upright and converted to sRGB.

    It is decoded at 1/1, 1/2, 1/4 or 1/8, the smallest that keeps ``ENOUGH_PX`` of its long side.
    Raises PhotoError where the bytes are no photo, are cut short, or are beyond the size limits.
    """
    started = time.perf_counter()
    width, height, icc, kind, way_up = _header(data, name)
    scale = _decoding_scale(max(width, height))
    with ThreadPoolExecutor(1) as beside:
        digest = beside.submit(hashlib.sha256, data)
        pixels = _decode_heif(data, name, scale) if kind == "HEIF" else _decode(data, name, scale)
    if max(abs(pixels.shape[0] - height / scale), abs(pixels.shape[1] - width / scale)) > 1:
        raise PhotoError(name, CUT_SHORT, RETAKE)  # two sizes in one file, or no picture after all
    pixels = turned_upright(pixels, way_up)
    if icc:
        pixels = _to_srgb(pixels, icc)
    pixels.setflags(write=False)
    return Photo(
        name=name,
        pixels=pixels,
        scale=scale,
        full_size_px=(height, width) if way_up >= 5 else (width, height),
        sha256=digest.result().hexdigest(),
        decode_ms=1000 * (time.perf_counter() - started),
    )


def check_photo(data: bytes, name: str) -> None:
    """Look at the header alone. Raises PhotoError where ``load_photo`` would refuse it for that."""
    _header(data, name)


def _header(data: bytes, name: str) -> tuple[int, int, bytes, str, int]:
    """Width and height as stored, ICC profile, format, and the way up that is still to be made."""
    if len(data) > MOST_PHOTO_BYTES:
        raise PhotoError(name, f"the file is over {MOST_PHOTO_BYTES // 1_000_000} MB.", RETAKE)
    try:
        with opened(data) as image:
            width, height = image.size
            _check_size(width, height, name)
            icc = image.info.get("icc_profile") or b""
            kind = image.format or ""
            way_up = 1 if kind == "HEIF" else way_up_of(image)
    except Image.DecompressionBombError as error:
        raise PhotoError(name, "the picture has too many pixels to read safely.", RETAKE) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise PhotoError(
            name, "this is not a photo that can be read (JPEG, PNG, WebP or HEIC).", RETAKE
        ) from error
    if kind in ("JPEG", "MPO") and _has_too_many_scans(data):
        raise PhotoError(name, "the picture is stored in far too many passes.", RETAKE)
    return width, height, icc, kind, way_up


def opened(data: bytes) -> Image.Image:
    """The picture, not decoded yet: Pillow is let look for the formats of photos only.

    Its warnings are of sizes that are allowed here and of metadata that nobody needs.
    """
    kinds: tuple[str, ...] = ("JPEG", "PNG", "WEBP")
    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
        kinds = ("HEIF",)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return Image.open(io.BytesIO(data), formats=kinds)


def way_up_of(image: Image.Image) -> int:
    """EXIF orientation (CIPA DC-008, 4.6.4), 1 to 8; 1, upright, where it says nothing usable."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            value = image.getexif().get(ORIENTATION_TAG, 1)
    except (OSError, SyntaxError, ValueError, TypeError, LookupError, struct.error):
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def turned_upright(pixels: NDArray[np.uint8], way_up: int) -> NDArray[np.uint8]:
    """Stored pixels as their EXIF orientation means them to be seen."""
    if way_up >= 5:
        pixels = np.asarray(cv2.transpose(pixels), np.uint8)
    return np.asarray(cv2.flip(pixels, FLIPS[way_up]), np.uint8) if way_up in FLIPS else pixels


def _has_too_many_scans(data: bytes) -> bool:
    """Whether the first picture of a JPEG file has so many scans that it would not end.

    What lies behind it (a film of the moment) may hold any bytes.
    """
    coded = np.frombuffer(data, np.uint8)
    if np.count_nonzero((coded[1:] == START_OF_SCAN) & (coded[:-1] == 0xFF)) <= MOST_JPEG_SCANS:
        return False
    at, scans = 2, 0
    while scans <= MOST_JPEG_SCANS and (found := NEXT_MARKER.search(data, at)):
        at = found.start() + 2
        if data[at - 1] == END_OF_IMAGE:
            break
        scans += data[at - 1] == START_OF_SCAN
        at += int.from_bytes(data[at : at + 2])
    return scans > MOST_JPEG_SCANS


def _check_size(width: int, height: int, name: str) -> None:
    if width * height > MOST_PHOTO_PIXELS:
        raise PhotoError(
            name, f"the picture has over {MOST_PHOTO_PIXELS // 1_000_000} million pixels.", RETAKE
        )
    if min(width, height) < LEAST_PHOTO_SIDE_PX:
        raise PhotoError(
            name,
            f"the picture is only {width} x {height} pixels.",
            "Send the original, not a thumbnail.",
        )


def _decoding_scale(long_side_px: int) -> int:
    """Largest of 1, 2, 4, 8 that leaves ``ENOUGH_PX`` along the long side."""
    return max(k for k in (1, 2, 4, 8) if k == 1 or long_side_px / k >= ENOUGH_PX)


def _decode(data: bytes, name: str, scale: int) -> NDArray[np.uint8]:
    """RGB pixels by OpenCV, as they are stored."""
    reduced = {
        1: 0,
        2: cv2.IMREAD_REDUCED_GRAYSCALE_2,
        4: cv2.IMREAD_REDUCED_GRAYSCALE_4,
        8: cv2.IMREAD_REDUCED_GRAYSCALE_8,
    }[scale]
    flags = reduced | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    if data.startswith(PNG_START):
        data = plain_png(data, name)
    try:
        coded = np.frombuffer(data, np.uint8)
        pixels = cv2.imdecode(coded, flags)
    except cv2.error:
        pixels = None
    if pixels is None:
        raise PhotoError(name, CUT_SHORT, RETAKE)
    return np.asarray(pixels, np.uint8)


def plain_png(data: bytes, name: str) -> bytes:
    """A PNG's first picture without all that it does not need (PNG 3rd edition, 5.4).

    OpenCV makes room for whatever length a chunk of an animation claims: 20 kB took 4 GB.
    """
    kept, at, kind = [PNG_START], len(PNG_START), b""
    while kind != b"IEND":
        end = at + 12 + int.from_bytes(data[at : at + 4])
        kind = data[at + 4 : at + 8]
        if end > len(data):
            raise PhotoError(name, CUT_SHORT, RETAKE)
        if kind[:1].isupper() or kind == b"tRNS":
            kept.append(data[at:end])
        at = end
    return b"".join(kept)


def _decode_heif(data: bytes, name: str, scale: int) -> NDArray[np.uint8]:
    """RGB pixels by Pillow; libheif has applied the orientation already."""
    try:
        with opened(data) as image:
            whole = image.convert("RGB")
    except (OSError, SyntaxError, ValueError, RuntimeError, EOFError) as error:
        raise PhotoError(name, "the HEIC photo is cut short or damaged.", RETAKE) from error
    return np.array(whole.reduce(scale) if scale > 1 else whole, dtype=np.uint8)


def _to_srgb(pixels: NDArray[np.uint8], icc: bytes) -> NDArray[np.uint8]:
    """Pixels of an ICC profile such as Display P3 as sRGB; an unreadable one counts as sRGB."""
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        described = ImageCms.getProfileDescription(profile).lower()
        if any(name in described for name in SRGB_NAMES):
            return pixels
        image = Image.fromarray(pixels)
        converted = ImageCms.profileToProfile(image, profile, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return pixels
    return np.array(converted, dtype=np.uint8)
