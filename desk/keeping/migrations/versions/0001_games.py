"""Version 1: games, boards and answers, as the first program made them itself."""

from __future__ import annotations

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Nothing: every archive of this version has its tables already."""
