"""How long finding a board takes, as multiples of decoding the same 12 MP JPEG in full.

    python tests/bench/speed.py [--rounds 9] [--json] [PHOTO ...]

Boards of the practice game are photographed at 4032 x 3024 (seeded), or the photos of that game
named on the command line are taken. In one process, interleaved, medians over the rounds: the full
decode by OpenCV (the unit, X), the program's own reduced decode, finding with the printed marks,
finding without them; "with decode" is the reduced decode and the finding together: the whole way
from bytes to a proven board, for which the limits are 1.2 X with marks and 4 X without. Sampling
and telling colours come on top and are not timed here (the accuracy run has them). Peak memory is
that of a process of its own that decodes and finds once (Linux's VmHWM). ``--cpu`` takes processor
time of all threads instead of the clock, for a machine that does other work.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.learn import calibrate
from calibrate.store import load_table, save_table
from calibrate.types import Table
from samples.game import draw_game
from samples.kits import sheet_kit
from samples.penmarrow import PHOTOS, load_penmarrow
from samples.photographer import take_photo
from samples.practice import CAFE, PENMARROW_PRINT, game_conditions
from scoring.grid import parse_grid
from vision.decode import load_photo
from vision.find import find_board

SIZE_PX = (4032, 3024)


def main() -> int:
    """Measure and print; with ``--once`` only decode and find, and print the memory it took."""
    options = _options()
    if options.once:
        return _once(load_table(options.once[0]), Path(options.once[1]).read_bytes())
    table = penmarrow_table()
    files = {path.name: path.read_bytes() for path in options.photos} or photographed(2)
    rows = [
        measured(name, data, table, options.rounds, options.cpu) for name, data in files.items()
    ]
    with TemporaryDirectory() as folder:
        for row, data in zip(rows, files.values(), strict=True):
            row["memory_mb"] = memory_mb(Path(folder), table, data)
    if options.json:
        print(json.dumps(rows, indent=1))
    else:
        for row in rows:
            print("  ".join(f"{key} {value}" for key, value in row.items()))
    return 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", nargs="*", type=Path)
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--cpu", action="store_true")
    parser.add_argument("--once", nargs=2, type=Path, help=argparse.SUPPRESS)
    return parser.parse_args()


def penmarrow_table() -> Table:
    """The practice table, learned from its committed photos."""
    sheet = load_penmarrow()
    layout = parse_grid((PHOTOS / "layout.txt").read_text("utf-8"), sheet)
    photos = {
        name: load_photo((PHOTOS / name).read_bytes(), name)
        for name in ("empty-1.jpg", "empty-2.jpg", "layout-1.jpg", "layout-2.jpg")
    }
    empty = [photos["empty-1.jpg"], photos["empty-2.jpg"]]
    laid = [(photos["layout-1.jpg"], layout), (photos["layout-2.jpg"], layout)]
    return calibrate("penmarrow", sheet, empty, laid)


def photographed(count: int) -> dict[str, bytes]:
    """JPEG files of final boards of the practice game, at the size of a phone's photos."""
    sheet, rng = load_penmarrow(), np.random.default_rng(5)
    kit = sheet_kit(sheet, PENMARROW_PRINT, None)
    players = [f"player-{number}" for number in range(count)]
    files = {}
    for number, (player, grid) in enumerate(draw_game(sheet, rng, players).grids.items()):
        light = game_conditions(CAFE, number, rng)
        light = replace(light, size_px=SIZE_PX, supersample=1.0, blur_px=1.5, jpeg_quality=92)
        light = replace(light, noise=0.02)
        files[f"{player}.jpg"] = take_photo(kit.board, grid, light, rng).jpeg()
    return files


def measured(name: str, data: bytes, table: Table, rounds: int, cpu: bool) -> dict[str, object]:
    """Medians of one file: ms of the full decode, and each stage as a multiple of it."""
    lattice, artwork = table.sheet.lattice, table.artwork
    coded, photo = np.frombuffer(data, np.uint8), load_photo(data, name)
    work: dict[str, Callable[[], object]] = {
        "full": lambda: cv2.imdecode(coded, cv2.IMREAD_COLOR),
        "reduced": lambda: load_photo(data, name),
        "marks": lambda: find_board(photo, lattice, artwork, table.marks),
        "artwork": lambda: find_board(photo, lattice, artwork, {}),
    }
    clock = time.process_time if cpu else time.perf_counter
    seconds: dict[str, list[float]] = {stage: [] for stage in work}
    for number in range(rounds + 1):
        for stage, run in work.items():
            started = clock()
            run()
            if number:  # the first round fills the caches that live from photo to photo
                seconds[stage].append(clock() - started)
    full, reduced, marks, found = (statistics.median(times) for times in seconds.values())
    return {
        "photo": name,
        "mb": round(len(data) / 1e6, 1),
        "pixels": "{} x {}".format(*photo.full_size_px),
        "full_decode_ms": round(1000 * full, 1),
        "x_reduced_decode": round(reduced / full, 2),
        "x_marks": round(marks / full, 2),
        "x_artwork": round(found / full, 2),
        "x_marks_with_decode": round((reduced + marks) / full, 2),
        "x_artwork_with_decode": round((reduced + found) / full, 2),
    }


def memory_mb(folder: Path, table: Table, data: bytes) -> float:
    """Peak memory of a process that loads the table, decodes the photo and finds the board."""
    save_table(table, folder / "speed.table")
    (folder / "photo.jpg").write_bytes(data)
    command = [sys.executable, __file__, "--once", str(folder / "speed.table")]
    done = subprocess.run(
        [*command, str(folder / "photo.jpg")], capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def _once(table: Table, data: bytes) -> int:
    photo = load_photo(data, "photo.jpg")
    find_board(photo, table.sheet.lattice, table.artwork, {})
    # Not ru_maxrss: a child starts with that of the process that started it.
    status = Path("/proc/self/status").read_text()
    (peak,) = (line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    print(int(peak) / 1024)
    return 0


if __name__ == "__main__":
    sys.exit(main())
