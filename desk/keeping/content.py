"""A game's content: one plain dict that is saved, exported, imported, sealed and proven.

Its keys are those of ``GAME_KEYS``, its boards those of ``BOARD_KEYS``. Two archives hold the same
game if and only if it has the same ``uid``: the SHA-256 of the content as it was first saved. The
``seal`` is that of the content as it is; only an erasure makes the two differ.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

Content = dict[str, Any]

GAME_KEYS = (
    "nonce",
    "saved_at",
    "played_at",
    "evening",
    "league",
    "corrects",
    "reason",
    "sheet_name",
    "sheet_text",
    "table_name",
    "table_sha256",
    "claims",
    "tally",
    "versions",
)
"""Of a game itself. ``nonce`` is random, so that a uid cannot be found by guessing a name that was
erased; ``corrects`` is the uid of the entry that this one corrects; ``played_at`` orders games, and
a correction has that of what it corrects."""

BOARD_KEYS = ("player", "photo_name", "photo_file", "metadata", "erased", "reading", "grid")
"""Of each board. ``metadata`` says whether personal data of the photo file were ``removed`` or
``kept``; ``erased`` is the uid of the erasure that took the photo away, or empty."""

ANSWER_KEYS = ("player", "cell", "colour", "by", "at")


def seal_of(content: Mapping[str, Any]) -> str:
    """The SHA-256 of a content, whatever the order of its keys."""
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def ordered(content: Mapping[str, Any]) -> Content:
    """The content with its own keys in their fixed order."""
    return {
        **{key: content[key] for key in GAME_KEYS},
        "boards": [{key: board[key] for key in BOARD_KEYS} for board in content["boards"]],
        "answers": [{key: answer[key] for key in ANSWER_KEYS} for answer in content["answers"]],
    }


def plain(value: Any) -> Any:
    """A value as JSON gives it back: tuples become lists, keys become text."""
    return json.loads(json.dumps(value, ensure_ascii=False, allow_nan=False))


def scores_of(tally: Mapping[str, Any]) -> list[tuple[str, int, bool]]:
    """Player, total and whether that player won, in the tally's order; nobody wins an open game."""
    winners = tally["winners"] if is_settled(tally) else []
    return [(p["player"], p["total"], p["player"] in winners) for p in tally["players"]]


def is_settled(tally: Mapping[str, Any]) -> bool:
    """Whether no doubt is left that matters; records that do not say so were counted for good."""
    return bool(tally.get("settled", True))
