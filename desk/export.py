"""The tally as open formats: JSON for programs, CSV for spreadsheets."""

from __future__ import annotations

import csv
import io
import platform
from collections.abc import Iterator
from importlib.metadata import version
from typing import Any

from desk.types import Outcome
from scoring.doubts import Hang
from scoring.types import PlayerTally, Tally

PARTS = ("tallyglass", "opencv-python", "numpy", "scikit-learn", "pillow")
"""Packages whose version can change what is read from a photo."""

CSV_HEAD = ("player", "rule", "line", "points", "cells", "why")


def tally_json(outcome: Outcome) -> dict[str, Any]:
    """The tally with every proof, its ranges, its doubts and its answers, ready for JSON."""
    return {
        "game": outcome.game.table.sheet.name,
        "table": outcome.game.table.name,
        "settled": outcome.settled,
        "winners": list(outcome.tally.winners),
        "tie_break": outcome.tally.tie_break,
        "players": [player_json(outcome, player) for player in outcome.tally.players],
        "problems": problems_json(outcome.tally),
        "unsure": [doubt_json(outcome, hang) for hang in outcome.hangs.doubts],
        "answers": [vars(answer) for answer in outcome.game.answers],
    }


def player_json(outcome: Outcome, player: PlayerTally) -> dict[str, Any]:
    """One player's total, the totals between which it lies, and the lines that add up to it."""
    between = list(outcome.hangs.ranges[player.player])
    lines = lines_json(player)
    return {"player": player.player, "total": player.total, "between": between, "lines": lines}


def lines_json(player: PlayerTally) -> list[dict[str, Any]]:
    """The lines of one player's tally with their proofs."""
    return [
        {
            "rule": line.rule,
            "label": line.label,
            "points": line.points,
            "note": line.note,
            "proofs": [
                {"cells": list(proof.cells), "points": proof.points, "words": proof.words}
                for proof in line.proofs
            ],
        }
        for line in player.lines
    ]


def problems_json(tally: Tally) -> list[dict[str, Any]]:
    """What cannot be so on the boards."""
    return [{"player": p.player, "cells": list(p.cells), "words": p.words} for p in tally.problems]


def doubt_json(outcome: Outcome, hang: Hang) -> dict[str, Any]:
    """One cell that is not certain, and whether that matters."""
    seat = next(seat for seat in outcome.game.seats if seat.player == hang.player)
    belief = seat.reading.cells[hang.cell]
    return {
        "player": hang.player,
        "cell": hang.cell,
        "candidates": list(belief.candidates),
        "doubt": belief.doubt,
        "changes": {"total": hang.total, "cards": list(hang.cards), "winner": hang.winner},
    }


def tally_csv(outcome: Outcome) -> str:
    """One row a proof, then each player's total."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_HEAD)
    for player in outcome.tally.players:
        writer.writerows(csv_rows(player))
    return out.getvalue()


def csv_rows(player: PlayerTally) -> Iterator[tuple[str | int, ...]]:
    """One player's rows."""
    name = harmless(player.player)
    for line in player.lines:
        rule, label = harmless(line.rule), harmless(line.label)
        for proof in line.proofs:
            yield name, rule, label, proof.points, " ".join(proof.cells), harmless(proof.words)
        if not line.proofs:
            yield name, rule, label, line.points, "", harmless(line.note)
    yield name, "total", "total", player.total, "", ""


def harmless(text: str) -> str:
    """Text that a spreadsheet takes as text: a leading sign of a formula is quoted."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def versions() -> dict[str, str]:
    """The program's version and those of the parts that a reading hangs on."""
    return {"python": platform.python_version()} | {part: version(part) for part in PARTS}
