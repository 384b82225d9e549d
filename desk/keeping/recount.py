"""Count a kept game again: from its grids, claims and sheet, and from nothing else."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from desk.export import lines_json, problems_json
from desk.keeping.content import Content
from scoring.doubts import Hangs, what_hangs
from scoring.sheet import GameSheet, parse_sheet
from scoring.tally import tally
from scoring.types import EMPTY, Tally
from scoring.words import listed

SKIP = "skip"
ODD = "odd"


@lru_cache(maxsize=64)
def sheet_from(text: str) -> GameSheet:
    """A game sheet as it was kept. Raises SheetError."""
    return parse_sheet(text, "the kept game sheet")


def tally_of(sheet: GameSheet, content: Mapping[str, Any]) -> Tally:
    """The tally of a kept game's grids under a sheet. Raises SheetError where they do not fit."""
    grids = {board["player"]: board["grid"] for board in content["boards"]}
    claims = content["claims"]
    return tally(sheet, grids, claims.get("cards", {}), claims.get("facts", {}))


def counted(
    sheet: GameSheet, grids: Mapping[str, Mapping[str, str]], claims: Mapping[str, Any]
) -> dict[str, Any]:
    """The tally of boards without doubts, as plain values."""
    boards = [{"player": player, "grid": grid} for player, grid in grids.items()]
    content = {"boards": boards, "claims": claims}
    return facts_of(tally_of(sheet, content))


def facts_of(counted_tally: Tally) -> dict[str, Any]:
    """What a tally says, as plain values: the part of a kept tally that follows from its grids."""
    return {
        "winners": list(counted_tally.winners),
        "tie_break": counted_tally.tie_break,
        "players": [
            {"player": player.player, "total": player.total, "lines": lines_json(player)}
            for player in counted_tally.players
        ],
        "problems": problems_json(counted_tally),
    }


def recounted(sheet: GameSheet, content: Content) -> dict[str, Any]:
    """The whole tally of a kept game as it is kept, with what its open doubts can change."""
    facts = facts_of(tally_of(sheet, content))
    hangs = hangs_of(sheet, content)
    unsure = [doubt_of(content, hang) for hang in hangs.doubts]
    players = [
        {**player, "between": list(hangs.ranges[player["player"]])} for player in facts["players"]
    ]
    settled = not any(hang.matters for hang in hangs.doubts) and not facts["problems"]
    named = {"game": sheet.name, "table": content["table_name"], "settled": settled}
    return {
        **named,
        **facts,
        "players": players,
        "unsure": unsure,
        "answers": content["answers"],
    }


def hangs_of(sheet: GameSheet, content: Content) -> Hangs:
    """What the doubts that nobody answered can change."""
    boards = {board["player"]: candidates_in(sheet, board, content) for board in content["boards"]}
    claims = content["claims"]
    return what_hangs(sheet, boards, claims.get("cards", {}), claims.get("facts", {}))


def candidates_in(
    sheet: GameSheet, board: Mapping[str, Any], content: Content
) -> dict[str, tuple[str, ...]]:
    """What may lie in each cell: what a person said, else all that the reading leaves open."""
    told = told_of(content, board["player"])
    cells = board["reading"].get("cells", {})
    anything = (*(colour.name for colour in sheet.colours), EMPTY)
    candidates = {}
    for cell, colour in board["grid"].items():
        belief = cells.get(cell, {})
        named = tuple(belief.get("candidates", (colour,)))
        if cell in told:
            named = (told[cell],)
        elif ODD in (belief.get("colour"), *named):
            named = tuple(dict.fromkeys((*(n for n in named if n != ODD), *anything)))
        candidates[cell] = tuple(dict.fromkeys((colour, *named)))
    return candidates


def told_of(content: Content, player: str) -> dict[str, str]:
    """The last answer to each cell of a player's board, those left open not counted."""
    return {
        answer["cell"]: answer["colour"]
        for answer in content["answers"]
        if answer["player"] == player and answer["colour"] != SKIP
    }


def doubt_of(content: Content, hang: Any) -> dict[str, Any]:
    """One cell that is not certain, as a tally keeps it."""
    board = next(board for board in content["boards"] if board["player"] == hang.player)
    belief = board["reading"].get("cells", {}).get(hang.cell, {})
    return {
        "player": hang.player,
        "cell": hang.cell,
        "candidates": list(belief.get("candidates", ())),
        "doubt": belief.get("doubt"),
        "changes": {"total": hang.total, "cards": list(hang.cards), "winner": hang.winner},
    }


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[str]:
    """What two tallies say differently, in a line each; words alone are no difference."""
    old, new = ({p["player"]: p for p in side["players"]} for side in (before, after))
    for player in dict.fromkeys([*old, *new]):
        yield from player_differences(player, old.get(player), new.get(player))
    if list(before["winners"]) != list(after["winners"]):
        yield f"won by {listed(before['winners'])} -> {listed(after['winners'])}"


def player_differences(player: str, old: Any, new: Any) -> Iterator[str]:
    """What is different for one player."""
    if old is None or new is None:
        yield f"{player}: {'not counted' if new is None else 'not there before'}"
        return
    if old["total"] != new["total"]:
        yield f"{player}: {old['total']} -> {new['total']}"
    before, after = points_of(old), points_of(new)
    for line in dict.fromkeys([*before, *after]):
        if before.get(line) != after.get(line):
            points, others = (sum(p for _, p in side.get(line, ())) for side in (before, after))
            how = f"{points} -> {others}" if points != others else "other cells"
            yield f"{player}, {line}: {how}"


def points_of(player: Mapping[str, Any]) -> dict[str, list[tuple[Any, int]]]:
    """By label of line, the cells and points that prove it."""
    lines: dict[str, list[tuple[Any, int]]] = {}
    for line in player.get("lines", []):
        proofs = [(tuple(proof["cells"]), proof["points"]) for proof in line["proofs"]]
        lines.setdefault(line["label"], []).extend(proofs or [((), line["points"])])
    return lines
