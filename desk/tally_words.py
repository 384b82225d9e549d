"""The tally at the terminal: everybody side by side, then every point's cause."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from desk.beliefs import candidates_of
from desk.types import Outcome, Seat
from scoring.doubts import Hang
from scoring.explain import explain_player, explain_winners
from scoring.sheet import GameSheet
from scoring.types import PlayerTally
from scoring.words import listed

ANYTHING = "anything"
"""What may lie in a cell of which nothing at all is known."""


def tally_words(outcome: Outcome) -> Iterator[str]:
    """The whole tally in lines of plain text."""
    yield ""
    yield from side_by_side(outcome)
    yield verdict(outcome)
    yield from open_words(outcome)
    yield from problem_words(outcome)
    sheet = outcome.game.table.sheet
    for player in outcome.tally.players:
        yield "\n" + explain_player(sheet, player, outcome.grids[player.player])


def side_by_side(outcome: Outcome) -> list[str]:
    """A row for each way of scoring, a column for each player."""
    players = outcome.tally.players
    rows = [["", *(player.player for player in players)]]
    for key in line_keys(outcome):
        rows.append([key[1], *(points_of(player, key) for player in players)])
    rows.append(["total", *(total_words(outcome, player) for player in players)])
    return aligned(rows)


def line_keys(outcome: Outcome) -> list[tuple[str, str]]:
    """(rule, label) of every line in the sheet's order, with the cards that anybody claims."""
    sheet = outcome.game.table.sheet
    order = [rule.label for rule in sheet.rules] + [card.name for card in sheet.cards]
    keys = {(line.rule, line.label) for player in outcome.tally.players for line in player.lines}
    return sorted(keys, key=lambda key: [order.index(word) for word in key])


def points_of(player: PlayerTally, key: tuple[str, str]) -> str:
    """A player's points for a line; a dash where the line is not the player's."""
    points = {(line.rule, line.label): line.points for line in player.lines}
    return str(points.get(key, "-"))


def total_words(outcome: Outcome, player: PlayerTally) -> str:
    """A total, with the totals between which it lies while doubts are open."""
    low, high = outcome.hangs.ranges[player.player]
    return str(player.total) + (f" ({low} to {high})" if low != high else "")


def aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows as text, the first column left, the others right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join([row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:])]).rstrip()
        for row in rows
    ]


def verdict(outcome: Outcome) -> str:
    """Who won, or that this is still open and who may win."""
    if outcome.settled:
        return f"{explain_winners(outcome.tally)}."
    names = listed(outcome.tally.winners)
    if outcome.missing:
        return f"Still open: {listed(outcome.missing)} not read yet. So far {names}."
    if outcome.tally.problems:
        return f"Still open: {names} as read, but the boards as read cannot be."
    if set(outcome.hangs.winners) == set(outcome.tally.winners):
        return f"Still open: {names} ahead whatever the answers are, but a total is not settled."
    return f"Still open: {names} as read, but {listed(outcome.hangs.winners, 'or')} may win."


def open_words(outcome: Outcome) -> Iterator[str]:
    """Photos that look unlike what was learned, what came of key strips, then what is unsure and
    whether it matters."""
    for seat in outcome.game.seats:
        if seat.first.alarm:
            yield f"Beware, {seat.player}'s board: {seat.first.alarm}"
        if seat.first.strip:
            yield f"{seat.player}'s board: {seat.first.strip.words}"
    for hang in outcome.open:
        yield f"Unsure: {doubt_words(outcome, hang)}; it can change {stakes(hang)}."
    if outcome.idle:
        cells = listed([f"{hang.player}'s {hang.cell}" for hang in outcome.idle])
        yield f"Unsure, changes nothing: {cells}."


def doubt_words(outcome: Outcome, hang: Hang) -> str:
    """A doubtful cell and what may lie in it."""
    sheet = outcome.game.table.sheet
    seat = next(seat for seat in outcome.game.seats if seat.player == hang.player)
    return f"{hang.player}'s cell {hang.cell} may be {may_be(seat, sheet, hang.cell)}"


def may_be(seat: Seat, sheet: GameSheet, cell: str) -> str:
    """What may lie in a cell, the likeliest first."""
    names = candidates_of(seat.reading, sheet)[cell]
    if len(names) > len(sheet.colours):
        return ANYTHING
    return listed([lettered(sheet, name) for name in names], "or")


def stakes(hang: Hang) -> str:
    """What hangs on a cell, in words."""
    found = [f"{hang.player}'s total"] if hang.total else []
    found += [f"the card {card}" for card in hang.cards]
    found += ["who wins"] if hang.winner else []
    return listed(found)


def lettered(sheet: GameSheet, name: str) -> str:
    """A colour with its letter, as in "moss (M)"."""
    letter = {colour.name: colour.letter for colour in sheet.colours}.get(name)
    return f"{name} ({letter})" if letter else name


def problem_words(outcome: Outcome) -> Iterator[str]:
    """What cannot be so, and what to do about it."""
    for problem in outcome.tally.problems:
        yield f"Cannot be so: {who(problem.player)}{problem.words}."
    if outcome.tally.problems:
        yield "Look at the pictures; name the misread cells in an answers file and tally again."


def who(player: str) -> str:
    """The beginning of a sentence about a player's board, or about all boards."""
    return f"{player}: " if player else ""
