"""Is a board ever found where there is none? Over photos that show no board of the table.

    python tests/bench/negatives.py PHOTOS_DIR [--most 300] [--seed 0]

``PHOTOS_DIR`` is a folder as for the accuracy run. Every table is sought, marks and all, in photos
of four kinds, in turn: other tables' final boards; bare table tops (a photo with its board painted
over by a stretch of the table); random textures (blots and stripes of random size); and the
table's own boards half covered by texture, where a find counts as wrong if a cell's centre is off
by over a quarter of the pitch. Printed: photos, found, wrongly found, with the one-sided 95 %
Clopper-Pearson bound, and each wrong find.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.types import Table
from scoring.lattice import cell_centres_mm
from tests.bench import accuracy
from vision.decode import load_photo
from vision.errors import BoardNotFound
from vision.find import find_board
from vision.types import Photo

Pixels = NDArray[np.uint8]
KINDS = ("other board", "table top", "texture", "half covered")


@dataclass(frozen=True, eq=False)
class Shown:
    """A photo, what kind of negative it is, and where cells truly lie, where they are in it."""

    kind: str
    name: str
    photo: Photo
    true_px: dict[str, list[float]] | None = None


def main() -> int:
    """Run over the folder and print what was found; 1 where anything was wrongly found."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", type=Path)
    parser.add_argument("--most", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    folders = [f for f in sorted(options.photos.iterdir()) if (f / "table.json").exists()]
    rng = np.random.default_rng(options.seed)
    seen, found, wrong = Counter[str](), Counter[str](), Counter[str]()
    tables = [accuracy.calibrated(folder) for folder in folders]
    for number in range(options.most):
        at = number % len(folders)
        shown = _shown(KINDS[number // len(folders) % len(KINDS)], folders, at, rng)
        seen[shown.kind] += 1
        verdict = _verdict(shown, tables[at])
        found[shown.kind] += verdict is not None
        if verdict:
            wrong[shown.kind] += 1
            print(f"wrongly found: {folders[at].name} in {shown.name} ({shown.kind})")
    for kind in KINDS:
        print(f"{kind:13} {seen[kind]:4} photos {found[kind]:4} found {wrong[kind]:4} wrongly")
    bound = accuracy.upper_bound(wrong.total(), seen.total())
    print(f"{wrong.total()} of {seen.total()} wrongly found (95 %: under {100 * bound:.1f} %)")
    return int(wrong.total() > 0)


def _verdict(shown: Shown, table: Table) -> bool | None:
    """None where nothing was found, else whether what was found is wrong."""
    try:
        found = find_board(shown.photo, table.sheet.lattice, table.artwork, table.marks)
    except BoardNotFound:
        return None
    if shown.true_px is None:
        return True
    true = np.array([shown.true_px[cell.id] for cell in table.sheet.lattice.cells])
    off = np.linalg.norm(
        found.project(np.array(cell_centres_mm(table.sheet.lattice))) - true, axis=1
    )
    return bool((off > 0.25 * accuracy._local_pitch(true)).any())


def _shown(kind: str, folders: list[Path], at: int, rng: np.random.Generator) -> Shown:
    """A photo of this kind for the table of ``folders[at]``."""
    others = [folder for i, folder in enumerate(folders) if i != at]
    folder = folders[at] if kind == "half covered" else others[rng.integers(len(others))]
    record = _any(accuracy._games(folder), rng)
    photo = load_photo(accuracy._file(folder, record).read_bytes(), record["file"])
    shown = Shown(kind, f"{folder.name}/{record['file']}", photo)
    if kind == "other board":
        return shown
    corners = (np.array(record["board_corners_px"]) + 0.5) / photo.scale - 0.5
    if kind == "table top":
        return replace(shown, photo=replace(photo, pixels=_bare(photo.pixels, corners)))
    blots = _texture(photo.pixels.shape[:2], rng)
    if kind == "texture":
        return replace(shown, photo=replace(photo, pixels=blots))
    start = int(rng.integers(4))
    a, b, c, d = np.roll(corners, start, axis=0)
    half = np.array([a, (a + b) / 2, (c + d) / 2, d])
    covered = _painted(photo.pixels, half, blots)
    true = {cell: list(spot) for cell, spot in record["cell_centres_px"].items()}
    return replace(shown, photo=replace(photo, pixels=covered), true_px=true)


def _any(records: Iterator[dict[str, Any]], rng: np.random.Generator) -> dict[str, Any]:
    every = list(records)
    return every[rng.integers(len(every))]


def _bare(pixels: Pixels, corners_px: NDArray[np.float64]) -> Pixels:
    """The photo with its board, and what lies close to it, painted over by mirrored table."""
    middle = corners_px.mean(axis=0)
    strip = pixels[: max(40, pixels.shape[0] // 12)]
    times = -(-pixels.shape[0] // (2 * len(strip)))
    table = np.vstack([strip, strip[::-1]] * times)[: pixels.shape[0]]
    return _painted(pixels, middle + 1.25 * (corners_px - middle), np.asarray(table))


def _painted(pixels: Pixels, area_px: NDArray[np.float64], over: Pixels) -> Pixels:
    mask = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(area_px).astype(np.int32)], 1)
    return np.where(mask[..., None] > 0, over, pixels)


def _texture(size: tuple[int, int], rng: np.random.Generator) -> Pixels:
    """Blots in colour, of random fineness, squeezed at random into stripes."""
    fine = rng.integers(8, 120, 2)
    small = rng.integers(0, 256, (*fine, 3)).astype(np.uint8)
    return np.asarray(cv2.resize(small, size[::-1], interpolation=cv2.INTER_CUBIC), np.uint8)


if __name__ == "__main__":
    sys.exit(main())
