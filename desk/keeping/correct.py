"""Corrections: a new entry beside the old one, which stays as it was."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from desk.archive import Archive
from desk.keeping.content import Content, plain
from desk.keeping.errors import ArchiveError
from desk.keeping.recount import recounted, sheet_from
from desk.keeping.rows import content_of
from desk.records import Answer
from scoring.sheet import GameSheet


@dataclass(frozen=True)
class Correction:
    """What is to be different, and why; what is None stays.

    ``answers`` say what lies in cells, ``claims`` are all cards and facts anew, ``sheet`` is
    another game sheet to count under.
    """

    reason: str
    answers: Sequence[Answer] = ()
    claims: Mapping[str, Any] | None = None
    evening: str | None = None
    league: str | None = None
    sheet: GameSheet | None = None


def correct(archive: Archive, game_id: int, correction: Correction) -> int:
    """Add an entry that takes the place of a game; returns its number.

    Raises ArchiveError where the game has been corrected already or nothing would change.
    """
    with archive.reading() as db:
        row = archive.row(db, game_id)
        before = content_of(db, row)
    if archive.game(game_id)["corrected"]:
        reason = f"has a later entry in place of game {game_id}; correct that one (archive show)."
        raise ArchiveError(archive.where, reason)
    after = corrected(before, correction, row["uid"])
    if all(after[key] == before[key] for key in before if key not in ("corrects", "reason")):
        raise ArchiveError(archive.where, f"has game {game_id} just so already; nothing is new.")
    now = archive.clock().isoformat(timespec="seconds")
    after |= {"saved_at": now, "nonce": secrets.token_hex(16)}
    return archive.save_content(after, {})


def corrected(before: Content, correction: Correction, uid: str) -> Content:
    """The content with its grids, claims and labels changed, and counted anew."""
    after = plain(before)
    for answer in correction.answers:
        after["answers"].append(vars(answer))
        for board in after["boards"]:
            if board["player"] == answer.player and answer.colour != "skip":
                board["grid"][answer.cell] = answer.colour
    for name in ("claims", "evening", "league"):
        if (value := getattr(correction, name)) is not None:
            after[name] = plain(value)
    if correction.sheet:
        after["sheet_text"] = correction.sheet.text
        after["sheet_name"] = correction.sheet.name
    if any(after[key] != before[key] for key in ("answers", "claims", "sheet_text")):
        after["tally"] = plain(recounted(sheet_from(after["sheet_text"]), after))
    return {**after, "corrects": uid, "reason": correction.reason}
