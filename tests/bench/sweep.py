"""How far a photo may go before its board is no longer found: one condition at a time.

    python tests/bench/sweep.py [--tables 4] [--seed 60] [--axes tilt fill ...]

Invented tables (art, lattice, colours and corner marks or none, all from the seed) are calibrated
from a photo of the empty board, given by its four corners as a person taps them (up to 4 px off)
where it has no marks, and one of a known layout. Then one condition after the other is changed
and a finished board is photographed on a table top of another kind each time. Printed per value:
photos, found, wrongly found (a cell centre off by over a quarter of the pitch), and the error of
the cells' centres in shares of the pitch (median, worst); at last, on how many boards all centres
lie within the interval claimed (95 %), and how wide that is. The exit code is 1 where any was
wrong.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.learn import calibrate
from calibrate.types import Table
from samples.conditions import Conditions, HandShadow
from samples.kits import Kit, invent_kit
from samples.photographer import Shot, empty_grid, take_photo
from samples.tabletop import TABLETOPS
from scoring.lattice import cell_centres_mm
from scoring.types import Grid, Lattice
from tests.bench.folders import TAP_PX, local_pitch, worst_off_mm
from tests.vision.practice import sheet_of
from vision.decode import load_photo
from vision.errors import BoardNotFound
from vision.find import find_board
from vision.types import Photo

WRONG = 0.25

STAND = Conditions(size_px=(1600, 1200), tilt_deg=8.0, turn_deg=5.0, supersample=1.0)

Changes = dict[str, Any]
AXES: dict[str, dict[str, Changes]] = {
    "tilt": {f"{deg} deg": {"tilt_deg": float(deg)} for deg in (0, 10, 20, 30, 40, 50)},
    "fill": {f"{share:.0%}": {"fill": share} for share in (0.15, 0.3, 0.6, 0.85, 0.95)},
    "turn": {f"{deg} deg": {"turn_deg": float(deg)} for deg in (45, 90, 135, 180, 270)},
    "exif": {
        str(way): {"size_px": (1200, 1600), "exif_orientation": way, "turn_deg": 2.0}
        for way in (3, 6, 8)
    },
    "megapixels": {str(mp): {"grown": (mp * 1e6 / (1600 * 1200)) ** 0.5} for mp in (1, 3, 12, 50)},
    "table top": {name: {"tabletop": name} for name in TABLETOPS},
    "loose": {
        f"{count} pieces": {"loose": count, "dice": count // 6, "reach": 0.65}
        for count in (0, 6, 12)
    },
    "hands": {
        "shadow": {"shadows": (HandShadow(depth=0.6),)},
        "deep shadow": {"shadows": (HandShadow(depth=0.85, half_width_mm=60.0),)},
        "two fingers": {"fingers": 2},
    },
    "blur": {f"{px} px": {"blur_px": px} for px in (1.0, 2.0, 3.0)},
    "exposure": {f"{ev} EV": {"exposure_ev": ev} for ev in (-2.5, -1.5, 1.0)},
    "lens": {f"k1 {k1}": {"k1": k1} for k1 in (-0.08, -0.04, 0.04)},
}


@dataclass(frozen=True, eq=False)
class Bench:
    """A calibrated table, and the kit that its photos show."""

    kit: Kit
    table: Table


@dataclass
class Tally:
    """What came of the photos of one value: counts, the errors of all cells found, and for each
    board found the worst error of a centre along x or y and the one claimed, mm."""

    photos: int = 0
    found: int = 0
    wrong: int = 0
    errors: list[float] = field(default_factory=list)
    refusals: list[str] = field(default_factory=list)
    claims: list[tuple[float, float]] = field(default_factory=list)


def main() -> int:
    """Print a line per value; 1 where a board was wrongly found."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--tables", type=int, default=4)
    parser.add_argument("--seed", type=int, default=60)
    parser.add_argument("--axes", nargs="*", choices=list(AXES), default=list(AXES))
    options = parser.parse_args()
    benches = [bench_of(options.seed + number) for number in range(options.tables)]
    wrong, claims = 0, []
    for axis in options.axes:
        for name, tally in swept(benches, axis):
            wrong += tally.wrong
            claims += tally.claims
            print(f"{axis:11} {name:14} {line_of(tally)}", flush=True)
    inside = sum(off <= claimed for off, claimed in claims)
    widths = np.array([claimed for _, claimed in claims])
    print(f"all centres within the claimed interval on {inside} of {len(claims)} boards")
    print(f"claimed: median {np.median(widths):.2f} mm, widest {widths.max():.2f} mm")
    return int(wrong > 0)


def line_of(tally: Tally) -> str:
    """The figures of one value."""
    words = f"{tally.photos:3} photos {tally.found:3} found {tally.wrong:2} wrongly"
    if tally.errors:
        shares = 100 * np.array(tally.errors)
        words += f"  median {np.median(shares):4.1f} % worst {shares.max():4.1f} %"
    return "  ".join([words, *sorted(set(tally.refusals))])


def bench_of(seed: int) -> Bench:
    """An invented table, calibrated from two photos."""
    return calibrated_bench(invent_kit(seed), seed)


def calibrated_bench(kit: Kit, seed: int) -> Bench:
    """The table of a kit, calibrated from two photos."""
    rng = np.random.default_rng([seed, 0x53])
    board = kit.board
    sheet = sheet_of(board, kit.lattice)
    layout = kit.layout(rng)
    empty = take_photo(board, empty_grid(board), replace(STAND, tilt_deg=4.0, k1=0.015), rng)
    laid = take_photo(board, layout, STAND, rng)
    taps = np.array(empty.truth.board_corners_px) + rng.uniform(-TAP_PX, TAP_PX, (4, 2))
    # Finding is measured here, not telling colours: near pairs may not spoil the plan.
    table = calibrate(
        f"table {seed}",
        sheet,
        [load_photo(empty.jpeg(), "empty.jpg")],
        [(load_photo(laid.jpeg(), "layout.jpg"), Grid(layout))],
        None if sheet.marks else taps,
        trust_plan=True,
    )
    return Bench(kit, table)


def swept(benches: list[Bench], axis: str) -> Iterator[tuple[str, Tally]]:
    """Each value of one axis with what came of it, over all tables."""
    for number, (name, changes) in enumerate(AXES[axis].items()):
        tally = Tally()
        for at, bench in enumerate(benches):
            add_photo(tally, bench, changes, np.random.default_rng([at, number, 0x77]))
        yield name, tally


def add_photo(tally: Tally, bench: Bench, changes: Changes, rng: np.random.Generator) -> None:
    """Photograph a finished board under ``changes``, look for it, and count what came of it."""
    shot, photo, grown = photographed(bench, changes, rng)
    lattice, table = bench.kit.lattice, bench.table
    tally.photos += 1
    try:
        found = find_board(photo, lattice, table.artwork, table.marks)
    except BoardNotFound as error:
        tally.refusals.append(error.reason)
        return
    true = np.array([shot.truth.cell_centres_px[cell.id] for cell in lattice.cells])
    true = (true + 0.5) * grown - 0.5
    places = np.array(cell_centres_mm(lattice))
    off = np.linalg.norm(found.project(places) - true, axis=1)
    shares = off / local_pitch(true)
    tally.found += 1
    tally.wrong += bool((shares > WRONG).any())
    tally.errors += shares.tolist()
    tally.claims.append((worst_off_mm(found, places, true), found.error_mm))


def photographed(
    bench: Bench, changes: Changes, rng: np.random.Generator
) -> tuple[Shot, Photo, float]:
    """A photo of a finished board, through its file, and how much larger it is than the shot."""
    changes = dict(changes)
    grown = changes.pop("grown", 1.0)
    if "fill" in changes:
        changes |= _filling(bench.kit.lattice, changes.pop("fill"))
    kit, name = bench.kit, str(rng.choice(sorted(TABLETOPS)))
    top: Changes = {"tabletop": name, "tabletop_seed": int(rng.integers(900))}
    stand = replace(STAND, **(top | changes))
    shot = take_photo(kit.board, kit.final_board(kit.open_box(), rng), stand, rng)
    if grown == 1.0:
        return shot, load_photo(shot.jpeg(), "sweep.jpg"), 1.0
    size = tuple(round(side * grown) for side in shot.pixels.shape[1::-1])
    enlarged = cv2.resize(shot.pixels, size, interpolation=cv2.INTER_LINEAR)
    data = cv2.imencode(".jpg", enlarged[..., ::-1])[1].tobytes()
    return shot, load_photo(data, "sweep.jpg"), grown


def _filling(lattice: Lattice, share: float) -> Changes:
    """The stand from which a board fills this share of a picture of its own shape."""
    width, height = lattice.board_size_mm
    long_px = round((1600 * 1200 * max(width, height) / min(width, height)) ** 0.5)
    short_px = round(long_px * min(width, height) / max(width, height))
    size = (long_px, short_px) if width >= height else (short_px, long_px)
    return {"size_px": size, "reach": share**0.5, "tilt_deg": 0.5, "turn_deg": 0.0}


if __name__ == "__main__":
    sys.exit(main())
