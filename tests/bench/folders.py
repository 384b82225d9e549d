"""Folders of photos with exact truth, as the benches read them: one folder is one table.

``table.json`` describes the components, ``photos.json`` every photo: its ``file``, its ``role``
(``empty``, ``layout`` or ``game``), its ``split``, what lies in its cells and where they are.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from calibrate.learn import calibrate
from calibrate.types import Table
from scoring.lattice import build_lattice
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Cell, Colour, Grid
from tests.bench.yardsticks import COVERED
from vision.decode import load_photo
from vision.geometry import px_per_mm
from vision.types import Photo, Registration

TAP_PX = 4
"""A person taps a corner up to so many px beside it."""


def tables_in(photos: Path) -> list[Path]:
    """The folders of all tables, by name."""
    return [folder for folder in sorted(photos.iterdir()) if (folder / "table.json").exists()]


def sheet_from(folder: Path) -> GameSheet:
    """A game sheet of the table's components; it has no rules, for none are needed to read."""
    plain = json.loads((folder / "table.json").read_text())
    cells = [
        Cell(
            c["id"], tuple((float(x), float(y)) for x, y in c["polygon_mm"]), bool(c.get("anchor"))
        )
        for c in plain["cells"]
    ]
    neighbours = {c["id"]: tuple(c["neighbours"]) for c in plain["cells"] if "neighbours" in c}
    lattice = build_lattice("drawn", cells, tuple(plain["board_size_mm"]), neighbours or None)
    letters = iter("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return GameSheet(
        name=plain["name"],
        lattice=lattice,
        colours=tuple(Colour(name, next(letters)) for name in plain["colours"]),
        cards=(),
        rules=(),
        piece_height_mm=float(plain.get("piece_thickness_mm", 0.0)),
        marks={m["id"]: tuple(map(tuple, m["corners_mm"])) for m in plain.get("markers", [])},
    )


def records_of(folder: Path) -> list[dict[str, Any]]:
    """What is known of every photo in the folder."""
    return json.loads((folder / "photos.json").read_text())


def photo_file(folder: Path, record: dict[str, Any]) -> Path:
    """The file of a photo."""
    beside = folder / record["file"]
    return beside if beside.exists() else folder / "photos" / record["file"]


def photo_in(folder: Path, record: dict[str, Any]) -> Photo:
    """The photo, decoded as the program does."""
    return load_photo(photo_file(folder, record).read_bytes(), record["file"])


def calibrated(folder: Path) -> Table:
    """The table learned from a folder's ``empty`` and ``layout`` photos."""
    sheet = sheet_from(folder)
    records = records_of(folder)
    empty = [r for r in records if r["role"] == "empty"]
    layouts = [r for r in records if r["role"] == "layout"]
    corners = None if sheet.marks else _tapped((empty or layouts)[0], folder.name)
    return calibrate(
        folder.name,
        sheet,
        [photo_in(folder, r) for r in empty],
        [(photo_in(folder, r), Grid(labels_of(r))) for r in layouts],
        corners,
    )


def _tapped(record: dict[str, Any], name: str) -> np.ndarray:
    rng = np.random.default_rng(sum(name.encode()))
    true = np.array(record["board_corners_px"], float)
    return true + rng.uniform(-TAP_PX, TAP_PX, true.shape)


def labels_of(record: dict[str, Any]) -> dict[str, str]:
    """What lies in each cell; what is covered counts as empty."""
    return {cell: EMPTY if c == COVERED else c for cell, c in record["cells"].items()}


def games_of(folder: Path) -> Iterator[dict[str, Any]]:
    """The photos of final boards."""
    return (r for r in records_of(folder) if r["role"] == "game")


def worst_off_mm(found: Registration, places_mm: np.ndarray, true: np.ndarray) -> float:
    """Largest distance along x or y, mm, of a place (N, 2) from the truth (N, 2) px: what a
    registration's ``error_mm`` speaks of."""
    off_px = np.abs(found.project(places_mm) - true).max(axis=1)
    return float((off_px / px_per_mm(found, places_mm)).max())


def local_pitch(true: np.ndarray) -> np.ndarray:
    """Distance (N,) px of each true centre to the nearest other."""
    apart = np.linalg.norm(true[:, None] - true[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    return apart.min(axis=1)
