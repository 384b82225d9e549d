"""Loose pieces counted from rendered spreads: exact, flagged, or silently wrong?

    python tests/bench/packing.py [--spreads 30] [--seed 1] [--list]

Spreads of 40 to 120 pieces of the three sheets on six kinds of table-top, about every second piece
touching another. A spread is *exact* if nothing is flagged and every count is right; *flagged* if
something is, and all that was counted without a flag is right; *refused* if the photo is sent back
with the reason. Anything else is *silently wrong*: a piece counted as another colour or where none
lies, or one that is neither counted nor flagged.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.types import Palette
from samples.cards import piece_paints
from samples.conditions import Conditions
from samples.finish import encode
from samples.spread import SpreadShot, take_spread
from samples.tabletop import TABLETOPS
from scoring.sheet import GameSheet, load_sheet
from tests.bench.cards import NAMES, SHEETS, table_palette
from vision.decode import load_photo
from vision.errors import PhotoError
from vision.outlines import piece_of
from vision.spread import Spread, find_pieces
from vision.spread_colours import ToldPiece, colours_like_table, tell_pieces

NEAR = 0.4
"""A piece is where it should be within this share of its width."""


def main() -> int:
    """Print a line a spread and the shares; the exit code is 1 where one is silently wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--spreads", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="every spread")
    asked = parser.parse_args()
    sheets = [load_sheet(SHEETS / f"{name}.toml") for name in NAMES]
    palettes = [table_palette(sheet, asked.seed) for sheet in sheets]
    told: Counter[str] = Counter()
    for number in range(asked.spreads):
        which = number % len(sheets)
        light, shot = spread_shot(sheets[which], asked.seed, number)
        started = time.perf_counter()
        verdict, pieces = judged(sheets[which], palettes[which], light, shot)
        spent = time.perf_counter() - started
        told[verdict] += 1
        for what, count in pieces.items():
            told[what] += count
        if asked.list or verdict == "silently wrong":
            print(
                f"{number:3} {NAMES[which]:10} {light.tabletop:8} {len(shot.colours):3} pieces "
                f"{verdict:14} {dict(pieces)} {spent:.1f} s",
                flush=True,
            )
    shares = ("exact", "flagged", "refused", "silently wrong")
    print(", ".join(f"{told[share]} {share}" for share in shares))
    print(
        f"pieces: {told['right']} counted right, {told['in doubt']} in doubt, "
        f"{told['wrong']} wrong colour, {told['missed']} missed, {told['invented']} invented"
    )
    return int(told["silently wrong"] > 0)


def spread_shot(sheet: GameSheet, seed: int, number: int) -> tuple[Conditions, SpreadShot]:
    """One spread of this sheet's pieces, photographed from above on some table-top."""
    rng = np.random.default_rng([seed, number, 0x5B])
    light = replace(
        Conditions.random(rng, 0.25),
        tabletop=list(TABLETOPS)[number // 3 % len(TABLETOPS)],
        size_px=(1600, 1200),
        exif_orientation=1,
        tilt_deg=float(rng.uniform(0, 14)),
        turn_deg=float(rng.uniform(0, 360)),
        reach=0.85,
        exposure_ev=float(rng.uniform(-0.6, 0.1)),
        supersample=1.2,
    )
    paints = piece_paints(sheet, seed)
    pieces = [str(name) for name in rng.choice(list(paints), int(rng.integers(40, 121)))]
    outline = np.array(sheet.lattice.cells[0].polygon_mm)
    shot = take_spread(outline, sheet.piece_height_mm or 3.0, paints, pieces, light, rng)
    return light, shot


def judged(
    sheet: GameSheet, palette: Palette, light: Conditions, shot: SpreadShot
) -> tuple[str, Counter[str]]:
    """The verdict on one spread, and how its pieces fared."""
    photo = load_photo(encode(shot.pixels, light.jpeg_quality), "spread.jpg")
    try:
        spread = find_pieces(photo, piece_of(sheet.lattice.cells[0].polygon_mm))
    except PhotoError:
        return "refused", Counter()
    told = tell_pieces(spread, palette)
    hidden = colours_like_table(spread, told, palette)
    fared = how_pieces_fared(spread, told, shot, hidden)
    if fared["wrong"] or fared["missed"] or fared["invented"]:
        return "silently wrong", fared
    doubts = fared["in doubt"] + len(spread.unsettled) + len(hidden)
    return ("flagged" if doubts else "exact"), fared


def how_pieces_fared(
    spread: Spread, told: tuple[ToldPiece, ...], shot: SpreadShot, hidden: tuple[str, ...] = ()
) -> Counter[str]:
    """Pieces counted right, in doubt, of a wrong colour, missed, and invented; of the ``hidden``
    colours the person is told that pieces may lie unseen."""
    back = np.linalg.inv(spread.to_photo)
    spots = cv2.perspectiveTransform(np.array(shot.spots_px).reshape(-1, 1, 2), back).reshape(-1, 2)
    reach = NEAR * np.sqrt(cv2.contourArea(spread.pieces[0].outline_px.astype(np.float32)))
    fared: Counter[str] = Counter()
    seen = np.zeros(len(spots), bool)
    for one in told:
        off = np.linalg.norm(spots - one.piece.outline_px.mean(axis=0), axis=1)
        nearest = int(off.argmin())
        if off[nearest] > reach or seen[nearest]:
            fared["in doubt" if one.doubt else "invented"] += 1
            continue
        seen[nearest] = True
        right = one.candidates[:1] == (shot.colours[nearest],)
        fared["in doubt" if one.doubt else "right" if right else "wrong"] += 1
    for spot, colour in zip(spots[~seen], np.array(shot.colours)[~seen], strict=True):
        boxes = [(u.box_px.min(axis=0) - reach, u.box_px.max(axis=0) + reach)
                 for u in spread.unsettled]  # fmt: skip
        flagged = any((low < spot).all() and (spot < high).all() for low, high in boxes)
        fared["in doubt" if flagged or colour in hidden else "missed"] += 1
    return fared


if __name__ == "__main__":
    sys.exit(main())
