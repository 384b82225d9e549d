"""How often the program is wrong, and how often it asks, on a folder of photos with exact truth.

    python tests/bench/accuracy.py PHOTOS_DIR [--json] [--tables NAME ...] [--list-wrong]
                                   [--picture CURVES.png]

Every subfolder with a ``table.json`` is one table: it is calibrated from its ``empty`` and
``layout`` photos and then reads its ``game`` photos, with the program's own functions. The first
calibration photo of a table without marks is given its four corners, as a person would tap them
(the truth, moved by up to four px); no other photo is. Printed per table and split: boards, found,
wrongly found (a cell centre off by over a quarter of the pitch), error of the cell centres in
shares of the pitch, on how many boards all centres lie within the interval claimed (95 %), cells
silently wrong, asked, boards silently wrong, 95 % one-sided
Clopper-Pearson bounds (Clopper and Pearson, Biometrika 26, 1934), and the time of reading as a
multiple of decoding the same file in the same process. Beside them: what a plain k-NN on mean sRGB
gets wrong on the same registered cells, and how many questions a truthful person is asked until no
doubt is left (every answer tells about the other doubts), with what is silently wrong then. With
``--picture``, risk-coverage curves of each split.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.types import Table
from scoring.errors import TallyglassError
from tests.bench.curves import Judged, draw_curves
from tests.bench.folders import (
    calibrated,
    games_of,
    labels_of,
    local_pitch,
    photo_file,
    photo_in,
    records_of,
    tables_in,
    worst_off_mm,
)
from tests.bench.yardsticks import ask_until_settled, core_colours, plain_classifier
from vision.decode import load_photo
from vision.promise import upper_bound
from vision.read import belief_of, read_photo
from vision.sureness import sureness
from vision.types import Photo, Reading

SUMMED = (
    "boards",
    "found",
    "wrongly_found",
    "within_claim",
    "cells",
    "asked",
    "silent",
    "boards_silent",
    "plain_wrong",
    "questions",
    "silent_settled",
)


@dataclass
class Count:
    """What happened on the boards of one table and split."""

    boards: int = 0
    found: int = 0
    wrongly_found: int = 0
    within_claim: int = 0
    cells: int = 0
    asked: int = 0
    silent: int = 0
    boards_silent: int = 0
    plain_wrong: int = 0
    questions: int = 0
    silent_settled: int = 0
    offsets: list[float] = field(default_factory=list)
    ratios: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    judged: Judged = field(default_factory=Judged)


def main() -> int:
    """Run over the folder named on the command line and print what was measured."""
    options = _options()
    folders = tables_in(options.photos)
    if options.tables:
        folders = [f for f in folders if f.name in options.tables]
    if not folders:
        print(f"{options.photos}: no folder with a table.json in it", file=sys.stderr)
        return 2
    counts: dict[tuple[str, str], Count] = {}
    for folder in folders:
        try:
            _run_table(folder, counts)
        except TallyglassError as error:
            print(f"{folder.name}: not calibrated: {error}", file=sys.stderr)
            _count_unread(folder, counts)
    (_print_json if options.json else _print_table)(counts)
    if options.picture:
        draw_curves(_judged_by_split(counts), options.picture)
    if options.list_wrong:
        for (table, split), count in counts.items():
            for line in count.wrong:
                print(f"{table} {split}: {line}")
    return 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", type=Path)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--tables", nargs="*", default=[])
    parser.add_argument("--list-wrong", action="store_true")
    parser.add_argument("--picture", type=Path, help="where to draw the risk-coverage curves (PNG)")
    return parser.parse_args()


def _run_table(folder: Path, counts: dict[tuple[str, str], Count]) -> None:
    table = calibrated(folder)
    plain = plain_classifier(table, _known(folder))
    for record in games_of(folder):
        count = counts.setdefault((folder.name, record["split"]), Count())
        count.boards += 1
        photo = photo_in(folder, record)
        started = time.perf_counter()
        try:
            reading = read_photo(photo, table)
        except TallyglassError as error:
            count.wrong.append(f"not found: {error}")
            continue
        spent = time.perf_counter() - started
        count.ratios.append(
            (spent + _decode_seconds(folder, record, photo)) / _plain_decode(folder, record)
        )
        _compare(reading, record, folder, count)
        _judge(reading, record, table, count)
        named = plain.predict(core_colours(photo, reading.registration, table))
        truths = [record["cells"][cell] for cell in reading.cells]
        count.plain_wrong += int((named != np.array(truths)).sum())


def _known(folder: Path) -> Iterator[tuple[Photo, dict[str, str]]]:
    """The calibration photos and what lies in their cells."""
    known = (r for r in records_of(folder) if r["role"] in ("empty", "layout"))
    return ((photo_in(folder, r), labels_of(r)) for r in known)


def _judge(reading: Reading, record: dict[str, Any], table: Table, count: Count) -> None:
    """Note how sure every cell was, and how many questions settle the board."""
    sure = sureness(belief_of(reading.evidence, table, {}), reading.cells)
    count.judged.sure += [float(s) for s in sure]
    for cell, read in reading.cells.items():
        count.judged.wrong.append(read.colour != record["cells"][cell])
        count.judged.accepted.append(read.doubt is None)
    asked = ask_until_settled(reading, table, record["cells"], record.get("under_cover", {}))
    count.questions += asked.questions
    count.silent_settled += asked.silent


def _count_unread(folder: Path, counts: dict[tuple[str, str], Count]) -> None:
    for record in games_of(folder):
        counts.setdefault((folder.name, record["split"]), Count()).boards += 1


def _plain_decode(folder: Path, record: dict[str, Any]) -> float:
    """Seconds, median of five, that OpenCV takes to decode the file in full."""
    data = np.frombuffer(photo_file(folder, record).read_bytes(), np.uint8)
    return _median_seconds(lambda: cv2.imdecode(data, cv2.IMREAD_COLOR))


def _decode_seconds(folder: Path, record: dict[str, Any], photo: Photo) -> float:
    data = photo_file(folder, record).read_bytes()
    return _median_seconds(lambda: load_photo(data, photo.name))


def _median_seconds(work: Any) -> float:
    times = []
    for _ in range(5):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return float(np.median(times))


def _compare(reading: Reading, record: dict[str, Any], folder: Path, count: Count) -> None:
    count.found += 1
    found = reading.registration
    places_mm, true = _centres(record, folder)
    offsets = np.linalg.norm(found.project(places_mm) - true, axis=1) / local_pitch(true)
    count.offsets += offsets.tolist()
    count.wrongly_found += int(offsets.max() > 0.25)
    count.within_claim += int(worst_off_mm(found, places_mm, true) <= found.error_mm)
    silent = 0
    for cell, truth in record["cells"].items():
        read = reading.cells[cell]
        count.cells += 1
        if read.doubt is not None:
            count.asked += 1
        elif read.colour != truth:
            silent += 1
            count.wrong.append(f"{record['file']} {cell}: read {read.colour}, is {truth}")
    count.silent += silent
    count.boards_silent += silent > 0


def _centres(record: dict[str, Any], folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """The centres of all cells, board mm (N, 2), and where they truly are in the photo, px."""
    centres = {
        c["id"]: c["centre_mm"] for c in json.loads((folder / "table.json").read_text())["cells"]
    }
    ids = sorted(record["cell_centres_px"])
    true = np.array([record["cell_centres_px"][i] for i in ids], float)
    return np.array([centres[i] for i in ids], float), true


def _rows(counts: dict[tuple[str, str], Count]) -> Iterable[dict[str, Any]]:
    for (table, split), c in counts.items():
        yield {
            "table": table,
            "split": split,
            "boards": c.boards,
            "found": c.found,
            "wrongly_found": c.wrongly_found,
            "within_claim": c.within_claim,
            "centre_error_median": float(np.median(c.offsets)) if c.offsets else None,
            "centre_error_worst": float(np.max(c.offsets)) if c.offsets else None,
            "cells": c.cells,
            "silent": c.silent,
            "silent_upper_95": upper_bound(c.silent, c.cells),
            "asked": c.asked,
            "boards_silent": c.boards_silent,
            "boards_silent_upper_95": upper_bound(c.boards_silent, c.found),
            "times_decode": float(np.median(c.ratios)) if c.ratios else None,
            "plain_wrong": c.plain_wrong,
            "questions": c.questions,
            "silent_settled": c.silent_settled,
        }


def _print_json(counts: dict[tuple[str, str], Count]) -> None:
    print(json.dumps(list(_rows(counts)), indent=1))


def _print_table(counts: dict[tuple[str, str], Count]) -> None:
    print(
        "table            split        found  wrong | centre med/worst %, within claim"
        " | cells silent (<95%)    asked  | boards silent (<95%) | x decode | plain k-NN"
        " | questions, then silent"
    )
    for r in [*_rows(counts), *_sums(counts)]:
        cells = max(r["cells"], 1)
        centre = (
            f"{100 * r['centre_error_median']:6.2f} {100 * r['centre_error_worst']:6.2f}"
            if r["centre_error_median"] is not None
            else "     -      -"
        )
        print(
            f"{r['table']:16} {r['split']:12} {r['found']:3}/{r['boards']:<3}"
            f"{r['wrongly_found']:4}  | {centre} {r['within_claim']:10}/{r['found']:<3}    "
            f" | {r['cells']:5} {r['silent']:3}"
            f" {100 * r['silent'] / cells:5.2f}%"
            f" ({100 * r['silent_upper_95']:5.2f}%) {100 * r['asked'] / cells:5.1f}% |"
            f" {r['boards_silent']:2} ({100 * r['boards_silent_upper_95']:5.1f}%)"
            f"          | {r['times_decode'] or float('nan'):5.1f}"
            f"    | {100 * r['plain_wrong'] / cells:5.1f}%"
            f"     | {100 * r['questions'] / cells:5.1f}% {r['silent_settled']:4}"
        )


def _judged_by_split(counts: dict[tuple[str, str], Count]) -> dict[str, Judged]:
    splits: dict[str, Judged] = {}
    for (_, split), c in counts.items():
        whole = splits.setdefault(split, Judged())
        whole.sure += c.judged.sure
        whole.wrong += c.judged.wrong
        whole.accepted += c.judged.accepted
        whole.plain_wrong += c.plain_wrong
    return {split: judged for split, judged in splits.items() if judged.sure}


def _sums(counts: dict[tuple[str, str], Count]) -> Iterable[dict[str, Any]]:
    totals: dict[tuple[str, str], Count] = {}
    for (_, split), c in counts.items():
        t = totals.setdefault(("all", split), Count())
        for name in SUMMED:
            setattr(t, name, getattr(t, name) + getattr(c, name))
        t.offsets += c.offsets
        t.ratios += c.ratios
    return _rows(totals)


if __name__ == "__main__":
    sys.exit(main())
