"""What margin keeps a promise on photos never seen, and how sure that is.

    python tests/bench/certify.py FOLDER...

Each FOLDER holds tables as ``samples.practice`` writes them (several tables, lights and cameras).
Every game photo is read; its loss at a margin is the share of its cells that would be accepted and
wrong. Printed: the loosest margin that keeps the mean loss of a new photo at most alpha
(Conformal Risk Control), with the share of cells asked there; the exact bound on photos with any
silent error as the program decides today; and the range of margins when each table in turn is
left out, with the loss on that table. Margins are added to what the program asks of a cell
already: 0 is today's.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

from scoring.errors import TallyglassError
from tests.bench.folders import calibrated, games_of, photo_in
from vision.promise import risk_controlled, upper_bound
from vision.read import belief_of, read_photo
from vision.sureness import sureness

Array = NDArray[np.float64]

ALPHAS = (0.05, 0.02, 0.01, 0.005, 0.002)
MARGINS = np.concatenate([np.arange(-5, 30, 0.25), [np.inf]])
"""Added margins, the loosest first; the last asks about every cell."""


@dataclass(frozen=True, eq=False)
class Certified:
    """One photo: its table, and per margin (T,) the shares of cells accepted and wrong, and asked.

    ``split``: whether its light is the calibration's; ``silent`` of its ``cells`` are certain and
    wrong as the program decides today.
    """

    table: str
    split: str
    cells: int
    loss: Array
    asked: Array
    silent: int


def photo_losses(sure: Array, wrong: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Loss and share asked (T,) of one photo whose cells are ``sure`` beyond today's margin."""
    accepted = sure[None, :] > MARGINS[:, None]
    return (accepted & wrong).mean(axis=1), 1 - accepted.mean(axis=1)


def certified(folder: Path) -> Iterator[Certified]:
    """Every game photo of one table; photos whose board is not found accept nothing."""
    table = calibrated(folder)
    for record in games_of(folder):
        try:
            reading = read_photo(photo_in(folder, record), table)
        except TallyglassError as error:
            print(f"{folder.name}: {error}", file=sys.stderr)
            continue
        sure = sureness(belief_of(reading.evidence, table, {}), reading.cells)
        wrong = np.array([r.colour != record["cells"][c] for c, r in reading.cells.items()])
        certain = np.array([r.doubt is None for r in reading.cells.values()])
        losses = photo_losses(sure, wrong)
        silent = int((certain & wrong).sum())
        yield Certified(folder.name, record["split"], len(wrong), *losses, silent)


def report(photos: list[Certified]) -> Iterator[str]:
    """The lines to print."""
    losses = np.array([photo.loss for photo in photos])
    asked = np.array([photo.asked for photo in photos]).mean(axis=0)
    bad = sum(photo.silent > 0 for photo in photos)
    today = int(np.argmin(abs(MARGINS)))
    yield f"{len(photos)} photos of {len({photo.table for photo in photos})} tables"
    yield (
        f"today: {100 * losses[:, today].mean():.3f} % of cells accepted and wrong, "
        f"{100 * asked[today]:.1f} % asked; photos with a silent error: {bad}, "
        f"at most {100 * upper_bound(bad, len(photos)):.1f} % (95 %, one-sided, exact)"
    )
    for split in sorted({photo.split for photo in photos}):
        yield _split_words(split, [photo for photo in photos if photo.split == split])
    for alpha in ALPHAS:
        yield f"at most {100 * alpha:g} % of cells: {_margin_words(photos, losses, asked, alpha)}"


def _split_words(split: str, photos: list[Certified]) -> str:
    silent, cells = sum(photo.silent for photo in photos), sum(photo.cells for photo in photos)
    bad = sum(photo.silent > 0 for photo in photos)
    return (
        f"{split}: {silent} of {cells} cells silently wrong, on {bad} of {len(photos)} photos, "
        f"at most {100 * upper_bound(bad, len(photos)):.1f} % of photos (95 %, one-sided, exact)"
    )


def _margin_words(photos: list[Certified], losses: Array, asked: Array, alpha: float) -> str:
    chosen = risk_controlled(losses, alpha)
    if chosen is None:
        return f"not to be had with {len(photos)} photos"
    names = np.array([photo.table for photo in photos])
    without = [(risk_controlled(losses[names != name], alpha), name) for name in sorted(set(names))]
    known = [(i, losses[names == name, i].mean()) for i, name in without if i is not None]
    words = f"margin {MARGINS[chosen]:+.2f}, {100 * asked[chosen]:.1f} % asked"
    if not known:
        return words
    margins, left_out = MARGINS[[i for i, _ in known]], [loss for _, loss in known]
    return (
        f"{words}; one table left out: {margins.min():+.2f} to {margins.max():+.2f}, "
        f"worst loss there {100 * max(left_out):.2f} %"
    )


def main() -> int:
    """Read the folders named on the command line and print what can be promised."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+", metavar="FOLDER")
    asked = parser.parse_args()
    tables = sorted(path.parent for folder in asked.folders for path in folder.rglob("table.json"))
    photos: list[Certified] = []
    for folder in tables:
        try:
            photos += certified(folder)
        except TallyglassError as error:
            print(f"{folder.name}: not calibrated: {error}", file=sys.stderr)
    if not photos:
        print("No photo could be read in these folders.", file=sys.stderr)
        return 2
    print(*report(photos), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
