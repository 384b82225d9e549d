"""How long each stage from bytes to tally takes, as multiples of decoding the same file in full.

    python tests/bench/speed.py [--rounds 9] [--json] [--cpu] [--picture OUT.png] [PHOTO ...]

Boards of the practice game are photographed at 4032 x 3024 (seeded), or the photos of that game
named on the command line are taken. In one process, interleaved, medians over the rounds, all
warm: the full decode by OpenCV (the unit, X); the program's own reduced decode; finding with the
printed marks, and without them by the artwork; levelling; sampling; looking for a key strip;
telling colours; tallying.
Sums: from bytes to a proven board, and from bytes to a tally. Peak memory is that of a process of
its own that decodes and finds once (Linux's VmHWM). ``--cpu`` takes processor time of all threads
instead of the clock, for a machine that does other work. The start of three commands is timed as
well, in processes of their own.

``--picture`` draws what the stages cost as the photo's size, the number of cells and the number of
colours change, one at a time, on boards and photos made for it (some minutes).
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.learn import calibrate
from calibrate.store import load_table, table_bytes
from calibrate.types import Table
from desk.archive import Archive
from samples.game import draw_game
from samples.kits import sheet_kit
from samples.penmarrow import PHOTOS, load_penmarrow
from samples.photographer import take_photo
from samples.practice import CAFE, PENMARROW_PRINT, game_conditions
from scoring.grid import parse_grid
from scoring.tally import tally
from vision.decode import load_photo
from vision.doubt import name_cells
from vision.find import find_board
from vision.level import level_artwork, level_picture, plan_of
from vision.light import light_over
from vision.read import belief_of
from vision.sample import sample_cells
from vision.spares import spares_in
from vision.types import CellReading, Evidence

SIZE_PX = (4032, 3024)


STARTS = ("--help", "read --help", "archive list")
"""Commands whose start is timed."""


def main() -> int:
    """Measure and print; with ``--once`` only decode and find, and print the memory it took."""
    options = _options()
    if options.once:
        return _once(load_table(options.once[0]), Path(options.once[1]).read_bytes())
    if options.picture:
        from tests.bench.cost import draw_costs

        draw_costs(options.picture)
        return 0
    table = penmarrow_table()
    files = {path.name: path.read_bytes() for path in options.photos} or photographed(2)
    rows = [
        measured(name, data, table, options.rounds, options.cpu) for name, data in files.items()
    ]
    with TemporaryDirectory() as folder:
        for row, data in zip(rows, files.values(), strict=True):
            row["memory_mb"] = memory_mb(Path(folder), table, data)
    starts = {words: round(start_s(words, options.rounds), 2) for words in STARTS}
    if options.json:
        print(json.dumps({"photos": rows, "starts_s": starts}, indent=1))
    else:
        for row in rows:
            print("  ".join(f"{key} {value}" for key, value in row.items()))
        print(*(f"tallyglass {words}: {seconds} s" for words, seconds in starts.items()), sep="\n")
    return 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", nargs="*", type=Path)
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--cpu", action="store_true")
    parser.add_argument("--picture", type=Path)
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


def stages(data: bytes, table: Table) -> dict[str, Callable[[], object]]:
    """Each stage of one photo's way, on what the stages before it gave. A photo keeps what has been
    made of it, so that each find has a fresh one, as a new photo is."""
    sheet, artwork = table.sheet, table.artwork
    photo = load_photo(data, "photo")
    place = find_board(photo, sheet.lattice, artwork, table.marks)
    plan = plan_of(sheet.lattice)

    def level() -> list[np.ndarray]:
        return [level_picture(photo, place, plan, z) for z in (0.0, sheet.piece_height_mm)]

    def sample() -> Evidence:
        known = level_artwork(artwork, plan)
        return Evidence(sample_cells(top, board, known, plan), light_over(board, artwork, plan))

    board, top = level()
    evidence = sample()
    ids = tuple(cell.id for cell in sheet.lattice.cells)

    def classify() -> dict[str, CellReading]:
        belief = belief_of(replace(evidence), table, {})  # a new one is not known yet
        return name_cells(belief, evidence.samples, ids, table.palette.unrest)

    grid = {cell: read.colour.replace("odd", "empty") for cell, read in classify().items()}
    grids = {"Ana": grid, "Ben": dict.fromkeys(ids, "empty")}
    return {
        "full_decode": lambda: cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR),
        "decode": lambda: load_photo(data, "photo"),
        "find_marks": lambda: find_board(replace(photo), sheet.lattice, artwork, table.marks),
        "find_artwork": lambda: find_board(replace(photo), sheet.lattice, artwork, {}),
        "level": level,
        "sample": sample,
        "strip": lambda: spares_in(photo, table, place),
        "classify": classify,
        "tally": lambda: tally(sheet, grids),
    }


def medians_s(work: Mapping[str, Callable[[], object]], rounds: int, cpu: bool) -> dict[str, float]:
    """Median seconds of each piece of work, taken in turn; a round before fills the caches."""
    clock = time.process_time if cpu else time.perf_counter
    seconds: dict[str, list[float]] = {stage: [] for stage in work}
    for number in range(rounds + 1):
        for stage, run in work.items():
            started = clock()
            run()
            if number:
                seconds[stage].append(clock() - started)
    return {stage: statistics.median(times) for stage, times in seconds.items()}


def measured(name: str, data: bytes, table: Table, rounds: int, cpu: bool) -> dict[str, object]:
    """Medians of one file: ms of the full decode, and each stage as a multiple of it."""
    took = medians_s(stages(data, table), rounds, cpu)
    full = took.pop("full_decode")
    times = {f"x_{stage}": round(seconds / full, 2) for stage, seconds in took.items()}
    after = sum(took[stage] for stage in ("level", "sample", "strip", "classify", "tally"))
    sums = {
        "x_proven_marks": took["decode"] + took["find_marks"],
        "x_proven_artwork": took["decode"] + took["find_artwork"],
        "x_tally_marks": took["decode"] + took["find_marks"] + after,
        "x_tally_artwork": took["decode"] + took["find_artwork"] + after,
    }
    return {
        "photo": name,
        "mb": round(len(data) / 1e6, 1),
        "full_decode_ms": round(1000 * full, 1),
        **times,
        **{key: round(seconds / full, 2) for key, seconds in sums.items()},
    }


def start_s(words: str, rounds: int) -> float:
    """Median seconds of a command in a process of its own, with an empty archive."""
    with TemporaryDirectory() as folder:
        place = ["--archive", str(Path(folder) / "kept")] if words.startswith("archive") else []
        if place:
            Archive(place[1])
        command = [sys.executable, "-m", "desk.start", *words.split(), *place]
        seconds = []
        for _ in range(rounds):
            started = time.perf_counter()
            subprocess.run(command, check=True, capture_output=True, cwd=sys.path[0])
            seconds.append(time.perf_counter() - started)
    return statistics.median(seconds)


def memory_mb(folder: Path, table: Table, data: bytes) -> float:
    """Peak memory of a process that loads the table, decodes the photo and finds the board."""
    (folder / "speed.table").write_bytes(table_bytes(table))
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
