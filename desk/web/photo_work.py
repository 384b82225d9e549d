"""What workers do with photos of loose pieces, of a row or a laid board, and of cards.

Each job gives what phones are told, or ``problem``: an error that knows its fields does not travel
between processes. Pictures are written where the job says.
"""

from __future__ import annotations

import hashlib
import io
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from calibrate.types import Palette
from desk.card_reading import cell_names, checked_like, course_height, inks_of, needs_told
from desk.colour_naming import (
    CornersNeeded,
    Shown,
    colours_in_layout,
    colours_in_row,
    lettered,
    likenesses,
    names_for,
)
from desk.durable import write_whole
from desk.packing import Counted, count_photo, png
from desk.types import PointsPx
from desk.web.work import JPEG_QUALITY, picture_of, table_at, written
from scoring.errors import TallyglassError
from scoring.sheet import GameSheet, parse_sheet
from scoring.types import Point
from vision.cards import CardLook
from vision.decode import load_photo
from vision.errors import BoardNotFound
from vision.find_cards import look_at_cards
from vision.inks import MAYBE_NO_CELL, Ink
from vision.types import Photo


@dataclass(frozen=True)
class CountJob:
    """A photo of loose pieces to count by a table; ``out``: its files, without their endings."""

    photo: str
    table: str
    out: str


@dataclass(frozen=True)
class ColourJob:
    """A photo of a row of pieces, or of a board laid by ``plan``, whose corners a person gave where
    no printed marks tell them; ``sheet`` is a sheet's text, ``photo_out`` where the upright photo
    goes if its corners are asked for."""

    photo: str
    sheet: str
    out: str
    photo_out: str
    plan: str = ""
    corners_px: tuple[Point, ...] = ()


@dataclass(frozen=True)
class CardJob:
    """A photo of cards to read by a sheet's text: a ``table`` whose pieces tell their inks, inks
    that a person ``named`` before as (colour, CIELAB), the corners of the only card where a person
    gave them; ``out`` says in which folder the cards' pictures are kept and begins their names."""

    photo: str
    sheet: str
    out: str
    photo_out: str
    table: str = ""
    named: tuple[tuple[str, tuple[float, float, float]], ...] = ()
    corners_px: tuple[Point, ...] = ()


def count_job(job: CountJob) -> dict[str, Any]:
    """What one photo's pieces are, colour by colour; kept as ``<out>.json`` and ``<out>.jpg``."""
    try:
        one = count_photo(photo_at(job.photo), table_at(job.table))
    except TallyglassError as error:
        return {"problem": str(error)}
    write_whole(Path(job.out).with_suffix(".jpg"), jpeg_of(one.picture))
    told = {
        "seen": one.seen,
        "counted": dict(one.counted),
        "open": list(one.flags),
        "hidden": list(one.hidden),
    }
    return written(Path(job.out), told)


def counted_in(told: Mapping[str, Any]) -> Counted:
    """A count as ``count_job`` told it; its picture lies in a file."""
    return Counted(
        told["seen"], Counter(told["counted"]), tuple(told["open"]), tuple(told["hidden"]), b""
    )


def colours_job(job: ColourJob) -> dict[str, Any]:
    """Names and letters proposed for the colours of a photo, or that its corners are needed."""
    try:
        photo = photo_at(job.photo)
        shown = shown_colours(photo, parse_sheet(job.sheet), job)
    except CornersNeeded:
        return {"corners": picture_of(photo, Path(job.photo_out)), "why": NO_MARKS}
    except TallyglassError as error:
        return {"problem": str(error)}
    write_whole(Path(job.out), jpeg_of(shown.picture))
    names = names_for(shown.lab)
    return {
        "colours": [
            {"sign": sign, "name": colour.name, "letter": colour.letter}
            for sign, colour in zip(shown.signs, lettered(names, shown.signs), strict=True)
        ],
        "remarks": [*shown.remarks, *likenesses(names, shown.lab)],
    }


NO_MARKS = "No printed corner marks are seen: show the board's four corners."


def shown_colours(photo: Photo, sheet: GameSheet, job: ColourJob) -> Shown:
    """The colours of a row, or of the board where there is a plan."""
    if not job.plan:
        return colours_in_row(photo, sheet)
    return colours_in_layout(photo, sheet, job.plan, corners_of(job.corners_px))


def card_job(job: CardJob) -> dict[str, Any]:
    """The cells of each card and what is believed of them, or that one's corners are needed."""
    try:
        photo = photo_at(job.photo)
        sheet = parse_sheet(job.sheet)
        palette = table_at(job.table).palette if job.table else None
        return cards_told(photo, sheet, palette, job)
    except BoardNotFound as error:
        hint = error.hint.replace("give its --corners", "show its corners here")
        why = f"{error.reason[:1].upper()}{error.reason[1:]} {hint}"
        return {"corners": picture_of(photo, Path(job.photo_out)), "why": why}
    except TallyglassError as error:
        return {"problem": str(error)}


def cards_told(
    photo: Photo, sheet: GameSheet, palette: Palette | None, job: CardJob
) -> dict[str, Any]:
    """As ``card_job``, raising what is wrong."""
    corners = corners_of(job.corners_px)
    looks = look_at_cards(photo, checked_like(sheet), course_height(sheet), corners)
    named: dict[str, list[np.ndarray]] = {}
    for colour, lab in job.named:
        named.setdefault(colour, []).append(np.array(lab))
    names = cell_names(looks)
    inks = inks_of(looks, sheet, palette, named)
    needs = needs_told(sheet, names, inks)
    waiting = iter(names)
    cards = [
        card_told(look, [next(waiting) for _ in look.cells], needs, Path(f"{job.out}-{number}"))
        for number, look in enumerate(looks, 1)
    ]
    return {"cards": cards, "inks": [ink_told(ink, names) for ink in inks]}


def card_told(
    look: CardLook, names: Sequence[str], needs: Mapping[str, str], out: Path
) -> dict[str, Any]:
    """One card: its levelled picture, which is kept, and its cells in it."""
    picture = out.with_name(hashlib.sha256(out.name.encode()).hexdigest()).with_suffix(".jpg")
    write_whole(picture, jpeg_of(png(look.level)))
    return {
        "picture": f"/api/pictures/{picture.name}",
        "width": look.level.shape[1],
        "height": look.level.shape[0],
        "card_px": look.corners_px.round(1).tolist(),
        "cells": [
            {
                "id": name,
                "outline": (cell.outline_px + 0.5).round(1).tolist(),
                "step": list(cell.step),
                "need": needs.get(name),
            }
            for name, cell in zip(names, look.cells, strict=True)
        ],
    }


def ink_told(ink: Ink, names: Sequence[str]) -> dict[str, Any]:
    """One ink: its cells, what it may stand for, why it is asked; ``nowhere``: they may be none."""
    return {
        "cells": [names[i] for i in ink.cells],
        "lab": [round(float(part), 2) for part in ink.lab],
        "candidates": list(ink.candidates),
        "doubt": ink.doubt,
        "nowhere": ink.doubt == MAYBE_NO_CELL,
    }


def photo_at(path: str) -> Photo:
    """A photo kept on the desk; whatever it was called, errors say "The photo"."""
    return load_photo(Path(path).read_bytes(), "The photo")


def corners_of(corners_px: Sequence[Point]) -> PointsPx | None:
    """Four corners (4, 2), full-size px, where a person gave them."""
    return np.array(corners_px, float) if corners_px else None


def jpeg_of(picture: bytes) -> bytes:
    """A PNG file as a JPEG file, which phones load sooner."""
    out = io.BytesIO()
    Image.open(io.BytesIO(picture)).save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()
