"""Odd files, made when they are needed: what phones, programs and pranks leave behind.

None of them is a lie about what it is: each is a real file of its kind, so far as its kind goes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

import cv2
import numpy as np
from PIL import Image, ImageCms

from tests.vision.files import file_of, scene

ORIENTATION = 0x0112
BYTE, ASCII, LONG, RATIONAL = 1, 2, 4, 5


def frames() -> list[Image.Image]:
    return [scene().rotate(10 * turn) for turn in range(3)]


def animated(kind: str) -> bytes:
    first, *others = frames()
    return file_of(first, kind, save_all=True, append_images=others, duration=99)


def several_heic() -> bytes:
    """Three pictures, of which the second is the one to be shown."""
    first, *others = frames()
    return file_of(first, "HEIF", save_all=True, append_images=others, primary_index=1)


def deep_png() -> bytes:
    deep = np.asarray(scene())[:, :, ::-1].astype(np.uint16) * 257
    return cv2.imencode(".png", deep)[1].tobytes()


def exif_entry(kind: int, count: int, value: bytes) -> bytes:
    return struct.pack("<HHI", ORIENTATION, kind, count) + value.ljust(4, b"\0")


def exif(*entries: bytes, announced: int | None = None, following: int = 0) -> bytes:
    """A JPEG of a scene whose EXIF (little-endian TIFF) has these entries in its first folder."""
    number = len(entries) if announced is None else announced
    folder = struct.pack("<H", number) + b"".join(entries) + struct.pack("<I", following)
    return with_exif(b"II*\0" + struct.pack("<I", 8) + folder)


def with_exif(tiff: bytes) -> bytes:
    return file_of(scene(), "JPEG", exif=b"Exif\0\0" + tiff)


def way_up(value: int, kind: str = "JPEG") -> bytes:
    said = Image.Exif()
    said[ORIENTATION] = value
    return file_of(scene(), kind, exif=said)


def folder_loop() -> bytes:
    """EXIF whose folder of camera settings is the first folder, which also follows itself."""
    inner = struct.pack("<HHII", 0x8769, LONG, 1, 8)
    return exif(inner, following=8)


def png_chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def blank_png(width: int, height: int) -> bytes:
    """A valid grey PNG: few bytes, many pixels."""
    squeeze = zlib.compressobj(1)
    row = bytes(1 + width)
    body = b"".join(squeeze.compress(row) for _ in range(height)) + squeeze.flush()
    return png_of(width, height, png_chunk(b"IDAT", body))


def png_of(width: int, height: int, *chunks: bytes) -> bytes:
    header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + png_chunk(b"IEND", b"")


def with_claim(png: bytes, length: int) -> bytes:
    """A PNG whose second animation frame claims so many bytes."""
    at = png.index(b"fdAT") - 4
    return png[:at] + struct.pack(">I", length) + png[at + 4 :]


def jpeg_said_to_be(width: int, height: int) -> bytes:
    """A JPEG whose header lies about its size."""
    data = bytearray(file_of(scene(), "JPEG"))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def many_scans(scans: int, width: int = 480, height: int = 360) -> bytes:
    """A progressive JPEG whose last scan stands there so many times more."""
    data = file_of(scene(width, height), "JPEG", progressive=True)
    last = data.rindex(b"\xff\xda")
    return data[:-2] + data[last:-2] * scans + data[-2:]


def with_film_behind() -> bytes:
    """A photo with a film of the moment behind it, whose bytes look like a thousand scans."""
    return file_of(scene(), "JPEG") + b"\0\0\0\x18ftypmp42" + b"\xff\xda\0\2" * 1000


def lab_profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()


READABLE: dict[str, Callable[[], bytes]] = {
    "CMYK JPEG": lambda: file_of(scene().convert("CMYK"), "JPEG"),
    "grey JPEG": lambda: file_of(scene().convert("L"), "JPEG"),
    "progressive JPEG": lambda: file_of(scene(), "JPEG", progressive=True),
    "JPEG with a film behind": with_film_behind,
    "16-bit PNG": deep_png,
    "palette PNG": lambda: file_of(scene().convert("P"), "PNG"),
    "PNG of one bit": lambda: file_of(scene().convert("1"), "PNG"),
    "PNG with transparency": lambda: file_of(scene().convert("RGBA"), "PNG"),
    "animated PNG": lambda: animated("PNG"),
    "animated WebP": lambda: animated("WEBP"),
    "several JPEGs in one": lambda: animated("MPO"),
    "HEIC of several": several_heic,
    "EXIF in a loop": folder_loop,
    "EXIF cut short": lambda: exif(announced=60_000),
    "EXIF far away": lambda: with_exif(b"II*\0" + struct.pack("<I", 0xFFFFFFF0)),
    "EXIF empty": lambda: with_exif(b""),
    "EXIF of nonsense": lambda: with_exif(b"XX*\0" + bytes(20)),
    "way up 0": lambda: way_up(0),
    "way up 9": lambda: way_up(9),
    "way up 65535": lambda: way_up(65535),
    "way up 9, PNG": lambda: way_up(9, "PNG"),
    "way up 9, WebP": lambda: way_up(9, "WEBP"),
    "way up as a byte": lambda: exif(exif_entry(BYTE, 1, b"\6")),
    "way up in words": lambda: exif(exif_entry(ASCII, 4, b"six\0")),
    "way up as a fraction": lambda: exif(exif_entry(RATIONAL, 1, struct.pack("<I", 26))),
    "no colour profile": lambda: file_of(scene(), "JPEG", icc_profile=b"profile" * 50),
    "no colour profile, PNG": lambda: file_of(scene(), "PNG", icc_profile=bytes(500)),
    "profile of another space": lambda: file_of(scene(), "JPEG", icc_profile=lab_profile()),
}
"""Files that show the scene, upright as it is stored, whatever else is odd about them."""

UNREADABLE: dict[str, Callable[[], bytes]] = {
    "nothing": lambda: b"",
    "text": lambda: b"This is a shopping list.\n" * 50,
    "animated GIF": lambda: animated("GIF"),
    "BMP": lambda: file_of(scene(), "BMP"),
    "TIFF": lambda: file_of(scene(), "TIFF"),
    "EPS": lambda: file_of(scene(), "EPS"),
    "PNG of 400 million pixels": lambda: png_of(20_000, 20_000, png_chunk(b"IDAT", b"")),
    "PNG of 200 million pixels": lambda: png_of(20_000, 10_000, png_chunk(b"IDAT", b"")),
    "JPEG of 4 billion pixels": lambda: jpeg_said_to_be(65_500, 65_500),
    "JPEG of 200 million pixels": lambda: jpeg_said_to_be(20_000, 10_000),
    "JPEG of a thousand scans": lambda: many_scans(1000),
    "PNG without pixels": lambda: png_of(480, 360),
    "PNG with a chunk of two billion": lambda: with_claim(animated("PNG"), 0x7FFFFFF0),
    "PNG of other pixels": lambda: png_of(480, 360, png_chunk(b"IDAT", zlib.compress(b"\0" * 99))),
}
"""Files that are refused."""
