"""Cards laid on a table: the photo shows each of them where its truth says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from samples.cards import card_board, invent_edition, piece_paints
from samples.conditions import Conditions
from samples.laid_cards import APART_MM, laid_corners, take_cards
from samples.penmarrow import load_penmarrow

SHEET = load_penmarrow()
EDITION = invent_edition(SHEET, piece_paints(SHEET, 1), 3)
BOARDS = [card_board(SHEET, card, EDITION, 1) for card in SHEET.cards]


def test_cards_lie_in_rows_and_apart() -> None:
    laid = laid_corners(BOARDS, 3, np.random.default_rng(2))
    middles = np.array([corners.mean(axis=0) for corners in laid])
    gaps = np.linalg.norm(middles[:, None] - middles[None], axis=2)[~np.eye(6, dtype=bool)]

    assert (np.diff(middles[:3, 0]) > 0).all()
    assert middles[:3, 1].max() < middles[3:, 1].min()
    assert gaps.min() > min(BOARDS[0].size_mm) + APART_MM / 2
    assert min(corners.min() for corners in laid) == 0.0


def test_each_cell_is_seen_in_its_own_ink() -> None:
    light = replace(Conditions.clean((1200, 900)), tabletop="felt", turn_deg=5.0)
    shot = take_cards(BOARDS, 3, light, np.random.default_rng(2))
    names = {colour.letter: colour.name for colour in SHEET.colours}
    seen: dict[str, list[np.ndarray]] = {}
    for card, centres in zip(SHEET.cards, shot.centres_px, strict=True):
        for spot, (x, y) in zip(card.pattern, centres.values(), strict=True):
            if spot.needs in names:
                pixel = shot.pixels[round(y) - 7, round(x) - 7]  # beside a printed letter
                seen.setdefault(spot.needs, []).append(pixel.astype(float))

    assert len(seen) == 5
    for letter, pixels in seen.items():
        others = [p for other, more in seen.items() if other != letter for p in more]
        spread = np.ptp(np.array(pixels), axis=0).max()
        assert spread < min(np.abs(p - q).max() for p in pixels for q in others)
