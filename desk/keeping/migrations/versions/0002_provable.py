"""Version 2: identities and seals, corrections, labels, search, standings, erasures, settings.

The triggers of version 1 are taken off while the new columns of old games are filled, and the new
guards are set, all in one transaction.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from desk.keeping.rows import complete_old_games
from desk.schema import ANSWERS, BOARDS, GAMES, INDEXES, LATER, guards

revision = "0002"
down_revision = "0001"

GAMES_ADDED = ("uid", "nonce", "seal", "played_at", "evening", "league", "corrects", "reason")
BOARDS_ADDED = ("metadata", "erased")


def upgrade() -> None:
    """Add, fill, guard."""
    db = op.get_bind()
    for table in (GAMES, BOARDS, ANSWERS):
        for verb in ("update", "delete"):
            op.execute(f"DROP TRIGGER IF EXISTS {table.name}_no_{verb}")
    add_columns(GAMES, (*GAMES_ADDED, "root", "revision"))
    add_columns(BOARDS, BOARDS_ADDED)
    for table in LATER:
        table.create(db)
    complete_old_games(db)
    for index in INDEXES:
        if index.table not in LATER:
            index.create(db)
    for guard in guards(db.dialect.name):
        op.execute(sa.text(guard.replace(":", r"\:")))


def add_columns(table: sa.Table, names: tuple[str, ...]) -> None:
    """Add columns as the schema describes them."""
    for name in names:
        column = table.c[name]
        default = column.server_default
        assert isinstance(default, sa.DefaultClause)
        assert isinstance(default.arg, str)
        op.add_column(
            table.name,
            sa.Column(name, column.type, nullable=False, server_default=default.arg),
        )
