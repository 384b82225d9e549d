"""The command ``read``: photos -> what lies in every cell."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from calibrate.store import load_table
from calibrate.types import Table
from desk.beliefs import grid_of
from desk.given import GivenError, PointsPx, parse_corners
from desk.photo_file import photo_bytes, shown_name
from desk.pictures import save_overlay
from desk.say import complain, os_error_in_words, working
from desk.shelf import table_file as shelved
from scoring.grid import format_grid
from scoring.sheet import GameSheet
from scoring.words import listed
from vision.decode import load_photo
from vision.errors import BoardNotFound, PhotoError
from vision.one_light import settle_together
from vision.read import read_boards, read_photo
from vision.report import reading_json
from vision.types import Reading

BAD_INPUT = 2
NOT_FOUND = 3


def run_read(
    table_file: Path,
    photos: Sequence[Path],
    *,
    as_json: bool,
    corners: Sequence[str] | None,
    boards: int,
    overlay: Path | None,
) -> int:
    """Read each photo, whatever becomes of the others. Returns the exit code."""
    table = load_table(shelved(table_file))
    corners_px = parse_corners(corners) if corners else None
    if corners_px is not None and boards > 1:
        raise GivenError("--corners", "they are those of one board; leave --boards out.")
    codes = [
        read_one(table, path, corners_px, boards, overlay=overlay, as_json=as_json)
        for path in photos
    ]
    return max(codes)


def read_one(
    table: Table,
    path: Path,
    corners_px: PointsPx | None,
    boards: int = 1,
    *,
    overlay: Path | None,
    as_json: bool,
) -> int:
    """Read one photo and print what was read; returns 0, or the code of why not."""
    try:
        with working(f"Reading {path.name}"):
            photo = load_photo(bytes_of(path), shown_name(path))
            if boards > 1:
                readings = read_boards(photo, table, boards)
            else:
                readings = (read_photo(photo, table, corners_px),)
            readings = settle_together(readings, [{} for _ in readings], table)
    except (BoardNotFound, PhotoError) as error:
        print(json.dumps(not_found(error))) if as_json else complain(str(error))
        return NOT_FOUND if isinstance(error, BoardNotFound) else BAD_INPUT
    for number, reading in enumerate(readings, start=1):
        if overlay:
            which = f"-{number}" if boards > 1 else ""
            save_overlay(photo, reading, table.sheet, overlay / f"{path.stem}{which}-read.png")
        if as_json:
            print(json.dumps(reading_json(reading)), flush=True)
        else:
            print(*reading_words(reading, table.sheet), sep="\n")
    return 0


def bytes_of(path: Path) -> bytes:
    """A photo file's bytes. Raises PhotoError where there is no such file, so that others go on."""
    try:
        return photo_bytes(path)
    except OSError as error:
        reason = os_error_in_words(error).partition(": ")[2]
        raise PhotoError(path.name, reason, "Check the name and the folder.") from error


def not_found(error: BoardNotFound | PhotoError) -> dict[str, Any]:
    """What stands in the JSON output in place of a reading."""
    return {
        "photo": error.photo,
        "found": False,
        "reason": error.reason,
        "hint": error.hint,
    }


def reading_words(reading: Reading, sheet: GameSheet) -> Iterator[str]:
    """A reading for people: the grid in letters, then every doubt."""
    place = reading.registration
    yield f"{reading.photo}: found by {place.method}, cell centres within {place.error_mm:.1f} mm"
    if reading.alarm:
        yield f"  Beware: {reading.alarm}"
    if reading.strip:
        yield f"  {reading.strip.words}"
    yield from (f"  {line}" for line in format_grid(grid_of(reading), sheet).splitlines())
    doubts = {cell: belief for cell, belief in reading.cells.items() if belief.doubt}
    yield f"  {len(doubts)} of {len(reading.cells)} cells in doubt" + (":" if doubts else ".")
    for cell, belief in doubts.items():
        yield f"    {cell}: {listed(belief.candidates, 'or')}: {belief.doubt}"
