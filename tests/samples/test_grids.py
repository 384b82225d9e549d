from collections import Counter

import numpy as np
import pytest

from samples.grids import full_box, known_layout, random_board
from samples.kits import NEAR_PAIRS, PAINTS, invent_kit
from samples.penmarrow import load_penmarrow
from scoring.legality import check_supply, floating_pieces
from scoring.sheet import GameSheet
from scoring.types import EMPTY


@pytest.fixture(scope="module")
def sheet() -> GameSheet:
    return load_penmarrow()


@pytest.mark.parametrize("seed", range(8))
def test_three_finished_roofs_hang_together_and_share_one_box(sheet: GameSheet, seed: int) -> None:
    rng, box = np.random.default_rng(seed), full_box(sheet)
    grids = {str(gap): random_board(sheet.lattice, box, rng, pieces=45 - gap) for gap in range(3)}

    assert [floating_pieces(sheet, grid) for grid in grids.values()] == [(), (), ()]
    assert check_supply(sheet, grids) == []
    assert [list(grid.values()).count(EMPTY) for grid in grids.values()] == [0, 1, 2]


def test_a_piece_laid_is_a_piece_out_of_the_box(sheet: GameSheet) -> None:
    box = full_box(sheet)
    before = sum(box.left.values())
    grid = random_board(sheet.lattice, box, np.random.default_rng(1), pieces=30)
    laid = Counter(grid.values())

    assert before - sum(box.left.values()) == 30
    assert all(box.left[c.name] == (c.supply or 0) - laid[c.name] for c in sheet.colours)


@pytest.mark.parametrize("seed", range(6))
def test_a_known_layout_is_legal_and_shows_every_colour_equally_often(
    sheet: GameSheet, seed: int
) -> None:
    names = [colour.name for colour in sheet.colours]
    layout = known_layout(sheet.lattice, names, np.random.default_rng(seed))
    counts = Counter(layout.values())

    assert floating_pieces(sheet, layout) == ()
    assert counts[EMPTY] >= 5
    assert max(counts[name] for name in names) - min(counts[name] for name in names) <= 1


@pytest.mark.parametrize("support", ["any", "all", "none"])
def test_every_support_rule_lets_a_layout_grow(sheet: GameSheet, support: str) -> None:
    layout = known_layout(
        sheet.lattice, ["slate", "rust"], np.random.default_rng(2), support=support
    )

    assert list(layout.values()).count(EMPTY) < 12


@pytest.mark.parametrize("seed", range(3))
def test_an_invented_kit_has_a_near_pair_and_a_board_of_its_own(seed: int) -> None:
    kit = invent_kit(seed)

    assert any(set(pair) <= set(kit.colours) for pair in NEAR_PAIRS)
    assert set(kit.board.paints) == set(kit.colours) <= set(PAINTS)
    assert 25 <= len(kit.lattice.cells) <= 60
    assert any(cell.anchor for cell in kit.lattice.cells)
