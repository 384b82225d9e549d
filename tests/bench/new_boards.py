"""Whether a photo of an empty board becomes a sheet with every cell right, after four taps.

    python tests/bench/new_boards.py [PHOTOS_DIR]

Every folder with a ``table.json`` is a board that the program has no sheet of; three more are drawn
and photographed here. Each photo of the empty board is given its four corners (the truth, moved by
up to four px, as a finger would) and its size in mm, and nothing else. A cell is right if the sheet
has a cell of its name within a fifth of the pitch of the true centre; none may be missing or extra.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from desk.sheet_board import board_from_proposal
from desk.sheet_new import Wanted, proposal_from, sheet_text
from samples.conditions import Conditions
from samples.invent import invent_board
from samples.photographer import empty_grid, take_photo
from scoring.errors import TallyglassError
from scoring.lattice import cell_centres_mm, regular_lattice
from scoring.regular import Shape
from scoring.sheet import parse_sheet
from vision.decode import load_photo
from vision.types import Photo

TAP_PX = 4.0
DRAWN = {
    "drawn hexagon": ("hex-pointy", Shape((4, 5, 6, 5, 4), 21.0, 1.0, (20, 20), None, "centred")),
    "drawn flat": ("hex-flat", Shape((6, 6, 6, 6), 19.0, 1.2, (19.0, 19.0))),
    "drawn courses": ("courses", Shape((7, 6, 7, 6, 7), 20.0, 0.8, (18.0, 18.0), 16.4, "second")),
}


@dataclass(frozen=True, eq=False)
class Bare:
    """One photo of an empty board and what is true of it."""

    name: str
    photo: Photo
    corners_px: np.ndarray
    size_mm: tuple[float, float]
    centres_mm: Mapping[str, tuple[float, float]]
    pitch_mm: float


def main() -> int:
    """Print a line a photo; the exit code is 1 where a cell is wrong."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos_dir", type=Path, nargs="?")
    given = parser.parse_args()
    shots = list(drawn_boards())
    for folder in sorted(given.photos_dir.iterdir()) if given.photos_dir else []:
        if (folder / "table.json").exists():
            shots += photographed(folder)
    faults = [verdict(bare) for bare in shots]
    for bare, fault in zip(shots, faults, strict=True):
        print(f"{bare.name:36} {len(bare.centres_mm):3} cells  {fault or 'all right'}")
    print(f"{faults.count('')} of {len(shots)} photos with every cell right")
    return int(any(faults))


def verdict(bare: Bare) -> str:
    """What is wrong with the sheet made of this photo; "" where every cell is right."""
    rng = np.random.default_rng(len(bare.centres_mm))
    taps = bare.corners_px + rng.uniform(-TAP_PX, TAP_PX, (4, 2))
    try:
        _, proposal = proposal_from(bare.photo, taps, bare.size_mm)
        lines, _ = board_from_proposal(proposal, bare.size_mm, ())
        lattice = parse_sheet(sheet_text(Wanted("bench", ["moss"], {}), lines)).lattice
    except TallyglassError as error:
        return str(error)
    found = dict(zip((c.id for c in lattice.cells), cell_centres_mm(lattice), strict=True))
    missing, extra = set(bare.centres_mm) - set(found), set(found) - set(bare.centres_mm)
    off = [
        name
        for name in set(found) & set(bare.centres_mm)
        if np.linalg.norm(np.subtract(found[name], bare.centres_mm[name])) > bare.pitch_mm / 5
    ]
    named = (("missing", missing), ("extra", extra), ("off", off))
    return "; ".join(f"{word} {' '.join(sorted(cells))}" for word, cells in named if cells)


def drawn_boards() -> Iterator[Bare]:
    """Three boards of our own."""
    for seed, (name, (kind, shape)) in enumerate(DRAWN.items()):
        lattice = regular_lattice(kind, shape)
        board = invent_board(lattice, 900 + seed, colours=5)
        light = Conditions(size_px=(1600, 1200), tilt_deg=6.0 + 6 * seed, turn_deg=5.0 * seed)
        shot = take_photo(board, empty_grid(board), light, np.random.default_rng(seed))
        centres = {place.id: place.centre_mm for place in board.places}
        photo = load_photo(shot.jpeg(), f"{name}.jpg")
        corners = np.array(shot.truth.board_corners_px)
        yield Bare(name, photo, corners, board.size_mm, centres, shape.pitch_mm)


def photographed(folder: Path) -> Iterator[Bare]:
    """The photos of the empty board in a folder with truth."""
    plain = json.loads((folder / "table.json").read_text())
    width, height = plain["board_size_mm"]
    centres = {cell["id"]: tuple(cell["centre_mm"]) for cell in plain["cells"]}
    for record in json.loads((folder / "photos.json").read_text()):
        if record["role"] != "empty":
            continue
        path = folder / record["file"]
        data = (path if path.exists() else folder / "photos" / record["file"]).read_bytes()
        yield Bare(
            f"{folder.name} {record['file']}",
            load_photo(data, record["file"]),
            np.array(record["board_corners_px"], float),
            (float(width), float(height)),
            centres,
            float(plain["cell_pitch_mm"]),
        )


if __name__ == "__main__":
    sys.exit(main())
