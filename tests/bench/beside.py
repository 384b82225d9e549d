"""What a key strip beside the board is worth to a reading: each photo read with it and without.

    python -m samples.practice FOLDER --seed 91 --tables 10 --games 20 --strip
    python tests/bench/beside.py FOLDER [--wrong]

Printed for same and moved light: photos, strips whose pieces fit their names or not, cells asked,
questions until settled, silently wrong cells before and after them. ``--wrong`` also exchanges two
pieces on each strip, the likest and two at random, and lays one on a strange name.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from calibrate.types import Table
from scoring.errors import TallyglassError
from tests.bench.folders import calibrated, games_of, photo_in, tables_in
from tests.bench.yardsticks import ask_until_settled
from vision.colour import lab_from_linear
from vision.fit import learned_of
from vision.middles import middles
from vision.read import cells_of, read_photo
from vision.spares import beside, spares_in
from vision.types import Reading, Spares


def main() -> int:
    """Read every photo and print the sums."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("photos", type=Path)
    parser.add_argument("--wrong", action="store_true")
    asked = parser.parse_args()
    sums: dict[tuple[str, str], Counter[str]] = {}
    rng = np.random.default_rng(0)
    for folder in tables_in(asked.photos):
        try:
            table = calibrated(folder)
        except TallyglassError as error:
            print(f"{folder.name}: not calibrated: {error}", file=sys.stderr)
            continue
        for record in games_of(folder):
            for kind, reading in readings_of(folder, record, table, rng, wrong=asked.wrong):
                count = sums.setdefault((record["split"], kind), Counter())
                count += judged(reading, record, table)
                sums[record["split"], kind] = count
    print(
        "light        strip         photos   fit   unfit | cells  asked questions | silent, settled"
    )
    for (split, kind), c in sums.items():
        print(
            f"{split:12} {kind:14}{c['photos']:6}{c['fit']:6}{c['unfit']:8} |"
            f"{c['cells']:6}{c['asked']:7}{c['questions']:10} |{c['silent']:7}"
            f"{c['silent settled']:9}"
        )
    return 0


def readings_of(
    folder: Path, record: dict[str, Any], table: Table, rng: np.random.Generator, *, wrong: bool
) -> Iterator[tuple[str, Reading]]:
    """The photo's reading without its strip and with it, and with wrong strips if wanted."""
    photo = photo_in(folder, record)
    try:
        reading = read_photo(photo, table)
    except TallyglassError as error:
        print(f"{folder.name} {record['file']}: not read: {error}", file=sys.stderr)
        return
    spares = spares_in(photo, table, reading.registration)
    if spares is None:
        print(f"{folder.name} {record['file']}: no strip is seen", file=sys.stderr)
        return
    yield "none", with_spares(reading, None, table)
    yield "right", with_spares(reading, spares, table)
    if wrong and len(spares.names) > 1:
        one, other = rng.choice(len(spares.names), 2, replace=False)
        yield "two exchanged", with_spares(reading, exchanged(spares, one, other), table)
        yield (
            "like exchanged",
            with_spares(reading, exchanged(spares, *likest(spares, table)), table),
        )
        strange = spares.colours.copy()
        strange[one] = strange[other]
        yield "one strange", with_spares(reading, replace(spares, colours=strange), table)


def with_spares(reading: Reading, spares: Spares | None, table: Table) -> Reading:
    """The same photo with these spare pieces beside the board, as far as they fit, or none."""
    evidence = beside(replace(reading.evidence, spares=None), spares, table)
    return replace(reading, evidence=evidence, cells=cells_of(evidence, table, {}))


def exchanged(spares: Spares, one: int, other: int) -> Spares:
    """Two pieces, each on the other's name."""
    colours = spares.colours.copy()
    colours[[one, other]] = colours[[other, one]]
    return replace(spares, colours=colours)


def likest(spares: Spares, table: Table) -> tuple[int, int]:
    """The two pieces whose colours are nearest to each other in CIELAB."""
    learned = learned_of(table.palette)
    lab = lab_from_linear(middles(learned)[0])[[learned.names.index(n) for n in spares.names]]
    apart = np.linalg.norm(lab[:, None] - lab, axis=2) + np.diag(np.full(len(lab), np.inf))
    one, other = np.unravel_index(apart.argmin(), apart.shape)
    return int(one), int(other)


def judged(reading: Reading, record: dict[str, Any], table: Table) -> Counter[str]:
    """What a reading asks and gets wrong."""
    told = [(read, record["cells"][cell]) for cell, read in reading.cells.items()]
    asked = ask_until_settled(reading, table, record["cells"], record.get("under_cover", {}))
    spares = reading.evidence.spares
    return Counter(
        {
            "photos": 1,
            "fit": int(spares is not None and spares.mistake is None),
            "unfit": int(spares is not None and spares.mistake is not None),
            "cells": len(told),
            "asked": sum(read.doubt is not None for read, _ in told),
            "silent": sum(read.doubt is None and read.colour != truth for read, truth in told),
            "questions": asked.questions,
            "silent settled": asked.silent,
        }
    )


if __name__ == "__main__":
    sys.exit(main())
