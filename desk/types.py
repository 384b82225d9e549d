"""The value types of the desk: a game on its way from photos to a tally."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Table
from desk.records import Answer
from scoring.doubts import Hang, Hangs
from scoring.types import Grid, Tally
from vision.types import Photo, Reading

SKIP = "skip"
"""The answer that leaves a question open."""

Clock = Callable[[], datetime]

PointsPx = NDArray[np.float64]
"""The board's corners (4, 2) in full-size photo px, clockwise from its top left."""


@dataclass(frozen=True)
class Claims:
    """Cards that players say are complete, and facts of the game's end, by player."""

    cards: Mapping[str, Sequence[str]] = field(default_factory=dict)
    facts: Mapping[str, Sequence[str]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Seat:
    """One player's board: the file as it came, the photo, and what is believed of it by now.

    ``first`` is the reading before anybody answered, ``told`` the one after all answers; in
    ``reading`` what cannot be so is in doubt as well.
    """

    player: str
    data: bytes
    photo: Photo
    first: Reading
    told: Reading
    reading: Reading


@dataclass(frozen=True, eq=False)
class Game:
    """A game being scored: its table, its boards in seat order, claims, and answers so far."""

    table: Table
    seats: tuple[Seat, ...]
    claims: Claims = field(default_factory=Claims)
    answers: tuple[Answer, ...] = ()


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came out: the tally of the likeliest grids, and what the open doubts can change.

    ``missing`` are players whose boards are not read yet.
    """

    game: Game
    grids: Mapping[str, Grid]
    tally: Tally
    hangs: Hangs
    missing: tuple[str, ...] = ()

    @property
    def open(self) -> tuple[Hang, ...]:
        """Doubts that can change something and were left open."""
        return tuple(hang for hang in self.hangs.doubts if hang.matters)

    @property
    def settled(self) -> bool:
        """Whether all boards are read, no doubt is left that matters, and nothing contradicts."""
        return not self.open and not self.tally.problems and not self.missing

    @property
    def idle(self) -> tuple[Hang, ...]:
        """Doubts that change nothing."""
        return tuple(hang for hang in self.hangs.doubts if not hang.matters)


@dataclass(frozen=True, eq=False)
class Question:
    """One doubtful cell put to a person: the game so far, and what hangs on the cell."""

    number: int
    game: Game
    hang: Hang
    hangs: Hangs


Ask = Callable[[Question], Answer | None]
"""Puts one question; None leaves it and all that follow open."""


def now(clock: Clock) -> str:
    """The clock's time as it goes on a record."""
    return clock().isoformat(timespec="seconds")
