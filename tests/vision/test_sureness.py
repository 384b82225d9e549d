"""Ranking cells by how sure they are agrees with what is doubted."""

from __future__ import annotations

import numpy as np

from calibrate.types import Table
from vision.read import belief_of, read_photo
from vision.sureness import sureness
from vision.types import Photo, Reading


def test_a_cell_is_certain_if_and_only_if_it_is_surer_than_asked(
    penmarrow_table: Table, penmarrow_games: dict[str, Photo]
) -> None:
    sure, certain = [], []
    for photo in penmarrow_games.values():
        reading: Reading = read_photo(photo, penmarrow_table)
        sure += list(sureness(belief_of(reading.evidence, penmarrow_table, {}), reading.cells))
        certain += [read.doubt is None for read in reading.cells.values()]

    assert 0 < sum(certain) < len(certain)
    np.testing.assert_array_equal(np.array(sure) > 0, certain)
