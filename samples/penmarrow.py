"""The Roof at Penmarrow, the game that comes with the program: where its files are."""

from __future__ import annotations

from pathlib import Path

from scoring.sheet import GameSheet, load_sheet

SHEET = Path(__file__).parent / "sheets" / "penmarrow.toml"
PHOTOS = Path(__file__).parent / "photos" / "penmarrow"
"""Its practice photos; README.md there says what each shows and how to make it again."""


def load_penmarrow() -> GameSheet:
    """Return its game sheet."""
    return load_sheet(SHEET)
