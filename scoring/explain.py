"""A tally in words that a player understands, and what would be if a cell were otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from scoring.errors import SheetError
from scoring.near_misses import near_miss
from scoring.rules import Cards
from scoring.sheet import GameSheet
from scoring.tally import Named, tally
from scoring.types import Line, PlayerTally, Tally
from scoring.words import listed


def explain(sheet: GameSheet, result: Tally, grids: Mapping[str, Mapping[str, str]]) -> str:
    """The whole tally as text: every player's points with their cells, who won, what is wrong."""
    blocks = [explain_player(sheet, player, grids[player.player]) for player in result.players]
    if result.winners:
        blocks.append(explain_winners(result))
    if result.problems:
        words = [f"{p.player or 'all boards'}: {p.words}" for p in result.problems]
        blocks.append("\n".join(["This cannot be so:", *words]))
    return "\n\n".join(blocks) + "\n"


def explain_player(sheet: GameSheet, player: PlayerTally, grid: Mapping[str, str]) -> str:
    """One player's points, one line for each cause, then the cards that are not complete."""
    lines = [f"{player.player}: {in_points(player.total)}"]
    lines += [f"  {words}" for line in player.lines for words in _causes(line)]
    missing = [words for line in player.lines for words in _what_is_missing(sheet, line, grid)]
    if missing:
        lines.append(f"  not complete: {'; '.join(missing)}")
    return "\n".join(lines)


def explain_winners(result: Tally) -> str:
    """Who won and why."""
    names = listed(result.winners)
    verb = "win" if len(result.winners) > 1 else "wins"
    return f"{names} {verb}" + (f" ({result.tie_break})" if result.tie_break else "")


def in_points(points: int) -> str:
    """So many points, in words."""
    return f"{points} point" if points in (1, -1) else f"{points} points"


def _causes(line: Line) -> Iterator[str]:
    """Lines such as "card Gable, 4 points: C3 D3 D4 E4"; single cells of one rule in one line."""
    single = [proof for proof in line.proofs if len(proof.cells) == 1]
    if len(single) > 1 and len(single) == len(line.proofs):
        cells = " ".join(proof.cells[0] for proof in single)
        yield f"{line.label}, {in_points(line.points)}: {cells}"
        return
    for proof in line.proofs:
        cells = f": {' '.join(proof.cells)}" if proof.cells else ""
        yield f"{proof.words}, {in_points(proof.points)}{cells}"
    if line.note and not line.proofs and line.note != NOT_COMPLETE:
        yield f"card {line.label}, {in_points(0)}: {line.note}"


NOT_COMPLETE = "not complete"


def _what_is_missing(sheet: GameSheet, line: Line, grid: Mapping[str, str]) -> Iterator[str]:
    if line.note == NOT_COMPLETE:
        card = next(card for card in sheet.cards if card.name == line.label)
        yield str(near_miss(sheet, grid, card))


@dataclass(frozen=True)
class WhatIf:
    """The tally as it is, as it would be, and the lines that differ, in words."""

    before: Tally
    after: Tally
    words: tuple[str, ...]


def what_if(
    sheet: GameSheet,
    grids: Mapping[str, Mapping[str, str]],
    changes: Mapping[str, Mapping[str, str]],
    claims: Named | None = None,
    facts: Named | None = None,
) -> WhatIf:
    """The tally if these cells held these colours (or were "empty"): by player, then cell."""
    for player in changes:
        if player not in grids:
            raise SheetError("what if", f"there is no player {player!r}")
    changed = {player: {**grid, **changes.get(player, {})} for player, grid in grids.items()}
    before, after = tally(sheet, grids, claims, facts), tally(sheet, changed, claims, facts)
    return WhatIf(before, after, tuple(_differences(before, after)))


def _differences(before: Tally, after: Tally) -> Iterator[str]:
    for old, new in zip(before.players, after.players, strict=True):
        for a, b in zip(old.lines, new.lines, strict=True):
            if a.points != b.points:
                yield f"{old.player}: {a.label} gives {b.points} instead of {in_points(a.points)}"
        if old.total != new.total:
            yield f"{old.player}: {in_points(new.total)} instead of {old.total}"
    if before.winners != after.winners:
        yield f"{explain_winners(after)} instead of {listed(before.winners)}"


def cards_broken(before: PlayerTally, after: PlayerTally, sheet: GameSheet) -> tuple[str, ...]:
    """Cards that count fewer times after than before."""
    label = next((rule.label for rule in sheet.rules if isinstance(rule, Cards)), "")
    pairs = zip(before.lines, after.lines, strict=True)
    return tuple(a.label for a, b in pairs if a.rule == label and _completions(b) < _completions(a))


def _completions(line: Line) -> int:
    return sum(bool(proof.cells) for proof in line.proofs)
