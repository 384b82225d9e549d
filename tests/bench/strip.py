"""Key strips beside made boards: found, each slot's colour right, empty slots left out?

    python tests/bench/strip.py [--tables 8] [--photos 3] [--seed 700] [--difficulty 0.2 0.5 0.8]

Every table is one invented kit with its strip. Half of the photos have a piece on every slot, half
on all but three. A slot's colour is held against the photo's own pixels at the true place of its
piece.
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

from samples.conditions import Conditions
from samples.kits import Kit, invent_kit, with_strip
from samples.photographer import Shot, take_photo
from samples.strip import Strip
from scoring.sheet import GameSheet
from scoring.types import Colour
from vision.colour import lab_from_linear, linear_from_srgb
from vision.decode import load_photo
from vision.key_strip import CORE, StripPlan, read_strip, strip_plan

LEFT_EMPTY = 3


def main() -> int:
    """Print the counts of each difficulty; the exit code is 1 where an empty slot gave a colour."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tables", type=int, default=8)
    parser.add_argument("--photos", type=int, default=3)
    parser.add_argument("--seed", type=int, default=700)
    parser.add_argument("--difficulty", type=float, nargs="+", default=[0.2, 0.5, 0.8])
    asked = parser.parse_args()
    called = 0
    for difficulty in asked.difficulty:
        told: Counter[str] = Counter()
        apart: list[float] = []
        for seed in range(asked.seed, asked.seed + asked.tables):
            photograph(seed, difficulty, asked.photos, told, apart)
        called += told["empty slots called a piece"]
        print(f"difficulty {difficulty:g}: {dict(told)}")
        print("  off the true colour, CIELAB: "
              f"median {np.median(apart):.1f}, 99 % {np.percentile(apart, 99):.1f}, "
              f"worst {max(apart):.1f}", flush=True)  # fmt: skip
    return int(called > 0)


def photograph(
    seed: int, difficulty: float, photos: int, told: Counter[str], apart: list[float]
) -> None:
    """Photograph one table's strip, full and with slots empty, and count how it was read."""
    kit = with_strip(invent_kit(seed), seed)
    assert kit.strip is not None
    rng = np.random.default_rng([seed, 0x57])
    plan = strip_plan(sheet_of(kit))
    for _ in range(photos):
        empty = {str(name) for name in rng.choice(kit.colours, LEFT_EMPTY, replace=False)}
        for without in (set[str](), empty):
            light = Conditions.random(rng, difficulty)
            grid = kit.final_board(kit.open_box(), rng)
            shot = take_photo(kit.board, grid, light, rng, leaving(kit.strip, without))
            judge(shot, plan, kit.board.piece_mm, told, apart)


def judge(
    shot: Shot, plan: StripPlan, piece_mm: float, told: Counter[str], apart: list[float]
) -> None:
    """Count what the strip in one photo gave."""
    photo = load_photo(shot.jpeg(), "strip.jpg")
    names, colours, _ = read_strip(photo, plan, piece_mm)
    told["photos"] += 1
    if not names:
        told["photos without a strip found"] += 1
        return
    laid = set(shot.truth.strip_px)
    told["pieces"] += len(laid)
    told["pieces left out"] += len(laid - set(names))
    told["empty slots"] += len(plan.slots_mm) - len(laid)
    told["empty slots called a piece"] += len(set(names) - laid)
    y, x = np.mgrid[: photo.pixels.shape[0], : photo.pixels.shape[1]]
    for name, colour in zip(names, colours, strict=True):
        if name in laid:
            at = shot.truth.strip_px[name]
            core = np.hypot(x - at[0], y - at[1]) < CORE * slot_px(shot, plan)
            true = np.median(linear_from_srgb(photo.pixels[core]), axis=0)
            apart.append(float(np.linalg.norm(lab_from_linear(true) - lab_from_linear(colour))))


def slot_px(shot: Shot, plan: StripPlan) -> float:
    """Width of a slot in the photo, about, from the true places of two pieces."""
    one, other = list(shot.truth.strip_px)[:2]
    seen = np.subtract(shot.truth.strip_px[one], shot.truth.strip_px[other])
    printed = np.subtract(plan.slots_mm[one], plan.slots_mm[other])
    return float(plan.slot_mm * np.linalg.norm(seen) / np.linalg.norm(printed))


def leaving(strip: Strip, names: set[str]) -> Strip:
    """The strip with no piece on these slots."""
    slots = {name: at for name, at in strip.slots_mm.items() if name not in names}
    return replace(strip, slots_mm=slots)


def sheet_of(kit: Kit) -> GameSheet:
    """A sheet of the kit's board and colours, without rules."""
    return GameSheet(
        name=kit.board.title,
        lattice=kit.lattice,
        colours=tuple(Colour(name, chr(65 + i)) for i, name in enumerate(kit.colours)),
        cards=(),
        rules=(),
        piece_height_mm=kit.board.piece_mm,
        marks={mark.id: mark.corners_mm for mark in kit.board.marks},
    )


if __name__ == "__main__":
    sys.exit(main())
