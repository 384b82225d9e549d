"""What worker processes do: read photos, learn tables. Results go to files, whole or not at all.

Nothing here knows of requests. A result file's name follows from all that went into it, so that
work done once is never done again, and work cut short is simply begun anew.
"""

from __future__ import annotations

import json
import os
import pickle
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from calibrate.judge import trust
from calibrate.learn import calibrate
from calibrate.store import load_table, table_bytes
from calibrate.types import Table
from desk.durable import write_whole
from scoring.errors import TallyglassError
from scoring.grid import parse_grid
from scoring.sheet import parse_sheet
from vision.decode import load_photo
from vision.errors import BoardNotFound, PhotoError
from vision.find import from_marks
from vision.geometry import reading_order
from vision.marks import marks_of
from vision.promise import promise_words
from vision.read import read_boards, read_photo
from vision.report import reading_json
from vision.types import Photo, Reading

PICTURE_PX = 1800
"""Long side of the picture that phones are shown: a cell of a ten-cell board is 100 px wide."""

JPEG_QUALITY = 80
NICENESS = 2
"""Workers give way to the process that answers phones."""


STOPPED = "the photo could not be read: the reader stopped."
"""Said where a worker failed."""


@dataclass(frozen=True)
class ReadJob:
    """One photo to read: ``parts`` boards in it, or one whose corners a person gave."""

    photo: str
    name: str
    table: str
    out: str
    parts: int = 1
    corners_px: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class LearnJob:
    """A table to learn: photos as (file, name), the plan of the known layout as text."""

    name: str
    sheet: str
    empty: tuple[tuple[str, str], ...]
    layout: tuple[tuple[str, str], ...]
    plan: str
    out: str
    corners_px: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class PlaceJob:
    """The first photo of a new table: is the board seen in it without help?"""

    sheet: str
    photo: str
    name: str
    picture: str


def warm(niceness: int, server: int) -> None:
    """Run once as a worker starts: give way to others, one thread each, end with the server.

    ``server`` is its process id, told by itself: it may be gone before this runs.
    """
    os.nice(niceness)
    cv2.setNumThreads(1)
    threading.Thread(target=end_with, args=(server,), daemon=True).start()


def end_with(server: int) -> None:
    """End this worker once the server is gone: a killed one cannot say so."""
    while os.getppid() == server:
        time.sleep(1)
    os._exit(1)


def ready() -> int:
    """Nothing, done in a worker that is then known to be up; returns its process id."""
    return os.getpid()


@lru_cache(maxsize=4)
def table_at(path: str) -> Table:
    """A table file, read once; a table's file is never changed, a new one gets a new name."""
    return load_table(path)


def read_job(job: ReadJob) -> dict[str, Any]:
    """Read a photo; the answer is also written to ``out`` and says why where nothing was read.

    Beside ``<out>.json`` lie ``<out>.jpg``, the upright photo for phones, and each board's reading
    with its evidence, ``<out>-<part>.pickle``.
    """
    out = Path(job.out)
    try:
        photo = load_photo(Path(job.photo).read_bytes(), job.name)
    except PhotoError as error:
        return written(out, {"parts": [refused(error)] * job.parts, "picture": None})
    picture = picture_of(photo, out.with_suffix(".jpg"))
    table = table_at(job.table)
    parts = []
    for number, found in enumerate(boards_in(photo, table, job)):
        if isinstance(found, Reading):
            pickled = pickle.dumps(found, protocol=pickle.HIGHEST_PROTOCOL)
            write_whole(out.with_name(f"{out.name}-{number}.pickle"), pickled)
            parts.append(shown(found, photo, table, picture["width"]))
        else:
            parts.append(refused(found))
    return written(out, {"parts": parts, "picture": picture})


def boards_in(photo: Photo, table: Table, job: ReadJob) -> Sequence[Reading | BoardNotFound]:
    """Every board's reading, or why there is none; several boards left to right, by rows."""
    corners = np.array(job.corners_px, float) if job.corners_px else None
    try:
        if job.parts == 1:
            return [read_photo(photo, table, corners)]
        readings = read_boards(photo, table, job.parts)
        return [readings[i] for i in reading_order([one.board_corners_px for one in readings])]
    except BoardNotFound as error:
        return [error] * job.parts


def jpeg_for_phones(photo: Photo) -> tuple[bytes, tuple[int, int]]:
    """The upright photo as a JPEG small enough for phones, and its width and height, px."""
    height, width = photo.pixels.shape[:2]
    scale = min(1.0, PICTURE_PX / max(width, height))
    size = (round(width * scale), round(height * scale))
    small = cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA)
    quality = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    jpeg = cv2.imencode(".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR), quality)[1]
    return jpeg.tobytes(), size


def picture_of(photo: Photo, path: Path) -> dict[str, Any]:
    """Write the upright photo as a JPEG for phones; returns its size and the photo's."""
    jpeg, size = jpeg_for_phones(photo)
    write_whole(path, jpeg)
    return {"width": size[0], "height": size[1], "full_size_px": list(photo.full_size_px)}


def shown(reading: Reading, photo: Photo, table: Table, width_px: int) -> dict[str, Any]:
    """What phones are told of one board: the reading, and every cell's outline on the picture."""
    scale = width_px / photo.full_size_px[0]
    height_mm = table.sheet.piece_height_mm
    outlines = {
        cell.id: on_picture(
            reading.registration.project(np.array(cell.polygon_mm), height_mm), scale
        )
        for cell in table.sheet.lattice.cells
    }
    return {
        "found": True,
        "reading": reading_json(reading),
        "outlines": outlines,
        "corners": on_picture(reading.board_corners_px, scale),
    }


def on_picture(points_px: np.ndarray, scale: float) -> list[list[float]]:
    """Full-size px as px of the picture, its own origin at the corner as SVG has it."""
    return ((points_px + 0.5) * scale).round(1).tolist()


def refused(error: BoardNotFound | PhotoError) -> dict[str, Any]:
    """What phones are told of a board that was not read."""
    taps = isinstance(error, BoardNotFound)
    hint = error.hint.replace(" (--corners)", "")  # said for the terminal; here is a button
    return {"found": False, "reason": error.reason, "hint": hint, "corners_help": taps}


def written(out: Path, result: dict[str, Any]) -> dict[str, Any]:
    """Keep a result as its ``.json`` file."""
    write_whole(out.with_suffix(".json"), json.dumps(result).encode())
    return result


def place_job(job: PlaceJob) -> dict[str, Any]:
    """Whether a new table's first photo shows where the board is."""
    sheet = parse_sheet(Path(job.sheet).read_text("utf-8"))
    try:
        photo = load_photo(Path(job.photo).read_bytes(), job.name)
    except PhotoError as error:
        return {"usable": False, "advice": str(error), "needs_corners": False, "picture": None}
    picture = picture_of(photo, Path(job.picture))
    found = from_marks(photo, marks_of(sheet))
    words = (
        "The board's corner marks are seen. Good."
        if found
        else "No corner marks are seen: show the board's four corners."
    )
    return {"usable": True, "advice": words, "needs_corners": found is None, "picture": picture}


def learn_job(job: LearnJob) -> dict[str, Any]:
    """Learn a table and judge it at once; the table's file is written only where that worked."""
    try:
        sheet = parse_sheet(Path(job.sheet).read_text("utf-8"))
        plan = parse_grid(job.plan, sheet, "plan of the layout")
        corners = np.array(job.corners_px, float) if job.corners_px else None
        empty = [load_photo(Path(path).read_bytes(), name) for path, name in job.empty]
        shots = [(load_photo(Path(path).read_bytes(), name), plan) for path, name in job.layout]
        table = calibrate(job.name, sheet, empty, shots, corners)
    except TallyglassError as error:
        return {"learned": False, "advice": [str(error)]}
    write_whole(Path(job.out), table_bytes(table))
    return {
        "learned": True,
        "advice": [
            *(trust(table) or ["This light tells all colours of the game apart."]),
            promise_words(),
        ],
    }
