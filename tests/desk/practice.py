"""The program run in this process, and where the practice photos lie."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from desk import cli
from samples.cards import card_board, invent_edition, piece_paints
from samples.conditions import Conditions
from samples.finish import encode
from samples.laid_cards import take_cards
from samples.penmarrow import load_penmarrow
from samples.photographer import empty_grid, take_photo
from samples.practice import PENMARROW_PRINT

SAMPLES = Path(__file__).parents[2] / "samples"
SHEET = SAMPLES / "sheets" / "penmarrow.toml"
PRACTICE = SAMPLES / "photos" / "penmarrow"


@dataclass(frozen=True)
class Ended:
    """How a run ended: exit code, what it printed, what it complained of."""

    code: int
    out: str
    err: str


Run = Callable[..., Ended]


def run_main(*words: str | Path) -> int:
    """Run the command as if typed; returns its exit code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["tallyglass", *map(str, words)])
        try:
            cli.main()
        except SystemExit as ended:
            return int(ended.code or 0)
    return 0


def bell_rope_photo(folder: Path) -> Path:
    """A photo of the card Bell Rope (plum, rust, plum on a slope) on a table by a window."""
    sheet = load_penmarrow()
    card = next(card for card in sheet.cards if card.name == "Bell Rope")
    edition = invent_edition(sheet, piece_paints(sheet, PENMARROW_PRINT), 3)
    board = card_board(sheet, card, edition, PENMARROW_PRINT)
    light = replace(Conditions(), size_px=(900, 900), loose=0, turn_deg=6.0, supersample=1.0)
    shot = take_photo(board, empty_grid(board), light, np.random.default_rng(1))
    path = folder / "bell-rope.jpg"
    path.write_bytes(shot.jpeg())
    return path


def six_cards_photo(folder: Path) -> Path:
    """A photo of all cards of Penmarrow, laid three to a row on a table by a window."""
    sheet = load_penmarrow()
    edition = invent_edition(sheet, piece_paints(sheet, PENMARROW_PRINT), 3)
    boards = [card_board(sheet, card, edition, PENMARROW_PRINT) for card in sheet.cards]
    light = replace(Conditions(), size_px=(1600, 1200), loose=0, turn_deg=6.0, supersample=1.0)
    shot = take_cards(boards, 3, light, np.random.default_rng(1))
    path = folder / "cards.jpg"
    path.write_bytes(encode(shot.pixels, 90))
    return path
