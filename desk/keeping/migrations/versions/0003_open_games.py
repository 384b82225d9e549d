"""Version 3: a game that was kept with doubts that matter is won by nobody, and is found as open.

Scores and standings of version 2 counted a win for whoever led as read.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from desk.keeping.rows import draw_open_games
from desk.keeping.standings import drop_all
from desk.schema import SCORES, guards

revision = "0003"
down_revision = "0002"

GUARD = f"{SCORES.name}_no_update"


def upgrade() -> None:
    """Take the guard of scores off, draw open games again, guard again; forget all sums."""
    db = op.get_bind()
    of_table = "" if db.dialect.name == "sqlite" else f" ON {SCORES.name}"
    op.execute(f"DROP TRIGGER {GUARD}{of_table}")
    draw_open_games(db)
    drop_all(db)
    for guard in guards(db.dialect.name):
        if f" {GUARD} " in guard:
            op.execute(sa.text(guard.replace(":", r"\:")))
