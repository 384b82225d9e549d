"""Cards laid beside each other: every one found, in order, each on its own lattice."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from samples.cards import card_board, invent_edition, piece_paints
from samples.conditions import Conditions
from samples.finish import encode
from samples.laid_cards import CardsShot, take_cards
from samples.penmarrow import load_penmarrow
from samples.practice import PENMARROW_PRINT
from samples.tabletop import tabletop
from tests.vision.practice import from_pixels
from vision.cards import CardLook
from vision.cell_shape import cell_shape
from vision.decode import load_photo
from vision.errors import BoardNotFound
from vision.find_cards import look_at_cards
from vision.geometry import reading_order
from vision.inks import tell_inks

SHEET = load_penmarrow()
COURSE = 0.8
NEEDS = [[spot.needs for spot in card.pattern] for card in SHEET.cards]


@pytest.fixture(scope="module")
def shot() -> CardsShot:
    """Penmarrow's six cards on a checked cloth, in middling light."""
    paints = piece_paints(SHEET, PENMARROW_PRINT)
    edition = invent_edition(SHEET, paints, 3)
    boards = [card_board(SHEET, card, edition, PENMARROW_PRINT) for card in SHEET.cards]
    light = Conditions.random(np.random.default_rng(4), 0.4)
    light = replace(light, size_px=(1600, 1200), loose=0, dice=0, fingers=0, turn_deg=-4.0)
    light = replace(light, tabletop="checked", supersample=1.0)
    return take_cards(boards, 3, light, np.random.default_rng(4))


@pytest.fixture(scope="module")
def looks(shot: CardsShot) -> tuple[CardLook, ...]:
    photo = load_photo(encode(shot.pixels, 90), "cards.jpg")
    return look_at_cards(photo, SHEET.lattice.like, COURSE)


def test_all_cards_are_found_row_by_row(shot: CardsShot, looks: tuple[CardLook, ...]) -> None:
    assert len(looks) == len(SHEET.cards)
    for look, corners, needs in zip(looks, shot.corners_px, NEEDS, strict=True):
        # The card's rim or the frame printed in it: the middle is the same.
        assert np.linalg.norm(look.corners_px.mean(axis=0) - np.mean(corners, axis=0)) < 12
        assert [cell.sure for cell in look.cells] == [True] * len(needs)


def test_an_ink_or_a_sign_on_several_cards_is_one(looks: tuple[CardLook, ...]) -> None:
    printed = [need for needs in NEEDS for need in needs]
    cells = [cell for look in looks for cell in look.cells]
    inks = tell_inks(cells, [colour.name for colour in SHEET.colours], None, {})
    told = sorted("".join(printed[i] for i in ink.cells) for ink in inks)

    assert told == sorted("".join(c for c in printed if c == need) for need in set(printed))


def test_corners_that_a_person_showed_are_the_only_card(shot: CardsShot) -> None:
    photo = load_photo(encode(shot.pixels, 90), "cards.jpg")
    (look,) = look_at_cards(photo, SHEET.lattice.like, COURSE, np.array(shot.corners_px[4]))

    assert len(look.cells) == len(NEEDS[4])
    np.testing.assert_allclose(look.corners_px, shot.corners_px[4])


def test_rows_may_slope() -> None:
    card = np.array([[0, 0], [60, 0], [60, 90], [0, 90]], float)
    places = [(0, 0), (75, 16), (150, 32), (225, 48), (-10, 105), (65, 121)]
    shuffled = [3, 5, 0, 2, 4, 1]
    order = reading_order([card + places[i] for i in shuffled])

    assert [shuffled[k] for k in order] == [0, 1, 2, 3, 4, 5]
    assert reading_order([]) == []


def test_a_checked_cloth_is_no_card() -> None:
    cloth = cv2.resize(tabletop("checked", 3), (1200, 900))

    with pytest.raises(BoardNotFound, match="no card with a pattern of this game's cells"):
        look_at_cards(from_pixels(cloth), "square")


def test_a_steps_cell_is_as_tall_as_its_course() -> None:
    assert cell_shape("courses", 0.5).down[1] == pytest.approx(0.5)
