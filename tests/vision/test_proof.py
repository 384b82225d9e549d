"""What proves a registration: it must hold where the board is, and nowhere else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibrate.types import Table
from scoring.lattice import cell_centres_mm
from vision.find import find_board
from vision.proof import is_proven, prove
from vision.types import Photo, Registration
from vision.view import view_of

GAMES = ("game/isla.jpg", "game/joss.jpg", "game/wren.jpg")


@pytest.mark.parametrize("towards", range(6))
@pytest.mark.parametrize("name", GAMES)
def test_a_registration_one_cell_off_is_not_proven(
    name: str, towards: int, penmarrow_table: Table, penmarrow_games: dict[str, Photo]
) -> None:
    photo, table = penmarrow_games[name], penmarrow_table
    lattice = table.sheet.lattice
    right, view = _by_marks(photo, table), view_of(photo)
    centres = dict(
        zip((c.id for c in lattice.cells), np.array(cell_centres_mm(lattice)), strict=True)
    )
    step = np.eye(3)
    step[:2, 2] = centres[lattice.neighbours["D4"][towards]] - centres["D4"]
    shifted = replace(right, homography=right.homography @ step)

    assert is_proven(prove(view, right, lattice, table.artwork))
    assert not is_proven(prove(view, shifted, lattice, table.artwork))


@pytest.mark.parametrize("name", GAMES)
def test_a_board_read_upside_down_or_mirrored_is_not_proven(
    name: str, penmarrow_table: Table, penmarrow_games: dict[str, Photo]
) -> None:
    photo, table = penmarrow_games[name], penmarrow_table
    right, view = _by_marks(photo, table), view_of(photo)
    width, height = table.sheet.lattice.board_size_mm
    upside_down = np.array([[-1, 0, width], [0, -1, height], [0, 0, 1.0]])
    mirrored = np.array([[-1, 0, width], [0, 1, 0], [0, 0, 1.0]])

    for motion in (upside_down, mirrored):
        wrong = replace(right, homography=right.homography @ motion)
        assert not is_proven(prove(view, wrong, table.sheet.lattice, table.artwork))


def _by_marks(photo: Photo, table: Table) -> Registration:
    """The practice photo's registration, found once for all tests."""
    key = photo.sha256
    if key not in _FOUND:
        _FOUND[key] = find_board(photo, table.sheet.lattice, table.artwork, table.marks)
    return _FOUND[key]


_FOUND: dict[str, Registration] = {}
