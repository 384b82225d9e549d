"""A new sheet from a photo on the phone: what workers do, and what follows from people's taps.

The proposal is worked out once and written to a file; everything else follows from it and the taps
at once, by the same functions that ``sheet new`` uses.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from desk.board_size import corners_from_cards, place_board
from desk.durable import write_whole
from desk.given import GivenError
from desk.printing.marks import CORNER_IDS
from desk.sheet_new import (
    LEVEL_PX,
    Wanted,
    board_of,
    proposal_from,
    tapped,
    whole_sheet,
)
from desk.types import PointsPx
from desk.web.work import JPEG_QUALITY, picture_of, written
from scoring.errors import TallyglassError
from scoring.lattice import cell_centres_mm
from scoring.sheet import parse_sheet
from scoring.types import Point
from vision.decode import load_photo
from vision.errors import PhotoError
from vision.lattice_proposal import Proposal
from vision.marks import find_marks


@dataclass(frozen=True)
class LookJob:
    """A photo of an empty board, to be shown to phones; are the corner cards in it?"""

    photo: str
    name: str
    picture: str


@dataclass(frozen=True)
class ProposeJob:
    """A lattice to propose: the board's corners and size, where a person gave them."""

    photo: str
    name: str
    out: str
    corners_px: tuple[Point, ...] = ()
    size_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class Taps:
    """What a person did to a proposal, board mm: cells tapped, and places pointed at as anchors."""

    cells: Sequence[Point] = ()
    anchors: Sequence[Point] = ()


def look_job(job: LookJob) -> dict[str, Any]:
    """The photo's picture, and the corners that the corner cards tell, as px of the photo."""
    try:
        photo = load_photo(Path(job.photo).read_bytes(), job.name)
    except PhotoError as error:
        return {"problem": str(error)}
    picture = picture_of(photo, Path(job.picture))
    cards = {mark: quad for mark, quad in find_marks(photo).items() if mark in CORNER_IDS}
    corners = corners_from_cards(cards)
    return {
        "picture": picture,
        "cards": len(cards),
        "corners_px": None if corners is None else corners.round(1).tolist(),
    }


def proposal_key(photo: str, corners_px: object, size_mm: object) -> str:
    """A name for the proposal that follows from these."""
    return hashlib.sha256(json.dumps([photo, corners_px, size_mm, "proposal"]).encode()).hexdigest()


def propose_job(job: ProposeJob) -> dict[str, Any]:
    """Propose a lattice; written to ``<out>.json``, and the levelled photo to ``<out>.jpg``.

    What cannot be is only told: an error that knows its fields does not travel between processes.
    """
    try:
        return proposed(job)
    except TallyglassError as error:
        return {"problem": str(error)}


def proposed(job: ProposeJob) -> dict[str, Any]:
    """As ``propose_job``, raising what is wrong."""
    photo = load_photo(Path(job.photo).read_bytes(), job.name)
    corners: PointsPx | None = np.array(job.corners_px, float) if job.corners_px else None
    placed = place_board(photo, corners, job.size_mm)
    level, proposal = proposal_from(photo, placed.corners_px, placed.size_mm)
    quality = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    jpeg = cv2.imencode(".jpg", cv2.cvtColor(level, cv2.COLOR_RGB2BGR), quality)[1]
    write_whole(Path(job.out).with_suffix(".jpg"), jpeg.tobytes())
    told = {
        "proposal": asdict(proposal),
        "size_mm": list(placed.size_mm),
        "told": list(placed.told),
        "by_cards": placed.by_cards,
        "width": level.shape[1],
        "height": level.shape[0],
    }
    return written(Path(job.out), told)


def proposal_in(told: dict[str, Any]) -> Proposal:
    """A proposal as it was written."""
    plain = told["proposal"]
    steps = tuple((int(u), int(v)) for u, v in plain["steps"])
    x, y = plain["origin_mm"]
    return Proposal(**{**plain, "steps": steps, "origin_mm": (x, y)})


def sheet_of(told: dict[str, Any], taps: Taps, wanted: Wanted) -> str:
    """The sheet's text after all taps. Raises a TallyglassError in words where it cannot be."""
    proposal = proposal_in(told)
    for point in taps.cells:
        proposal = tapped(proposal, point)
    if not proposal.steps:
        raise GivenError("The board", "has no cell left; tap where cells are.")
    width, height = told["size_mm"]
    board = replace(board_of(proposal, (width, height)), cards=told["by_cards"])
    points = [f"{x * board.px_per_mm:.2f},{y * board.px_per_mm:.2f}" for x, y in taps.anchors]
    return whole_sheet(replace(wanted, anchor=points), board)


def shown(told: dict[str, Any], taps: Taps, support: str) -> dict[str, Any]:
    """What phones draw over the levelled photo: every cell, anchors, inner sides, px of it."""
    sheet = parse_sheet(sheet_of(told, taps, Wanted("proposal", ["piece"], {}, support=support)))
    scale = LEVEL_PX / max(told["size_mm"])
    lattice = sheet.lattice
    middles = dict(zip((c.id for c in lattice.cells), cell_centres_mm(lattice), strict=True))
    dots = [
        ((np.array(middles[here]) + np.array(middles[there])) / 2 * scale).round(1).tolist()
        for here, others in lattice.inner.items()
        for there in others
    ]
    return {
        "kind": lattice.like or "drawn",
        "size_mm": told["size_mm"],
        "told": told["told"],
        "width": told["width"],
        "height": told["height"],
        "px_per_mm": scale,
        "outlines": {
            cell.id: (np.array(cell.polygon_mm) * scale).round(1).tolist() for cell in lattice.cells
        },
        "anchors": [cell.id for cell in lattice.cells if cell.anchor],
        "inner": dots,
    }
