"""The command ``sheet colours``: a box's colours named and lettered from single pieces in a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ImageColor

from desk.durable import write_whole
from desk.given import GivenError
from desk.packing import png, write
from desk.photo_file import photo_in
from desk.sheet_new import propose_letters, quoted
from desk.tints import WORDS
from scoring.sheet import load_sheet
from vision.colour import lab_from_linear, linear_from_srgb
from vision.outlines import piece_of
from vision.spread import find_pieces
from vision.spread_colours import core_colours
from vision.types import Photo

Array = NDArray[np.float64]

ALIKE_LAB = 8.0
"""CIELAB units within which two pieces of a row may be one colour; chosen by hand."""


@dataclass(frozen=True, eq=False)
class Row:
    """Pieces from left to right: their CIELAB (N, 3), a name proposed for each, the levelled
    picture with their numbers, PNG, and whether another place may hold a piece."""

    lab: Array
    names: tuple[str, ...]
    picture: bytes
    unsettled: bool


def run_sheet_colours(sheet: Path, path: Path, named: Sequence[str], out: Path) -> None:
    """Print the lines of TOML of the colours in a row, named by the host or by their looks."""
    shape = load_sheet(sheet).lattice.cells[0].polygon_mm
    row = colours_in_row(photo_in(path), shape)
    write_whole(out, row.picture)
    names = [name.strip() for word in named for name in word.split(",")] or list(row.names)
    if len(names) != len(row.names):
        raise GivenError(
            "--names", f"names {len(names)} colours; {len(row.names)} pieces are seen ({out})."
        )
    if "" in names or len(set(names)) < len(names):
        raise GivenError("--names", "give every piece a name of its own.")
    print(f"{path.name}: {len(names)} pieces, numbered from left to right in {out}")
    if row.unsettled:
        print("Another place may hold a piece: look at the picture.")
    print(*likenesses(names, row.lab), sep="\n")
    print(colours_toml(names))


def colours_toml(names: Sequence[str]) -> str:
    """The lines of a sheet for these colours, with letters that do not clash."""
    parts = [
        f'[[colours]]\nname = {quoted(name)}\nletter = "{letter}"\n# supply = 30\n'
        for name, letter in propose_letters(names).items()
    ]
    return "\n".join(parts)


def likenesses(names: Sequence[str], lab: Array) -> list[str]:
    """A sentence for each two pieces that look nearly alike."""
    return [
        f"{names[i]} and {names[j]} look nearly alike here: one colour twice, or a pair to watch."
        for j in range(len(names))
        for i in range(j)
        if np.linalg.norm(lab[i] - lab[j]) < ALIKE_LAB
    ]


def colours_in_row(photo: Photo, outline_mm: Sequence[tuple[float, float]]) -> Row:
    """The pieces of a photo from left to right. Raises PhotoError where fewer than two are seen."""
    spread = find_pieces(photo, piece_of(outline_mm))
    linear = core_colours(spread)[0]
    seen = [one.outline_px.mean(axis=0) for one in spread.pieces]
    full = cv2.perspectiveTransform(np.array(seen).reshape(-1, 1, 2), spread.to_photo)
    order = np.argsort(full[:, 0, 0], kind="stable")
    picture = spread.level.copy()
    for number, index in enumerate(order, start=1):
        write(picture, str(number), seen[index])
    lab = lab_from_linear(linear[order])
    return Row(lab, names_for(lab), png(picture), bool(spread.unsettled))


def names_for(lab: Array) -> tuple[str, ...]:
    """A word for each colour (N, 3), CIELAB: of the plain words that are left, the nearest.

    Brightness counts half, for the photo's exposure is not known.
    """
    words = list(WORDS)
    known = np.array([ImageColor.getrgb(WORDS[word])[:3] for word in words], np.uint8)
    tints = lab_from_linear(linear_from_srgb(known))
    names: list[str] = []
    for colour in lab:
        far = np.linalg.norm((tints - colour) * (0.5, 1, 1), axis=1)
        free = [words[k] for k in np.argsort(far, kind="stable") if words[k] not in names]
        names.append(free[0] if free else f"colour {len(names) + 1}")
    return tuple(names)
