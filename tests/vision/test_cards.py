"""Cards read from rendered photos: every cell right or asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibrate.types import Table
from samples.cards import card_board, invent_edition, piece_paints
from samples.conditions import Conditions
from samples.penmarrow import load_penmarrow
from samples.photographer import empty_grid, take_photo
from samples.practice import PENMARROW_PRINT
from scoring.sheet import load_sheet
from tests.bench.cards import SHEETS, PrintedCard, judged, printed_in
from tests.vision.practice import from_pixels
from vision.cell_shape import cell_shape
from vision.errors import BoardNotFound
from vision.find_cards import look_at_cards


def printed(sheet_name: str, card: int, turn_deg: float, edition: int = 0) -> PrintedCard:
    """One card of a sheet on a table, in middling conditions."""
    sheet = load_sheet(SHEETS / f"{sheet_name}.toml")
    chosen = [c for c in sheet.cards if c.pattern][card]
    look = invent_edition(sheet, piece_paints(sheet, PENMARROW_PRINT), edition)
    board = card_board(sheet, chosen, look, PENMARROW_PRINT)
    rng = np.random.default_rng([edition, 77])
    light = replace(
        Conditions.random(rng, 0.3), dice=0, fingers=0, size_px=(900, 900), turn_deg=turn_deg,
        supersample=1.0,
    )  # fmt: skip
    shot = take_photo(board, empty_grid(board), light, rng)
    return printed_in(chosen, board, shot)


@pytest.mark.parametrize(
    ("sheet_name", "card", "turn_deg"),
    [
        ("penmarrow", 0, 8.0),
        ("penmarrow", 2, 97.0),
        ("lanternfen", 2, -14.0),
        ("tarrowfold", 1, 180.0),
        ("tarrowfold", 0, 31.0),
    ],
)
def test_every_cell_of_a_card_is_right_or_asked(
    penmarrow_table: Table, sheet_name: str, card: int, turn_deg: float
) -> None:
    sheet = load_sheet(SHEETS / f"{sheet_name}.toml")
    # The other sheets' colours are none of this table's: all of their inks must then be asked.
    one = printed(sheet_name, card, turn_deg, card + 1)
    told = judged([one], sheet, penmarrow_table.palette, {})

    assert told["wrong"] == 0
    assert told["right"] + told["asked"] >= len(one.needs)
    assert told["card right"] == 1


def test_an_ink_that_was_named_is_known_on_the_next_card(penmarrow_table: Table) -> None:
    sheet, palette = load_penmarrow(), penmarrow_table.palette
    winds, gully = (printed("penmarrow", card, 5.0 * card) for card in (4, 2))
    named: dict[str, list] = {}
    alone = judged([gully], sheet, palette, {})
    judged([winds], sheet, palette, named)
    after = judged([gully], sheet, palette, named)

    assert set(named) >= {"moss", "slate"}
    assert alone["asked"] == 3
    assert (after["right"], after["wrong"]) == (3, 0)


def test_a_bare_table_is_no_card() -> None:
    rng = np.random.default_rng(5)
    bare = np.clip(rng.normal(120, 4, (480, 640, 3)), 0, 255).astype(np.uint8)

    with pytest.raises(BoardNotFound, match="no card with a pattern of this game's cells"):
        look_at_cards(from_pixels(bare), "square")


@pytest.mark.parametrize("like", ["square", "courses", "hex-pointy", "hex-flat", "diamond"])
def test_steps_of_a_lattice_are_found_from_its_places(like: str) -> None:
    shape = cell_shape(like, 0.8)
    steps = [(u, v) for u in range(-3, 4) for v in range(-3, 4)]
    if not shape.every_step:
        steps = [step for step in steps if sum(step) % 2 == 0]
    places = np.array(steps) * [shape.across[0], shape.down[1]]
    shaken = places + np.random.default_rng(1).uniform(-0.1, 0.1, places.shape)
    found, off = shape.nearest(shaken)

    assert [tuple(step) for step in found] == steps
    assert off.max() < 0.15
