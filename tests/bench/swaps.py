"""How many swapped pieces calibration names, and how many it said that it could not check.

    python tests/bench/swaps.py [--tables 8] [--swaps 60] [--photos 3] [--seed 500]

Every table is invented, with a pair of near colours, and photographed in an invented light: the
empty board once, one known layout ``--photos`` times. Then two cells of different content are
swapped in the plan, again and again. A swap that is not named must stand among the limits that the
program told of the right plan; one that is neither named nor told is the failure to look for.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.compose import Shot, compose_artwork
from calibrate.learn import seen_in
from calibrate.mistakes import Seen, find_mistakes, unnoticed_swaps
from samples.conditions import Conditions
from samples.kits import invent_kit
from samples.photographer import empty_grid, take_photo
from scoring.sheet import GameSheet, parse_sheet
from scoring.types import EMPTY
from vision.decode import load_photo
from vision.errors import BoardNotFound
from vision.find import find_board, from_corners


def main() -> int:
    """Print a line a table; the exit code is 1 where a swap went unnoticed and untold."""
    wanted = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for option, usual in (("tables", 8), ("swaps", 60), ("photos", 3), ("seed", 500)):
        wanted.add_argument(f"--{option}", type=int, default=usual)
    given = wanted.parse_args()
    total: Counter[str] = Counter()
    for number in range(given.tables):
        sheet, seen = photographed(given.seed + number, given.photos)
        counts = tried(seen, sheet, np.random.default_rng(number), given.swaps)
        total += counts
        print(f"table {number}: {in_words(counts)}")
    print(f"all: {in_words(total)}")
    return int(total["neither named nor told"] > 0)


def in_words(counts: Counter[str]) -> str:
    """Counts in a line."""
    return ", ".join(f"{count} {what}" for what, count in sorted(counts.items()))


def photographed(seed: int, photos: int) -> tuple[GameSheet, list[Seen]]:
    """A table's sheet, and what the photos of its layout show."""
    kit = invent_kit(seed)
    rng = np.random.default_rng([seed, 1])
    light = replace(Conditions.random(rng, 0.5), dice=0, fingers=0, size_px=(1200, 900))
    layout = kit.layout(rng)
    sheet = parse_sheet(sheet_text(kit))
    bare = take_photo(kit.board, empty_grid(kit.board), light, rng)
    photo = load_photo(bare.jpeg(), "empty.jpg")
    first = from_corners(photo, sheet.lattice, np.array(bare.truth.board_corners_px))
    nothing = Shot(photo, first, (EMPTY,) * len(sheet.lattice.cells))
    artwork = compose_artwork([nothing], sheet.lattice)
    labels = tuple(layout[cell.id] for cell in sheet.lattice.cells)
    shots = []
    for turn in range(photos):
        stand = replace(light, tilt_deg=6.0 + 6 * turn, turn_deg=9.0 * turn - 8)
        snapped = take_photo(kit.board, layout, stand, rng)
        photo = load_photo(snapped.jpeg(), f"layout-{turn}.jpg")
        try:
            place = find_board(photo, sheet.lattice, artwork, {})
        except BoardNotFound:
            place = from_corners(photo, sheet.lattice, np.array(snapped.truth.board_corners_px))
        shots.append(Shot(photo, place, labels))
    return sheet, seen_in([nothing], shots, sheet)


def sheet_text(kit) -> str:
    """A sheet of the kit's board, drawn cell by cell."""
    width, height = kit.board.size_mm
    lines = ['name = "swaps"', "[board]", 'kind = "drawn"', f"size_mm = [{width}, {height}]"]
    lines += [f"piece_height_mm = {kit.board.piece_mm}", 'support = "none"', "cells = ["]
    for cell in kit.lattice.cells:
        points = ", ".join(f"[{x:.3f}, {y:.3f}]" for x, y in cell.polygon_mm)
        lines.append(f'{{ id = "{cell.id}", polygon_mm = [{points}] }},')
    lines.append("]")
    for number, colour in enumerate(kit.colours):
        lines += ["[[colours]]", f'name = "{colour}"', f'letter = "{chr(65 + number)}"']
    return "\n".join([*lines, "[[rules]]", 'kind = "groups"', "each = 1", ""])


def tried(seen: list[Seen], sheet: GameSheet, rng: np.random.Generator, swaps: int) -> Counter[str]:
    """What became of so many random swaps."""
    labels = seen[0].labels
    ids = [cell.id for cell in sheet.lattice.cells]
    limits = [words.split() for words in unnoticed_swaps(seen, sheet.lattice)]
    told = [{word.strip(",") for word in words} for words in limits]
    counts: Counter[str] = Counter()
    counts["right plans accused"] = int(bool(find_mistakes(seen, sheet.lattice)))
    counts["limits told"] = len(limits)
    while sum(counts.values()) - counts["right plans accused"] - counts["limits told"] < swaps:
        i, j = rng.choice(len(ids), 2, replace=False)
        if labels[i] == labels[j]:
            continue
        wrong = labels.copy()
        wrong[[i, j]] = labels[[j, i]]
        said = " ".join(find_mistakes([replace(s, labels=wrong) for s in seen], sheet.lattice))
        both = {ids[i], ids[j], str(labels[i]), str(labels[j])}
        if ids[i] in said and ids[j] in said:
            counts["named"] += 1
        elif said:
            counts["found, one cell named"] += 1
        elif any(both <= words for words in told):
            counts["unnoticed, but told before"] += 1
        else:
            counts["neither named nor told"] += 1
            print("   missed", sorted(both))
    return counts


if __name__ == "__main__":
    sys.exit(main())
