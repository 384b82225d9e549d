"""The command ``calibrate``: photos of known things -> a table, judged at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibrate.errors import CalibrationError, MistakesFound
from calibrate.eyes import eyes_advice
from calibrate.judge import trust
from calibrate.learn import calibrate
from calibrate.store import table_bytes
from calibrate.types import Table
from desk.aside import move_aside
from desk.durable import write_whole
from desk.given import GivenError, parse_corners, text_of
from desk.photo_file import photo_in
from desk.say import CAUTION, quietly, working
from desk.shelf import SUFFIX, Shelf, checked_name, default_data_folder
from desk.types import PointsPx
from scoring.grid import parse_grid
from scoring.sheet import GameSheet, load_sheet
from scoring.types import Grid
from vision.promise import promise_words
from vision.types import Photo


@dataclass(frozen=True)
class KnownThings:
    """Files that show known things: the sheet, photos of the empty board and of a layout, its plan.

    ``corners`` are the board's in the first photo, as ``x,y`` words, where a person gave them;
    ``trust_plan``: a person has compared the plan with the pieces and says that it is right.
    """

    sheet: Path
    empty: Sequence[Path]
    layout: Sequence[Path]
    plan: Path
    corners: Sequence[str] | None = None
    trust_plan: bool = False


def run_calibrate(known: KnownThings, out: Path) -> None:
    """Learn, judge, save, and say so."""
    on_shelf = not out.suffix and len(out.parts) == 1
    if out.suffix != SUFFIX and not on_shelf:
        raise GivenError(str(out), f"a table's file ends in {SUFFIX}; a name has no folder.")
    table = learn_table(checked_name(out.stem), known)
    print(put_on_shelf(table) if on_shelf else put_in_file(table, out))
    print(*judgement(table), sep="\n")
    quietly(CAUTION)


def put_on_shelf(table: Table) -> str:
    """Add a table to the shelf; returns what to say of it."""
    one = Shelf(default_data_folder() / "tables").put(table)
    older = f" Version {one.number - 1} is kept; `table back` uses it again." * (one.number > 1)
    return f"{one.name}: the table for {one.game} is learned and on the shelf.{older}"


def put_in_file(table: Table, out: Path) -> str:
    """Write a table's file, an older one moved aside; returns what to say of it."""
    older = move_aside(out)
    write_whole(out, table_bytes(table))
    kept = f" The older one is kept as {older.name}." if older else ""
    return f"{out}: the table for {table.sheet.name} is learned.{kept}"


def learn_table(name: str, known: KnownThings) -> Table:
    """The table that these photos teach."""
    sheet = load_sheet(known.sheet)
    grid = parse_grid(text_of(known.plan), sheet, str(known.plan))
    corners_px = parse_corners(known.corners) if known.corners else None
    with working("Learning the table"):
        empty = [photo_in(path) for path in known.empty]
        layouts = [(photo_in(path), grid) for path in known.layout]
        return _calibrate(name, sheet, (empty, layouts), corners_px, known.trust_plan)


def _calibrate(
    name: str,
    sheet: GameSheet,
    photos: tuple[list[Photo], list[tuple[Photo, Grid]]],
    corners_px: PointsPx | None,
    trust_plan: bool,
) -> Table:
    try:
        return calibrate(name, sheet, *photos, corners_px, trust_plan=trust_plan)
    except MistakesFound as found:
        words = f"{found} If you have looked and the plan is right, say --trust-plan."
        raise CalibrationError(words) from found


def judgement(table: Table) -> list[str]:
    """What this light, and other eyes than usual, can and cannot tell apart, in a line each."""
    told = trust(table, figures=True) or ("This light tells all colours of the game apart.",)
    return [f"- {advice}" for advice in (*told, *eyes_advice(table), promise_words())]
