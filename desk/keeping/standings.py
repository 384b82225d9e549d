"""Standings: wins, mean, best, head-to-head and a rating, of one game in all, a league, an evening.

The sums are kept beside the records and carried on with each game, so that they do not take longer
with a larger archive. They can be made anew at any time, and are, whenever a game turns up that is
older than the last one counted, or a correction or an erasure changes one that was counted. A game
that was kept with doubts that matter counts for nobody until a correction settles it; ``open`` says
how many such games there are.

The rating is the Plackett-Luce model of Weng and Lin, "A Bayesian Approximation Method for Online
Ranking", Journal of Machine Learning Research 12 (2011) 267-300, by the library openskill: a belief
about strength with mean mu and spread sigma; ``rating`` is mu - 3 sigma, which a player exceeds
almost surely. Equal totals of players who did not win share a rank.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import permutations
from typing import Any

import sqlalchemy as sa

from desk.keeping.content import is_settled
from desk.keeping.search import folded, is_current, is_open
from desk.schema import DUELS, GAMES, SCOPES, SCORES, STANDINGS

PAPER = "Weng & Lin, JMLR 12, 2011: Plackett-Luce"
ALL, LEAGUE, EVENING = "all", "league", "evening"

Scope = tuple[str, str, str]
"""The game sheet's name, ``all``, ``league`` or ``evening``, and the label."""

Score = tuple[str, int, bool]
"""A player, the total, whether that player won."""


@dataclass
class Played:
    """One player's sums within a scope."""

    games: int = 0
    wins: int = 0
    points: int = 0
    best: int = 0
    mu: float = 25.0
    sigma: float = 25.0 / 3.0

    @property
    def mean(self) -> float:
        """Points a game."""
        return self.points / self.games

    @property
    def rating(self) -> float:
        """Strength that is almost surely exceeded."""
        return self.mu - 3.0 * self.sigma


@dataclass
class Duel:
    """How often two players met, and how often the first of them came out ahead."""

    games: int = 0
    ahead: int = 0


@dataclass
class Standings:
    """All sums of one scope."""

    scope: Scope
    games: int = 0
    open: int = 0
    players: dict[str, Played] = field(default_factory=lambda: defaultdict(Played))
    duels: dict[tuple[str, str], Duel] = field(default_factory=lambda: defaultdict(Duel))

    def ranked(self) -> list[tuple[str, Played]]:
        """Players by wins, then mean, then name."""
        return sorted(self.players.items(), key=lambda p: (-p[1].wins, -p[1].mean, p[0]))


def scopes_of(row: Mapping[str, Any]) -> list[Scope]:
    """The scopes that a game counts in."""
    labels = ((ALL, "all"), (LEAGUE, row["league"]), (EVENING, row["evening"]))
    return [(row["sheet_name"], kind, label) for kind, label in labels if label]


def count_game(standings: Standings, scores: Sequence[Score]) -> None:
    """Add one game to the sums."""
    standings.games += 1
    for player, total, won in scores:
        played = standings.players[player]
        played.best = max(played.best, total) if played.games else total
        played.games += 1
        played.wins += won
        played.points += total
    ranks = {player: (not won, -total) for player, total, won in scores}
    for first, second in permutations(ranks, 2):
        duel = standings.duels[first, second]
        duel.games += 1
        duel.ahead += ranks[first] < ranks[second]
    if len(scores) > 1:
        rate(standings, ranks)


def rate(standings: Standings, ranks: Mapping[str, tuple[bool, int]]) -> None:
    """Move the ratings of those who played."""
    model = rating_model()
    order = sorted(set(ranks.values()))
    players = list(ranks)
    teams = [
        [model.create_rating([standings.players[p].mu, standings.players[p].sigma])]
        for p in players
    ]
    rated = model.rate(teams, ranks=[float(order.index(ranks[player])) for player in players])
    for player, (rating,) in zip(players, rated, strict=True):
        standings.players[player].mu = rating.mu
        standings.players[player].sigma = rating.sigma


def rating_model() -> Any:
    """The model, made once."""
    global _MODEL
    if _MODEL is None:
        from openskill.models import PlackettLuce

        _MODEL = PlackettLuce()
    return _MODEL


_MODEL: Any = None


def history(db: sa.Connection, scope: Scope) -> Iterator[list[Score]]:
    """The scores of every game of a scope that counts, in the order of play."""
    query = (
        sa.select(GAMES.c.id, SCORES.c.player, SCORES.c.total, SCORES.c.won)
        .join(SCORES, SCORES.c.game_id == GAMES.c.id)
        .where(in_scope(scope), is_current(GAMES), ~is_open(GAMES))
        .order_by(GAMES.c.played_at, GAMES.c.root, SCORES.c.seat)
    )
    last = None
    scores: list[Score] = []
    for game_id, player, total, won in db.execute(query):
        if game_id != last and scores:
            yield scores
            scores = []
        last = game_id
        scores.append((player, total, won))
    if scores:
        yield scores


def in_scope(scope: Scope) -> sa.ColumnElement[bool]:
    """The condition that a game counts in a scope."""
    sheet, kind, label = scope
    if kind == ALL:
        return GAMES.c.sheet_name == sheet
    # Few games have one label and many have one sheet; as an expression the sheet's name cannot
    # tempt SQLite to go through all games of the sheet (0.3 s at every save into 100,000).
    return sa.and_(sa.func.coalesce(GAMES.c.sheet_name, "") == sheet, GAMES.c[kind] == label)


def open_in(db: sa.Connection, scope: Scope) -> int:
    """How many games of a scope are still open."""
    query = sa.select(sa.func.count()).select_from(GAMES)
    return db.execute(query.where(in_scope(scope), is_current(GAMES), is_open(GAMES))).scalar_one()


def after_save(db: sa.Connection, row: Mapping[str, Any], scores: Sequence[Score]) -> None:
    """Carry the sums on by one saved game, or drop those that it makes untrue."""
    counts = is_settled(row["tally"])
    for scope in scopes_of(row) if counts or row["corrects"] else ():
        through = db.execute(sa.select(SCOPES).where(same(SCOPES, scope))).mappings().first()
        if through is None:
            if row["corrects"] or others_in(db, scope):
                continue  # to be made by whoever asks
            standings = Standings(scope)
        elif row["corrects"] or (row["played_at"], row["root"]) <= (
            through["through_at"],
            through["through_uid"],
        ):
            drop(db, scope)
            continue
        else:
            standings = load(db, scope, through["games"], [player for player, _, _ in scores])
        count_game(standings, scores)
        store(db, standings, (row["played_at"], row["root"]))
    if row["corrects"]:
        drop_scopes_of_line(db, row["root"])


def others_in(db: sa.Connection, scope: Scope) -> bool:
    """Whether a scope has more than one game."""
    return len(db.execute(sa.select(GAMES.c.id).where(in_scope(scope)).limit(2)).all()) > 1


def drop_scopes_of_line(db: sa.Connection, root: str) -> None:
    """Forget the sums of all scopes that any entry of a line of corrections counted in."""
    names = (GAMES.c.sheet_name, GAMES.c.league, GAMES.c.evening)
    for row in db.execute(sa.select(*names).where(GAMES.c.root == root)).mappings():
        for scope in scopes_of(dict(row)):
            drop(db, scope)


def drop(db: sa.Connection, scope: Scope) -> None:
    """Forget the sums of a scope."""
    for table in (SCOPES, STANDINGS, DUELS):
        db.execute(sa.delete(table).where(same(table, scope)))


def drop_all(db: sa.Connection) -> None:
    """Forget all sums."""
    for table in (SCOPES, STANDINGS, DUELS):
        db.execute(sa.delete(table))


def same(table: sa.Table, scope: Scope) -> sa.ColumnElement[bool]:
    """The condition that a row is of a scope."""
    sheet, kind, label = scope
    return sa.and_(table.c.sheet_name == sheet, table.c.kind == kind, table.c.label == label)


def load(
    db: sa.Connection, scope: Scope, games: int, players: Sequence[str] | None = None
) -> Standings:
    """The sums as they are kept, of all players or of some and the pairs among them."""
    standings = Standings(scope, games, open_in(db, scope))
    query = sa.select(STANDINGS).where(same(STANDINGS, scope))
    duels = sa.select(DUELS).where(same(DUELS, scope))
    if players is not None:
        query = query.where(STANDINGS.c.player.in_(players))
        duels = duels.where(DUELS.c.player.in_(players), DUELS.c.rival.in_(players))
    for row in db.execute(query):
        standings.players[row.player] = Played(
            row.games, row.wins, row.points, row.best, row.mu, row.sigma
        )
    for row in db.execute(duels):
        standings.duels[row.player, row.rival] = Duel(row.games, row.ahead)
    return standings


def store(db: sa.Connection, standings: Standings, through: tuple[str, str]) -> None:
    """Keep the sums in place of those that were kept of the same players."""
    sheet, kind, label = standings.scope
    scope = {"sheet_name": sheet, "kind": kind, "label": label}
    db.execute(sa.delete(SCOPES).where(same(SCOPES, standings.scope)))
    at, uid = through
    made = {"through_at": at, "through_uid": uid, "games": standings.games}
    db.execute(sa.insert(SCOPES).values(**scope, **made))
    players = [{**scope, "player": name, **vars(p)} for name, p in standings.players.items()]
    duels = [
        {**scope, "player": first, "rival": second, **vars(duel)}
        for (first, second), duel in standings.duels.items()
    ]
    replace_rows(db, STANDINGS, players)
    replace_rows(db, DUELS, duels)


def replace_rows(db: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    """Insert rows, or overwrite those of the same key."""
    if not rows:
        return
    from sqlalchemy.dialects import postgresql, sqlite

    insert = (sqlite if db.dialect.name == "sqlite" else postgresql).insert(table)
    keys = [column.name for column in table.primary_key]
    rest = {name: insert.excluded[name] for name in table.c.keys() if name not in keys}  # noqa: SIM118
    db.execute(insert.on_conflict_do_update(index_elements=keys, set_=rest), rows)


def rebuild(db: sa.Connection, scope: Scope) -> Standings:
    """Make the sums of a scope anew and keep them."""
    drop(db, scope)
    standings = Standings(scope, open=open_in(db, scope))
    for scores in history(db, scope):
        count_game(standings, scores)
    last = (
        sa.select(GAMES.c.played_at, GAMES.c.root)
        .where(in_scope(scope))
        .order_by(GAMES.c.played_at.desc(), GAMES.c.root.desc())
        .limit(1)
    )
    if through := db.execute(last).first():
        store(db, standings, (through[0], through[1]))
    return standings


def kept(db: sa.Connection, scope: Scope) -> Standings | None:
    """The sums of a scope as they are kept; None where they must be made."""
    row = db.execute(sa.select(SCOPES).where(same(SCOPES, scope))).mappings().first()
    return load(db, scope, row["games"]) if row else None


def matching_scopes(db: sa.Connection, sheet: str, kind: str, label: str) -> list[Scope]:
    """Scopes that are meant by names as a person types them; an empty sheet means any."""
    if kind == ALL:
        # The index gives each name by one step; a scan of all games would not.
        labels = [ALL]
        sheets = distinct(db, GAMES.c.sheet_name)
    else:
        labels = [text for text in distinct(db, GAMES.c[kind]) if folded(text) == folded(label)]
        sheets = distinct(db, GAMES.c.sheet_name)
    sheets = [name for name in sheets if not sheet or folded(name) == folded(sheet)]
    found = [(name, kind, text) for name in sheets for text in labels]
    return [scope for scope in found if has_game(db, scope)]


def has_game(db: sa.Connection, scope: Scope) -> bool:
    """Whether a scope has any game."""
    return db.execute(sa.select(GAMES.c.id).where(in_scope(scope)).limit(1)).first() is not None


def distinct(db: sa.Connection, column: sa.Column[str]) -> list[str]:
    """All values of an indexed column, one step of the index for each."""
    values: list[str] = []
    query = sa.select(sa.func.min(column))
    value = db.execute(query.where(column != "")).scalar()
    while value is not None:
        values.append(value)
        value = db.execute(query.where(column > value)).scalar()
    return values
