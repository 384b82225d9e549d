"""Tables are learned from photos of known things, or refused with what to do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibrate.errors import CalibrationError
from calibrate.learn import calibrate
from calibrate.store import table_bytes
from calibrate.types import Table
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Grid
from tests.vision.practice import committed, final_board, photo_of, practice
from vision.errors import BoardNotFound
from vision.read import read_photo
from vision.types import Photo, Reading


def certain_and_wrong(reading: Reading, truth: dict[str, str]) -> list[str]:
    return [
        cell
        for cell, read in reading.cells.items()
        if read.doubt is None and read.colour != truth[cell]
    ]


@pytest.fixture(scope="module")
def from_a_layout(penmarrow: GameSheet, penmarrow_layout: Grid) -> Table:
    """Learned from one photo of the known layout, as of a board that is never empty."""
    return calibrate("never empty", penmarrow, [], [(committed("layout-1.jpg"), penmarrow_layout)])


def test_a_table_knows_its_name_sheet_and_marks(
    penmarrow: GameSheet, penmarrow_table: Table
) -> None:
    assert penmarrow_table.name == "penmarrow"
    assert penmarrow_table.sheet is penmarrow
    assert sorted(penmarrow_table.marks) == [4, 5, 6, 7]


def test_every_piece_of_the_layout_becomes_a_sample_of_its_colour(
    penmarrow_table: Table, penmarrow_layout: Grid
) -> None:
    pieces = sorted(c for c in penmarrow_layout.values() if c != EMPTY)

    assert sorted(penmarrow_table.palette.colours) == sorted(pieces * 2)
    assert np.isfinite(penmarrow_table.palette.samples).all()
    assert (penmarrow_table.palette.samples > 0).all()


def test_every_cell_was_seen_empty_and_the_whole_artwork_is_known(penmarrow_table: Table) -> None:
    artwork = penmarrow_table.artwork

    assert np.isfinite(penmarrow_table.palette.empty).all()
    assert artwork.known.all()
    assert artwork.pixels.shape[:2] == artwork.known.shape
    width_mm, height_mm = penmarrow_table.sheet.lattice.board_size_mm
    assert artwork.pixels.shape[1] / artwork.px_per_mm == pytest.approx(width_mm, abs=0.2)
    assert artwork.pixels.shape[0] / artwork.px_per_mm == pytest.approx(height_mm, abs=0.2)


def test_artwork_places_and_pixels_are_each_others_inverse(penmarrow_table: Table) -> None:
    places = np.array([[0.0, 0.0], [12.5, 140.0]])
    artwork = penmarrow_table.artwork

    np.testing.assert_allclose(artwork.to_mm(artwork.to_px(places)), places)


def test_the_layout_it_was_learned_from_is_read_without_an_error(
    penmarrow_table: Table, penmarrow_layout: Grid
) -> None:
    reading = read_photo(committed("layout-2.jpg"), penmarrow_table)

    assert certain_and_wrong(reading, dict(penmarrow_layout)) == []


def test_an_empty_board_is_read_as_empty(penmarrow_table: Table) -> None:
    reading = read_photo(committed("empty-2.jpg"), penmarrow_table)

    assert {read.colour for read in reading.cells.values()} == {EMPTY}


def test_a_layout_without_a_colour_is_refused_naming_it(
    penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    without = {c: "slate" if n in ("plum", "copper") else n for c, n in penmarrow_layout.items()}
    with pytest.raises(CalibrationError) as refused:
        calibrate("poor", penmarrow, [], [(committed("layout-1.jpg"), Grid(without))])

    assert str(refused.value) == (
        "The known layout shows no plum, copper. Lay at least three pieces of every colour, "
        "apart from each other, and take its photos again."
    )


def test_without_any_layout_there_is_no_table(penmarrow: GameSheet) -> None:
    with pytest.raises(CalibrationError, match=r"^No photo of a known layout was given; .*\.$"):
        calibrate("bare", penmarrow, [committed("empty-1.jpg")], [])


def test_a_board_never_seen_empty_is_found_and_read(
    from_a_layout: Table, penmarrow_layout: Grid, penmarrow_games: dict[str, Photo]
) -> None:
    """The artwork under the pieces stays unknown, and so does what an empty cell there is like."""
    ids = [cell.id for cell in from_a_layout.sheet.lattice.cells]
    seen = [cell for cell, row in zip(ids, from_a_layout.palette.empty, strict=True)
            if np.isfinite(row).all()]  # fmt: skip
    reading = read_photo(penmarrow_games["game/wren.jpg"], from_a_layout)

    assert seen == [cell for cell in ids if penmarrow_layout[cell] == EMPTY]
    assert 0.3 < from_a_layout.artwork.known.mean() < 0.95
    assert reading.registration.method == "marks"
    assert list(reading.cells) == ids


def test_a_table_learned_from_a_layout_alone_hardly_errs(
    from_a_layout: Table, penmarrow_truth: dict[str, dict], penmarrow_games: dict[str, Photo]
) -> None:
    name = "game/wren.jpg"
    reading = read_photo(penmarrow_games[name], from_a_layout)

    assert len(certain_and_wrong(reading, penmarrow_truth[name]["labels"])) <= 1


def test_the_same_photos_teach_the_same_table(
    penmarrow: GameSheet, penmarrow_layout: Grid, from_a_layout: Table
) -> None:
    layout = (committed("layout-1.jpg"), penmarrow_layout)
    again = calibrate("never empty", penmarrow, [], [layout])

    assert table_bytes(again) == table_bytes(from_a_layout)


def test_a_first_photo_without_marks_or_corners_asks_for_them() -> None:
    made = practice("square")
    photo = photo_of(final_board("square", 0), "first.jpg")
    with pytest.raises(BoardNotFound) as refused:
        calibrate("square", made.sheet, [], [(photo, made.layout)])

    assert str(refused.value) == (
        "first.jpg: the first photo of a new table needs to be told where the board is. "
        "Give the board's four corners (--corners), or print corner marks."
    )


def test_a_layout_photo_of_another_board_is_refused_by_name(
    penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    stranger = photo_of(final_board("square", 0), "stranger.jpg")
    with pytest.raises(BoardNotFound, match=r"^stranger\.jpg: no board of this table"):
        calibrate("mixed up", penmarrow, [committed("empty-1.jpg")], [(stranger, penmarrow_layout)])


def test_marks_that_the_sheet_declares_but_the_print_lacks_are_no_help(
    penmarrow: GameSheet, penmarrow_layout: Grid
) -> None:
    other_ids = {mark + 20: corners for mark, corners in penmarrow.marks.items()}
    wrong = replace(penmarrow, marks=other_ids)
    with pytest.raises(BoardNotFound, match="needs to be told where the board is"):
        calibrate("wrong marks", wrong, [], [(committed("layout-1.jpg"), penmarrow_layout)])
