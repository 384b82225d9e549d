"""The accuracy run itself, on one small table made on the spot."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest

from samples.bench_folder import Plan, write_bench_folder
from samples.kits import invent_kit
from tests.bench import accuracy

SEED = 2
"""Half-offset courses of 27 cells, marks in the corners; rust and plum, plum and berry are near."""

GAMES = 2
SILENT = 0.02
"""Share of cells that may be wrong on this table without a question."""


def run(*words: str) -> tuple[int, str, str]:
    """The command's exit code, and what it printed and complained."""
    out, err = io.StringIO(), io.StringIO()
    with (
        pytest.MonkeyPatch.context() as patch,
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        patch.setattr(sys, "argv", ["accuracy", *words])
        code = accuracy.main()
    return code, out.getvalue(), err.getvalue()


def measured(folder: Path, *options: str) -> dict[str, Any]:
    """The one row of figures for the one table and split in a folder."""
    code, out, err = run(str(folder), "--json", *options)
    (row,) = json.loads(out)

    assert (code, err) == (0, "")
    return row


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("bench")
    plan = Plan(empties=1, layouts=1, games=GAMES, moved_games=0, difficulty=0.1, long_side_px=900)
    write_bench_folder(made / "made-up", invent_kit(SEED), SEED, plan)
    return made


@pytest.fixture(scope="module")
def honest(folder: Path) -> dict[str, Any]:
    return measured(folder, "--picture", str(folder / "curves.png"))


def test_on_kind_photos_all_boards_are_found_and_next_to_nothing_is_silently_wrong(
    folder: Path, honest: dict[str, Any]
) -> None:
    cells = len(json.loads((folder / "made-up" / "table.json").read_text())["cells"])

    assert (honest["table"], honest["split"]) == ("made-up", "same-light")
    assert (honest["boards"], honest["found"], honest["wrongly_found"]) == (GAMES, GAMES, 0)
    assert honest["cells"] == GAMES * cells
    assert honest["silent"] <= SILENT * honest["cells"]
    assert honest["asked"] <= 0.3 * honest["cells"]
    assert honest["centre_error_worst"] < 0.08
    assert honest["times_decode"] > 0


def test_the_bench_tells_what_a_plain_classifier_and_a_truthful_person_make_of_it(
    folder: Path, honest: dict[str, Any]
) -> None:
    """Answers only settle doubts, and never mend in silence what was certain."""
    assert 0 < honest["plain_wrong"] < 0.5 * honest["cells"]
    assert 0 < honest["questions"] <= honest["asked"]
    assert honest["silent"] <= honest["silent_settled"] <= SILENT * honest["cells"]
    assert (folder / "curves.png").read_bytes().startswith(b"\x89PNG")


def test_the_bench_blames_a_reading_that_differs_from_the_truth(
    folder: Path, honest: dict[str, Any], tmp_path: Path
) -> None:
    """The truth of one photo is made to lie about ten cells; the bench must hold it against us."""
    lies = _with_a_lie(folder / "made-up", tmp_path / "made-up")
    row = measured(tmp_path)

    assert lies == 10
    assert honest["silent"] + 6 <= row["silent"] <= honest["silent"] + lies
    assert row["boards_silent"] == honest["boards_silent"] + 1


def _with_a_lie(folder: Path, copy: Path) -> int:
    """Copy the table with ten pieces of its last photo misnamed; returns how many."""
    copy.mkdir(parents=True)
    (copy / "photos").symlink_to(folder / "photos")
    plain = (folder / "table.json").read_text()
    (copy / "table.json").write_text(plain)
    records: list[dict[str, Any]] = json.loads((folder / "photos.json").read_text())
    first = json.loads(plain)["colours"][0]
    last = records[-1]["cells"]
    lied = [cell for cell, colour in last.items() if colour not in (first, "covered")][:10]
    records[-1]["cells"] = {**last, **dict.fromkeys(lied, first)}
    (copy / "photos.json").write_text(json.dumps(records))
    return len(lied)


def test_a_folder_without_tables_is_said_to_be_one(tmp_path: Path) -> None:
    assert run(str(tmp_path)) == (2, "", f"{tmp_path}: no folder with a table.json in it\n")
