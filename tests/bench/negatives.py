"""Is a board ever found where there is none? Over photos that show no board of the table.

    python tests/bench/negatives.py PHOTOS_DIR [--most 300] [--seed 0]

``PHOTOS_DIR`` is a folder as for the accuracy run. Every table is sought, marks and all, in photos
of eight kinds, in turn: other tables' final boards; a stranger's board with this table's marks laid
where they belong; another printing of this table's own game (cells and marks alike, other art);
bare table tops (a photo with its board painted over by a stretch of the table); painted table tops;
random textures (blots and stripes); real photographs of other things (those that scikit-image
carries); and the table's own boards half covered by texture, where a find counts as wrong if a
cell's centre is off by over a quarter of the pitch. Printed: photos, found, wrongly found, with the
one-sided 95 % Clopper-Pearson bound, each wrong find, and those that came nearest to being proven.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

import skimage.data

from calibrate.types import Table
from samples.board import Mark
from samples.conditions import Conditions
from samples.kits import sheet_kit
from samples.photographer import empty_grid, take_photo
from samples.tabletop import TABLETOPS, tabletop
from scoring.lattice import board_corners_mm, cell_centres_mm
from tests.bench.folders import calibrated, games_of, local_pitch, photo_file, tables_in
from vision import find
from vision.decode import load_photo
from vision.errors import BoardNotFound
from vision.geometry import homography_between
from vision.promise import upper_bound
from vision.proof import ENOUGH_SEEN, MARGIN
from vision.types import Photo

Pixels = NDArray[np.uint8]
KINDS = (
    "other board",
    "our marks",
    "other print",
    "table top",
    "painted top",
    "texture",
    "real photo",
    "half covered",
)
REAL = ("astronaut", "brick", "camera", "chelsea", "coffee", "grass", "gravel", "rocket", "text",
        "page", "coins", "retina", "immunohistochemistry", "hubble_deep_field", "moon")  # fmt: skip
NEAREST = 8


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
    folders = tables_in(options.photos)
    rng = np.random.default_rng(options.seed)
    seen, found, wrong = Counter[str](), Counter[str](), Counter[str]()
    tables = [calibrated(folder) for folder in folders]
    near: list[tuple[float, str]] = []
    for number in range(options.most):
        at = number % len(folders)
        shown = _shown(KINDS[number // len(folders) % len(KINDS)], folders, tables, at, rng)
        seen[shown.kind] += 1
        verdict, nearest = _verdict(shown, tables[at])
        found[shown.kind] += verdict is not None
        if verdict is None:
            near.append((nearest, f"{folders[at].name} in {shown.name} ({shown.kind})"))
        if verdict:
            wrong[shown.kind] += 1
            print(f"wrongly found: {folders[at].name} in {shown.name} ({shown.kind})")
    for kind in KINDS:
        print(f"{kind:13} {seen[kind]:4} photos {found[kind]:4} found {wrong[kind]:4} wrongly")
    bound = upper_bound(wrong.total(), seen.total())
    print(f"{wrong.total()} of {seen.total()} wrongly found (95 %: under {100 * bound:.1f} %)")
    print("nearest to a proof (1 proves; half covered boards may be right):")
    for share, words in sorted(near, reverse=True)[:NEAREST]:
        print(f"  {share:.2f} {words}")
    return int(wrong.total() > 0)


def _verdict(shown: Shown, table: Table) -> tuple[bool | None, float]:
    """None where nothing was found, else whether what was found is wrong; and how near to a proof
    the best refused place came: the least of its figures as a share of what is asked."""
    proving, nearest = find.prove, [0.0]

    def watched(*given: Any) -> dict[str, float]:
        evidence = proving(*given)
        nearest.append(_nearness(evidence))
        return evidence

    find.prove = watched
    try:
        found = find.find_board(
            shown.photo,
            table.sheet.lattice,
            table.artwork,
            table.marks,
            None,
            table.sheet.piece_height_mm,
        )
    except BoardNotFound:
        return None, max(nearest)
    finally:
        find.prove = proving
    if shown.true_px is None:
        return True, 1.0
    true = np.array([shown.true_px[cell.id] for cell in table.sheet.lattice.cells])
    off = np.linalg.norm(
        found.project(np.array(cell_centres_mm(table.sheet.lattice))) - true, axis=1
    )
    return bool((off > 0.25 * local_pitch(true)).any()), 1.0


def _nearness(evidence: Mapping[str, float]) -> float:
    lead = min(evidence["over_shifts"], evidence["over_turns"])
    return min(evidence["seen"] / ENOUGH_SEEN, lead / MARGIN, evidence["quarters"] / 3)


def _shown(
    kind: str, folders: list[Path], tables: list[Table], at: int, rng: np.random.Generator
) -> Shown:
    """A photo of this kind for the table of ``folders[at]``."""
    if kind == "other print":
        return _other_printing(tables[at], rng)
    others = [folder for i, folder in enumerate(folders) if i != at]
    folder = folders[at] if kind == "half covered" else others[rng.integers(len(others))]
    record = _any(games_of(folder), rng)
    photo = load_photo(photo_file(folder, record).read_bytes(), record["file"])
    shown = Shown(kind, f"{folder.name}/{record['file']}", photo)
    corners = (np.array(record["board_corners_px"]) + 0.5) / photo.scale - 0.5
    if kind == "other board":
        return shown
    if kind == "our marks":
        return replace(shown, photo=replace(photo, pixels=_marked(photo, corners, tables[at])))
    if kind == "table top":
        return replace(shown, photo=replace(photo, pixels=_bare(photo.pixels, corners)))
    if kind == "painted top":
        name = str(rng.choice(sorted(TABLETOPS)))
        top = tabletop(name, int(rng.integers(1000)))
        return replace(shown, name=name, photo=_repainted(photo, top))
    if kind == "real photo":
        name = str(rng.choice(REAL))
        return replace(shown, name=name, photo=_repainted(photo, _real(name)))
    blots = _texture(photo.pixels.shape[:2], rng)
    if kind == "texture":
        return replace(shown, photo=replace(photo, pixels=blots))
    start = int(rng.integers(4))
    a, b, c, d = np.roll(corners, start, axis=0)
    half = np.array([a, (a + b) / 2, (c + d) / 2, d])
    covered = _painted(photo.pixels, half, blots)
    true = {cell: list(spot) for cell, spot in record["cell_centres_px"].items()}
    return replace(shown, photo=replace(photo, pixels=covered), true_px=true)


def _other_printing(table: Table, rng: np.random.Generator) -> Shown:
    """A finished board, or a bare one, of the same lattice, colours and marks, with other art."""
    seed = int(rng.integers(1000))
    size = table.sheet.lattice.board_size_mm
    marks = [
        Mark(mark, corners, "board" if np.all((corners > 0) & (corners < size)) else "card")
        for mark, corners in table.marks.items()
    ]
    kit = sheet_kit(table.sheet, seed, marks)
    bare = bool(rng.uniform() < 0.3)
    grid = empty_grid(kit.board) if bare else kit.final_board(kit.open_box(), rng)
    stand = replace(Conditions(), tilt_deg=float(rng.uniform(0, 30)), supersample=1.0)
    photo = load_photo(take_photo(kit.board, grid, stand, rng).jpeg(), f"print {seed}")
    return Shown("other print", photo.name, photo)


def _any(records: Iterator[dict[str, Any]], rng: np.random.Generator) -> dict[str, Any]:
    every = list(records)
    return every[rng.integers(len(every))]


def _repainted(photo: Photo, picture: Pixels) -> Photo:
    """The photo with a picture over all of it."""
    height, width = photo.pixels.shape[:2]
    whole = cv2.resize(picture, (width, height), interpolation=cv2.INTER_CUBIC)
    return replace(photo, pixels=np.asarray(whole, np.uint8))


def _real(name: str) -> Pixels:
    picture = np.asarray(getattr(skimage.data, name)())
    return np.ascontiguousarray(
        picture[..., :3] if picture.ndim == 3 else np.dstack([picture] * 3), np.uint8
    )


def _marked(photo: Photo, corners_px: NDArray[np.float64], table: Table) -> Pixels:
    """The photo with this table's marks drawn round the board in it, as if it were this table's."""
    pixels = photo.pixels.copy()
    lay = homography_between(np.array(board_corners_mm(table.sheet.lattice)), corners_px, 2.0)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for number, mark_mm in table.marks.items():
        card = np.full((120, 120), 235, np.uint8)
        card[15:105, 15:105] = cv2.aruco.generateImageMarker(dictionary, number, 90)
        drawn = np.array([[15, 15], [105, 15], [105, 105], [15, 105]]) - 0.5
        to_mm = cv2.getPerspectiveTransform(
            drawn.astype(np.float32), np.asarray(mark_mm, np.float32)
        )
        size = pixels.shape[1::-1]
        ink = cv2.warpPerspective(card, lay @ to_mm, size)
        there = cv2.warpPerspective(np.full_like(card, 255), lay @ to_mm, size) > 127
        pixels[there] = ink[there][:, None]
    return pixels


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
