"""What many tests share: the game that comes with the program, and the table learned of it."""

from __future__ import annotations

import json
import warnings
from types import ModuleType
from typing import Any

import pytest

from calibrate.learn import calibrate
from calibrate.types import Table
from samples.penmarrow import PHOTOS, load_penmarrow
from scoring.grid import parse_grid
from scoring.sheet import GameSheet
from scoring.types import Grid
from tests.vision.practice import committed
from vision.types import Photo


@pytest.fixture(scope="session")
def colour_science() -> ModuleType:
    """The library that many checks are made against; on loading it warns that it cannot plot."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


@pytest.fixture(scope="session")
def penmarrow() -> GameSheet:
    return load_penmarrow()


@pytest.fixture(scope="session")
def penmarrow_layout(penmarrow: GameSheet) -> Grid:
    return parse_grid((PHOTOS / "layout.txt").read_text("utf-8"), penmarrow)


@pytest.fixture(scope="session")
def penmarrow_truth() -> dict[str, dict[str, Any]]:
    """What each committed photo shows, by file name (samples/photos/penmarrow/README.md)."""
    return json.loads((PHOTOS / "truth.json").read_text("utf-8"))["photos"]


@pytest.fixture(scope="session")
def penmarrow_games() -> dict[str, Photo]:
    """The three final boards, by file name."""
    names = [f"game/{player}.jpg" for player in ("isla", "joss", "wren")]
    return {name: committed(name) for name in names}


@pytest.fixture(scope="session")
def penmarrow_table(penmarrow: GameSheet, penmarrow_layout: Grid) -> Table:
    """The table as a host learns it: two photos of the empty board, two of the known layout."""
    return calibrate(
        "penmarrow",
        penmarrow,
        [committed("empty-1.jpg"), committed("empty-2.jpg")],
        [(committed(f"layout-{i}.jpg"), penmarrow_layout) for i in (1, 2)],
    )
