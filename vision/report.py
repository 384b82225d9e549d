"""A reading as JSON: a stable, documented form for scripts."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from vision.types import Reading


def reading_json(reading: Reading) -> dict[str, Any]:
    """One JSON object a photo.

    ``board_corners_px``: top left, top right, bottom right, bottom left of the board in the upright
    full-size photo, (0, 0) at the centre of its top left pixel. ``candidates``: all that a cell may
    be, likeliest first; ``doubt``: why it should be asked, or null where it is certain.
    ``alarm``: what is wrong with the photo as a whole, or null. ``key_strip``: whether a key strip
    beside the board was ``used``, and that in ``words``, or null where none is seen.
    ``error_mm``: half width of the 95 % interval of the cell centres' position.
    """
    registration = reading.registration
    return {
        "photo": reading.photo,
        "found": True,
        "method": registration.method,
        "error_mm": round(registration.error_mm, 4),
        "board_corners_px": reading.board_corners_px.round(2).tolist(),
        "alarm": reading.alarm,
        "key_strip": asdict(reading.strip) if reading.strip else None,
        "cells": {
            cell: {
                "colour": read.colour,
                "candidates": list(read.candidates),
                "doubt": read.doubt,
            }
            for cell, read in reading.cells.items()
        },
        "milliseconds": {stage: round(ms, 2) for stage, ms in reading.milliseconds.items()},
    }
