"""A trial of a new table on one arranged board."""

from __future__ import annotations

from pathlib import Path

from samples.penmarrow import load_penmarrow
from scoring.grid import format_grid, parse_grid
from scoring.types import Grid
from tests.desk.practice import PRACTICE, Run


def test_a_trial_says_how_the_table_did(tallyglass: Run, table: Path) -> None:
    ended = tallyglass("trial", table, PRACTICE / "layout-2.jpg", "--plan", PRACTICE / "layout.txt")

    assert ended.code == 0, ended.err
    assert ended.out.startswith("layout-2.jpg: ")
    assert "0 read wrongly without asking." in ended.out
    assert "Nothing to change" not in ended.out, "two colours lie close together"


def test_a_cell_read_otherwise_than_arranged_is_named(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    sheet = load_penmarrow()
    plan = dict(parse_grid((PRACTICE / "layout.txt").read_text(), sheet))
    moss = next(cell for cell, colour in plan.items() if colour == "moss")
    (tmp_path / "plan.txt").write_text(format_grid(Grid(plan | {moss: "plum"}), sheet))
    ended = tallyglass("trial", table, PRACTICE / "layout-2.jpg", "--plan", tmp_path / "plan.txt")

    assert ended.code == 1
    assert f"- {moss}: plum lies there, but moss was read." in ended.out
    assert "do not trust this table" in ended.out
