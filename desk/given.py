"""What people hand in as text: claims, corners, who sits before which photo."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from desk.types import Claims, PointsPx
from scoring.errors import TallyglassError
from scoring.given_file import read_given
from scoring.limits import MOST_TEXT_BYTES
from scoring.toml import parse_toml

MOST_DIGITS = 5
CORNERS_WANTED = "give four points as x,y x,y x,y x,y in photo pixels."


class GivenError(TallyglassError):
    """Something handed in that cannot be used: where it stands, and why."""

    def __init__(self, where: str, reason: str) -> None:
        self.where = where
        self.reason = reason
        super().__init__(f"{where}: {reason}")


def load_claims(path: Path) -> Claims:
    """Claims as ``Player = ["card", ...]``; facts of the game's end under ``[facts]``."""
    data = load_toml(path)
    facts = data.pop("facts", {})
    cards = data.pop("claims", data)
    return Claims(names_by_player(path, cards), names_by_player(path, facts))


def names_by_player(path: Path, data: Any) -> dict[str, list[str]]:
    """Lists of names by player, checked."""
    if not isinstance(data, dict):
        raise GivenError(str(path), 'write one line a player, such as Ana = ["first card"].')
    for player, names in data.items():
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise GivenError(f"{path}, {player}", "write the names as a list of texts in quotes.")
    return data


def load_toml(path: Path) -> dict[str, Any]:
    """A TOML file's tables. Raises GivenError where it is not TOML."""
    try:
        return parse_toml(text_of(path))
    except ValueError as error:
        raise GivenError(str(path), f"{error}.") from error


def text_of(path: Path) -> str:
    """A text file's content. Raises GivenError where it is not text."""
    try:
        data = read_given(path, MOST_TEXT_BYTES)
        text = data.decode("utf-8").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise GivenError(str(path), "is not a text file in UTF-8.") from error
    if len(data) > MOST_TEXT_BYTES:
        raise GivenError(str(path), "is too long to be what is wanted here.")
    return text


def is_count(text: str) -> bool:
    """Whether a text is a number of pieces, cells or points: plain digits, no sign, no power of ten
    that no box holds."""
    return text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS


def check_apart(out: Path, *given: Path | None) -> None:
    """Raise GivenError where what is to be written would take the place of what was given."""
    for path in given:
        if path and out.exists() and path.exists() and out.samefile(path):
            raise GivenError(str(out), "is what you gave; choose another name to write to.")


def parse_seats(words: Sequence[str]) -> dict[str, Path]:
    """``Ana=ana.jpg`` ... as photo by player, in the order given."""
    seats: dict[str, Path] = {}
    for word in words:
        player, equals, photo = word.partition("=")
        player = player.strip()
        if not (player and equals and photo):
            raise GivenError(repr(word), "write PLAYER=PHOTO, such as Ana=ana.jpg.")
        if player in seats:
            raise GivenError(repr(word), f"{player} has a board already; names must differ.")
        seats[player] = Path(photo)
    return seats


def parse_corners(words: Sequence[str], where: str = "--corners") -> PointsPx:
    """Four ``x,y`` as points in px, clockwise from the board's top left corner."""
    try:
        points = np.array([[float(part) for part in word.split(",")] for word in words])
    except ValueError as error:
        raise GivenError(where, CORNERS_WANTED) from error
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise GivenError(where, CORNERS_WANTED)
    if len(np.unique(points, axis=0)) < 4:
        raise GivenError(where, "two of the four points are the same; each corner has its own.")
    return points


def parse_corners_by_player(words: Sequence[str], players: Sequence[str]) -> dict[str, PointsPx]:
    """``Ana=x,y x,y x,y x,y`` ... as corners by player."""
    corners: dict[str, PointsPx] = {}
    for word in words:
        player, _, points = word.partition("=")
        if player.strip() not in players:
            raise GivenError(f"--corners {word!r}", f"begin with a player: {', '.join(players)}.")
        corners[player.strip()] = parse_corners(points.split(), f"--corners of {player.strip()}")
    return corners
