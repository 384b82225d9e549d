"""A table as one file: a ZIP of open formats (JSON, TOML, PNG), with a version."""

from __future__ import annotations

import io
import json
import math
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.errors import TableError
from calibrate.lessons import MOST_LESSONS, lesson_from, plain_lesson
from calibrate.types import FORMAT, Artwork, Lesson, Palette, Table
from scoring.given_file import read_given
from scoring.limits import MOST_TABLE_BYTES, MOST_TABLE_PART_BYTES, MOST_TABLE_PICTURE_PIXELS
from scoring.sheet import GameSheet, parse_sheet

DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    RuntimeError,  # a ZIP version or a password that nobody set; JSON nested without end
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
    OverflowError,
)
"""What the libraries raise at a file that is no table, or no longer one."""

PARTS = ("table.json", "sheet.toml", "artwork.png", "known.png")


def table_bytes(table: Table) -> bytes:
    """The table file's content; the same table gives the same bytes."""
    rgb = cv2.cvtColor(table.artwork.pixels, cv2.COLOR_RGB2BGR)
    parts = {
        "table.json": json.dumps(_plain(table), indent=1).encode(),
        "sheet.toml": table.sheet.text.encode(),
        "artwork.png": cv2.imencode(".png", rgb)[1].tobytes(),
        "known.png": cv2.imencode(".png", table.artwork.known.astype(np.uint8) * 255)[1].tobytes(),
    }
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0)), data)
    return buffer.getvalue()


def load_table(path: str | Path) -> Table:
    """The table in a file. Raises TableError naming the file and what is wrong with it."""
    try:
        data = read_given(Path(path), MOST_TABLE_BYTES)
    except OSError as error:
        raise TableError(str(path), f"cannot be read ({error.strerror}).") from error
    if len(data) > MOST_TABLE_BYTES:
        raise TableError(str(path), "is too large to be a table.")
    return table_from_bytes(data, str(path))


def table_from_bytes(data: bytes, where: str) -> Table:
    """The table in a table file's content."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = {name: _part(archive, name, where) for name in PARTS}
        plain = json.loads(parts["table.json"])
        _check_finite(plain, where)
        if plain["format"] != FORMAT:
            raise TableError(where, f"is of format {plain['format']}; calibrate the table again.")
        sheet = parse_sheet(parts["sheet.toml"].decode(), f"{where}: sheet.toml")
        table = Table(
            name=str(plain["name"]),
            sheet=sheet,
            artwork=_artwork(parts, plain["artwork"]),
            palette=_palette(plain["palette"]),
            limits=tuple(str(words) for words in plain.get("limits", ())),
            lessons=_lessons(plain.get("lessons", ()), sheet),
            marks={int(k): np.array(v, float).reshape(4, 2) for k, v in plain["marks"].items()},
        )
    except DAMAGE as error:
        raise TableError(where, "is not a table file, or is damaged; calibrate again.") from error
    _check(table, where)
    return table


def _part(archive: zipfile.ZipFile, name: str, where: str) -> bytes:
    part = archive.getinfo(name)
    if part.file_size > MOST_TABLE_PART_BYTES:
        raise TableError(where, f"holds a {name} too large to be a table's.")
    if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        # zipfile unpacks other kinds whole, however little the part says that it holds
        raise TableError(where, f"holds a {name} packed in a way that no table is.")
    return archive.read(name)


def _plain(table: Table) -> dict[str, Any]:
    palette = table.palette
    return {
        "format": FORMAT,
        "name": table.name,
        **({"limits": list(table.limits)} if table.limits else {}),
        **({"lessons": [plain_lesson(one) for one in table.lessons]} if table.lessons else {}),
        "artwork": {
            "px_per_mm": table.artwork.px_per_mm,
            "origin_mm": list(table.artwork.origin_mm),
            "frame_error_mm": table.artwork.frame_error_mm,
        },
        "marks": {str(mark): corners.tolist() for mark, corners in table.marks.items()},
        "palette": {
            "exposure": palette.exposure.tolist(),
            "empty": [None if np.isnan(cell[0]) else cell.tolist() for cell in palette.empty],
            "colours": list(palette.colours),
            "samples": palette.samples.tolist(),
            "veils": palette.veils.tolist(),
            "veil_scale": palette.veil_scale,
            "structure": palette.structure.tolist(),
            "unrest": palette.unrest,
        },
    }


def _lessons(plain: Sequence[dict[str, Any]], sheet: GameSheet) -> tuple[Lesson, ...]:
    cells = [cell.id for cell in sheet.lattice.cells]
    colours = [colour.name for colour in sheet.colours]
    return tuple(lesson_from(one, cells, colours) for one in plain[:MOST_LESSONS])


def _palette(plain: dict[str, Any]) -> Palette:
    nothing = [np.nan] * 3
    return Palette(
        exposure=np.array(plain["exposure"], float),
        empty=np.array([cell or nothing for cell in plain["empty"]], float).reshape(-1, 3),
        colours=tuple(str(name) for name in plain["colours"]),
        samples=np.array(plain["samples"], float).reshape(-1, 3),
        veils=np.array(plain["veils"], float),
        veil_scale=float(plain["veil_scale"]),
        structure=np.array(plain["structure"], float).reshape(-1, 4),
        unrest=float(plain["unrest"]),
    )


def _artwork(parts: dict[str, bytes], plain: dict[str, Any]) -> Artwork:
    pixels = _picture(parts["artwork.png"], cv2.IMREAD_COLOR)
    known = _picture(parts["known.png"], cv2.IMREAD_GRAYSCALE)
    if pixels.shape[:2] != known.shape:
        raise ValueError("the artwork's two pictures differ in size")
    x, y = plain["origin_mm"]
    return Artwork(
        pixels=np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB), np.uint8),
        known=known > 127,
        px_per_mm=float(plain["px_per_mm"]),
        origin_mm=(float(x), float(y)),
        frame_error_mm=float(plain["frame_error_mm"]),
    )


def _picture(data: bytes, flags: int) -> NDArray[np.uint8]:
    height, width = _size_of(data)
    if width * height > MOST_TABLE_PICTURE_PIXELS:
        raise ValueError("a picture is too large to be a table's")
    try:
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error as error:
        raise ValueError("a picture cannot be read") from error
    if picture is None:
        raise ValueError("a picture cannot be read")
    return np.asarray(picture, np.uint8)


def _size_of(data: bytes) -> tuple[int, int]:
    """Height and width that a PNG's header names (RFC 2083, 4.1.1), px."""
    if data[:8] != b"\x89PNG\r\n\x1a\n" or data[12:16] != b"IHDR":
        raise ValueError("a picture is no PNG")
    return int.from_bytes(data[20:24]), int.from_bytes(data[16:20])


def _check_finite(value: Any, where: str, place: str = "") -> None:
    """Refuse NaN and infinity, which Python's JSON reads: every distance to them compares false."""
    if isinstance(value, float) and not math.isfinite(value):
        raise TableError(
            where, f"holds a number that is none ({value} in {place}); import or calibrate it anew."
        )
    if isinstance(value, dict):
        for key, part in value.items():
            _check_finite(part, where, f"{place}.{key}".lstrip("."))
    elif isinstance(value, list):
        for part in value:
            _check_finite(part, where, place)


def _check(table: Table, where: str) -> None:
    cells = len(table.sheet.lattice.cells)
    palette = table.palette
    names = {colour.name for colour in table.sheet.colours}
    if len(palette.exposure) != cells or len(palette.empty) != cells:
        raise TableError(where, "was learned on another board than its own sheet's.")
    if not len(palette.colours) == len(palette.samples) == len(palette.veils):
        raise TableError(where, "is damaged: its colour samples do not fit together.")
    if len(palette.structure) != len(set(palette.colours)):
        raise TableError(where, "is damaged: its colours do not fit together.")
    if not set(palette.colours) <= names:
        raise TableError(where, "knows colours that its own sheet does not.")
    if table.artwork.px_per_mm <= 0 or palette.unrest <= 0 or np.any(palette.exposure <= 0):
        raise TableError(where, "is damaged: its scale, its light or its surfaces are not above 0.")
