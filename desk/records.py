"""What the archive keeps of one game, as plain values: text, bytes, and dicts ready for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Answer:
    """One answer to one question: who said what of which cell, and when (ISO 8601).

    ``colour`` is a colour name, ``empty``, or ``skip`` where the person left it open.
    """

    player: str
    cell: str
    colour: str
    by: str
    at: str


@dataclass(frozen=True)
class BoardRecord:
    """One player's board: the photo as it came, what was read of it, and the grid that counted."""

    player: str
    photo_name: str
    photo: bytes
    reading: Mapping[str, Any]
    grid: Mapping[str, str]


@dataclass(frozen=True)
class GameRecord:
    """One game: boards in seat order, answers in the order given, the tally and what made it.

    ``versions`` names the program and the libraries that read the photos. ``table_file`` is the
    table's own file, without which the photos cannot be read again. ``evening`` and ``league`` are
    free labels; an evening that is not given is the day (of this machine's clock) on which the
    evening began.
    """

    sheet_name: str
    sheet_text: str
    table_name: str
    table_sha256: str
    boards: tuple[BoardRecord, ...]
    answers: tuple[Answer, ...]
    claims: Mapping[str, Any]
    tally: Mapping[str, Any]
    versions: Mapping[str, str]
    table_file: bytes | None = None
    evening: str = ""
    league: str = ""
