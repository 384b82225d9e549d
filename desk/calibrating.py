"""The command ``calibrate``: photos of known things -> a table, judged at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from calibrate.judge import judge
from calibrate.learn import calibrate
from calibrate.store import save_table
from calibrate.types import Table
from desk.given import GivenError, parse_corners
from desk.say import CAUTION, quietly, working
from scoring.grid import parse_grid
from scoring.sheet import load_sheet
from vision.decode import load_photo

SUFFIX = ".table"


def run_calibrate(
    sheet: Path,
    empty: Sequence[Path],
    layout: Sequence[Path],
    plan: Path,
    out: Path,
    corners: Sequence[str] | None,
) -> None:
    """Learn, judge, save, and say so."""
    if out.suffix != SUFFIX:
        raise GivenError(str(out), f"a table's name ends in {SUFFIX}.")
    table = learn_table(out.stem, sheet, empty, layout, plan, corners)
    out.parent.mkdir(parents=True, exist_ok=True)
    save_table(table, out)
    print(f"{out}: the table for {table.sheet.name} is learned.")
    print(*judgement(table), sep="\n")
    quietly(CAUTION)


def learn_table(
    name: str,
    sheet_file: Path,
    empty: Sequence[Path],
    layout: Sequence[Path],
    plan: Path,
    corners: Sequence[str] | None = None,
) -> Table:
    """The table that these photos teach."""
    sheet = load_sheet(sheet_file)
    grid = parse_grid(plan.read_text("utf-8"), sheet, str(plan))
    with working("Learning the table"):
        return calibrate(
            name,
            sheet,
            [load_photo(path.read_bytes(), path.name) for path in empty],
            [(load_photo(path.read_bytes(), path.name), grid) for path in layout],
            parse_corners(corners) if corners else None,
        )


def judgement(table: Table) -> list[str]:
    """What this light can and cannot tell apart, in a line each."""
    return [f"- {advice}" for advice in judge(table)] or [
        "- This light tells all colours of the game apart."
    ]
