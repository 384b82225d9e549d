"""The command ``trial``: one arranged board, read by a new table; how it did, what to change."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from calibrate.judge import judge
from calibrate.store import load_table
from calibrate.types import Table
from desk.durable import write_whole
from desk.given import GivenError, parse_corners, text_of
from desk.photo_file import photo_in
from desk.rearranging import close_colours, rearranged
from desk.say import so_many
from desk.shelf import table_file
from scoring.grid import format_grid, parse_grid
from scoring.types import Grid
from vision.one_light import settle_together
from vision.read import read_photo
from vision.types import Reading

WRONG = 1
MANY_ASKED = 0.2
"""Share of cells asked from which the light is worth changing (by hand)."""


def run_trial(table: Path, photo: Path, plan: Path, corners: tuple[str, ...] | None) -> int:
    """Read the arranged board and judge the reading; the exit code is 1 where it was wrong."""
    known = load_table(table_file(table))
    truth = parse_grid(text_of(plan), known.sheet, str(plan))
    shown = photo_in(photo)
    alone = read_photo(shown, known, parse_corners(corners) if corners else None)
    (reading,) = settle_together([alone], [{}], known)
    print(*trial_words(reading, truth, known), sep="\n")
    return WRONG if silent_errors(reading, truth) else 0


def write_exchange(table: Path, layout: Path, plan: Path) -> None:
    """Write the plan of a trial's layout that comes of the known one, and say what to exchange."""
    if plan.exists():
        raise GivenError(str(plan), "exists already; choose another name or move it away.")
    known = load_table(table_file(table))
    laid = parse_grid(text_of(layout), known.sheet, str(layout))
    grid, moves = rearranged(known.sheet, laid, close_colours(known))
    write_whole(plan, format_grid(grid, known.sheet).encode())
    print(*(f"- {move.words()}" for move in moves), sep="\n")
    print(f"{plan}: what lies there then. Photograph the board, and give the photo with this plan.")


def silent_errors(reading: Reading, truth: Grid) -> list[str]:
    """Cells that were read wrongly without a doubt."""
    return [
        cell
        for cell, read in reading.cells.items()
        if read.doubt is None and read.colour != truth[cell]
    ]


def trial_words(reading: Reading, truth: Grid, table: Table) -> Iterator[str]:
    """How the reading did, and what to change."""
    cells = reading.cells
    wrong = silent_errors(reading, truth)
    asked = [cell for cell, read in cells.items() if read.doubt is not None]
    right = len(cells) - len(wrong) - len(asked)
    yield (
        f"{reading.photo}: {right} of {len(cells)} cells read right without asking, "
        f"{len(asked)} would be asked, {len(wrong)} read wrongly without asking."
    )
    for cell in wrong:
        yield f"- {cell}: {truth[cell]} lies there, but {cells[cell].colour} was read."
    if wrong:
        yield (
            "- Compare the plan with the board first. If the plan is right, do not trust this "
            "table: calibrate again in this very light, with two or three layout photos."
        )
    lost = [cell for cell in asked if truth[cell] not in cells[cell].candidates]
    if lost:
        yield f"- The true colour is not among those offered for {', '.join(lost)}."
    pairs = Counter(tuple(sorted(cells[cell].candidates[:2])) for cell in asked
                    if len(cells[cell].candidates) > 1)  # fmt: skip
    for (one, other), count in pairs.most_common(2):
        yield (
            f"- {one} and {other} were in doubt in {so_many(count, 'cell')}: lay more of both when "
            "calibrating, or use a whiter lamp."
        )
    if len(asked) > MANY_ASKED * len(cells):
        yield (
            "- Many questions: move the lamp so that nothing shines on the board, go nearer until "
            "the board fills the picture, and calibrate in the same light."
        )
    advice = judge(table)
    if not (wrong or asked or advice):
        yield "- Nothing to change."
    for words in advice:
        yield f"- {words}"
