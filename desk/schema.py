"""The archive's tables, and the guards by which the database itself keeps it append-only.

Records are ``games`` with their ``boards`` and ``answers``; ``scores`` and ``words`` are drawn from
them when they are saved, so that lists and searches need not open them. ``erasures`` says what was
taken out and why. ``standings``, ``duels`` and ``scopes`` are sums that can be made again at any
time, and the only tables without a guard.
"""

from __future__ import annotations

import sqlalchemy as sa

ARCHIVE_VERSION = 3
"""Raised by one whenever the tables change; each step is a migration (keeping/migrations)."""

HEAD = "0003"
"""The name of the last migration."""

METADATA = sa.MetaData()

SORTED_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
"""Text whose order is that of its code points on every database: search goes by ranges of it."""

GAMES = sa.Table(
    "games",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("saved_at", sa.Text, nullable=False),
    sa.Column("sheet_name", sa.Text, nullable=False),
    sa.Column("sheet_text", sa.Text, nullable=False),
    sa.Column("table_name", sa.Text, nullable=False),
    sa.Column("table_sha256", sa.Text, nullable=False),
    sa.Column("claims", sa.JSON, nullable=False),
    sa.Column("tally", sa.JSON, nullable=False),
    sa.Column("versions", sa.JSON, nullable=False),
    sa.Column("uid", sa.Text, nullable=False, server_default=""),
    sa.Column("nonce", sa.Text, nullable=False, server_default=""),
    sa.Column("seal", sa.Text, nullable=False, server_default=""),
    sa.Column("played_at", sa.Text, nullable=False, server_default=""),
    sa.Column("evening", sa.Text, nullable=False, server_default=""),
    sa.Column("league", sa.Text, nullable=False, server_default=""),
    sa.Column("corrects", sa.Text, nullable=False, server_default=""),
    sa.Column("reason", sa.Text, nullable=False, server_default=""),
    sa.Column("root", sa.Text, nullable=False, server_default=""),
    sa.Column("revision", sa.Integer, nullable=False, server_default="1"),
    sqlite_autoincrement=True,
)

BOARDS = sa.Table(
    "boards",
    METADATA,
    sa.Column("game_id", sa.ForeignKey("games.id"), primary_key=True),
    sa.Column("seat", sa.Integer, primary_key=True),
    sa.Column("player", sa.Text, nullable=False),
    sa.Column("photo_name", sa.Text, nullable=False),
    sa.Column("photo_file", sa.Text, nullable=False),
    sa.Column("reading", sa.JSON, nullable=False),
    sa.Column("grid", sa.JSON, nullable=False),
    sa.Column("metadata", sa.Text, nullable=False, server_default="removed"),
    sa.Column("erased", sa.Text, nullable=False, server_default=""),
)

ANSWERS = sa.Table(
    "answers",
    METADATA,
    sa.Column("game_id", sa.ForeignKey("games.id"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("player", sa.Text, nullable=False),
    sa.Column("cell", sa.Text, nullable=False),
    sa.Column("colour", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("at", sa.Text, nullable=False),
)

SCORES = sa.Table(
    "scores",
    METADATA,
    sa.Column("game_id", sa.ForeignKey("games.id"), primary_key=True),
    sa.Column("seat", sa.Integer, primary_key=True),
    sa.Column("player", sa.Text, nullable=False),
    sa.Column("total", sa.Integer, nullable=False),
    sa.Column("won", sa.Boolean, nullable=False),
)

WORDS = sa.Table(
    "words",
    METADATA,
    sa.Column("word", SORTED_TEXT, primary_key=True),
    sa.Column("game_id", sa.ForeignKey("games.id"), primary_key=True),
    sqlite_with_rowid=False,
)

ERASURES = sa.Table(
    "erasures",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("uid", sa.Text, nullable=False, unique=True),
    sa.Column("at", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("words", sa.Text, nullable=False),
    sa.Column("games", sa.JSON, nullable=False),
    sa.Column("photos", sa.JSON, nullable=False),
)

NEVER = sa.Table(
    "never",
    METADATA,
    sa.Column("id", sa.Integer, sa.CheckConstraint("id < 0 AND id > 0"), primary_key=True),
)
"""A table that can hold nothing."""

ERASING = sa.Table(
    "erasing",
    METADATA,
    sa.Column("erasure_id", sa.ForeignKey("erasures.id"), primary_key=True),
    sa.Column(
        "never",
        sa.ForeignKey("never.id", deferrable=True, initially="DEFERRED"),
        nullable=False,
    ),
)
"""A row here lifts the guards against changes. It can exist only beside an entry in ``erasures``,
and only inside a transaction: at its end the row would have to name a row of ``never``."""

SETTINGS = sa.Table(
    "settings",
    METADATA,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)

SCOPE = ("sheet_name", "kind", "label")
"""What standings are of: one game, and ``all`` of it, one ``league`` or one ``evening``."""

SCOPES = sa.Table(
    "scopes",
    METADATA,
    *(sa.Column(name, sa.Text, primary_key=True) for name in SCOPE),
    sa.Column("through_at", sa.Text, nullable=False),
    sa.Column("through_uid", sa.Text, nullable=False),
    sa.Column("games", sa.Integer, nullable=False),
)

STANDINGS = sa.Table(
    "standings",
    METADATA,
    *(sa.Column(name, sa.Text, primary_key=True) for name in SCOPE),
    sa.Column("player", sa.Text, primary_key=True),
    sa.Column("games", sa.Integer, nullable=False),
    sa.Column("wins", sa.Integer, nullable=False),
    sa.Column("points", sa.Integer, nullable=False),
    sa.Column("best", sa.Integer, nullable=False),
    sa.Column("mu", sa.Float, nullable=False),
    sa.Column("sigma", sa.Float, nullable=False),
)

DUELS = sa.Table(
    "duels",
    METADATA,
    *(sa.Column(name, sa.Text, primary_key=True) for name in SCOPE),
    sa.Column("player", sa.Text, primary_key=True),
    sa.Column("rival", sa.Text, primary_key=True),
    sa.Column("games", sa.Integer, nullable=False),
    sa.Column("ahead", sa.Integer, nullable=False),
)

LATER = (SCORES, WORDS, ERASURES, NEVER, ERASING, SETTINGS, SCOPES, STANDINGS, DUELS)
"""Tables that the first version did not have."""

INDEXES = (
    sa.Index("games_by_uid", GAMES.c.uid, unique=True),
    sa.Index("games_by_root", GAMES.c.root, GAMES.c.revision),
    sa.Index("games_by_corrects", GAMES.c.corrects),
    sa.Index("games_by_sheet", GAMES.c.sheet_name, GAMES.c.played_at),
    sa.Index("games_by_league", GAMES.c.league, GAMES.c.played_at),
    sa.Index("games_by_evening", GAMES.c.evening, GAMES.c.played_at),
    sa.Index("boards_by_photo", BOARDS.c.photo_file),
    sa.Index("words_by_game", WORDS.c.game_id),
)

RECORDS = (GAMES, BOARDS, ANSWERS)
DRAWN = (SCORES, WORDS)
FOREVER = (ERASURES, SETTINGS)
GUARDED = (*RECORDS, *DRAWN, *FOREVER)

REFUSAL = "the archive is append-only"


def guards(dialect: str) -> list[str]:
    """The statements that set the guards, for ``sqlite`` or ``postgresql``."""
    return sqlite_guards() if dialect == "sqlite" else postgresql_guards()


def guard_names() -> set[str]:
    """The names of all triggers that must be there, whatever the database."""
    return {f"{table.name}_no_{verb}" for table in GUARDED for verb in ("update", "delete")}


def yields_to_erasure(table: sa.Table, verb: str) -> bool:
    """Whether an erasure may do this: change records, and draw scores and words anew."""
    return table in DRAWN or (table in RECORDS and verb == "UPDATE")


def sqlite_guards() -> list[str]:
    """Triggers against changes, and against rows that would push others out (INSERT OR REPLACE)."""
    made = []
    for table in GUARDED:
        for verb in ("UPDATE", "DELETE"):
            allowed = yields_to_erasure(table, verb)
            when = "WHEN NOT EXISTS (SELECT 1 FROM erasing) " if allowed else ""
            name = f"{table.name}_no_{verb.lower()}"
            made.append(
                f"CREATE TRIGGER {name} BEFORE {verb} ON {table.name} {when}"
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )
        same = " AND ".join(f'"{c.name}" = NEW."{c.name}"' for c in table.primary_key)
        same += " OR uid = NEW.uid" if "uid" in table.c else ""
        made.append(
            f"CREATE TRIGGER {table.name}_no_replace BEFORE INSERT ON {table.name} "
            f"WHEN EXISTS (SELECT 1 FROM {table.name} WHERE {same}) "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )
    return made


def postgresql_guards() -> list[str]:
    """The same as triggers of PostgreSQL; emptying a table is refused as well."""
    made = [
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {lenient} "
        f"RAISE EXCEPTION '{REFUSAL}'; END $$"
        for name, lenient in (
            ("archive_refuses", ""),
            (
                "archive_refuses_unless_erasing",
                "IF EXISTS (SELECT 1 FROM erasing) THEN "
                "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END IF;",
            ),
        )
    ]
    for table in GUARDED:
        for verb in ("UPDATE", "DELETE", "TRUNCATE"):
            lenient = "_unless_erasing" if yields_to_erasure(table, verb) else ""
            function = "archive_refuses" if verb == "TRUNCATE" else f"archive_refuses{lenient}"
            each = "STATEMENT" if verb == "TRUNCATE" else "ROW"
            made.append(
                f"CREATE TRIGGER {table.name}_no_{verb.lower()} BEFORE {verb} ON {table.name} "
                f"FOR EACH {each} EXECUTE FUNCTION {function}()"
            )
    return made
