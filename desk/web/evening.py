"""What an evening's events add up to. Pure: the same events always give the same evening."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from desk.records import Answer
from desk.web.journal import Event

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Shot:
    """One player's photo: the stored file, its name, and which of ``parts`` boards in it is meant.

    ``corners_px`` are the board's in the upright full-size photo, where a person gave them.
    ``second`` is another photo of the same board, to be read together with this one.
    """

    photo: str
    name: str
    by: str
    at: str
    part: int = 0
    parts: int = 1
    corners_px: Points = ()
    second: Shot | None = None

    @property
    def looks(self) -> tuple[Shot, ...]:
        """This photo, and the second where there is one."""
        return (self, self.second) if self.second else (self,)


@dataclass(frozen=True)
class Round:
    """One game of an evening. Everything is by seat, 0 for the first player.

    ``kept`` is its number in the archive; ``as_kept`` that nothing has changed since. ``erased``
    are seats whose photo was erased since it was snapped.
    """

    number: int
    shots: Mapping[int, Shot] = field(default_factory=dict)
    answers: tuple[tuple[int, Answer], ...] = ()
    claims: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    facts: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    kept: int | None = None
    as_kept: bool = False
    erased: tuple[int, ...] = ()


@dataclass(frozen=True)
class Taught:
    """After this game the table ``learned`` from it, or forgot it: the table's name since."""

    game: int
    table: str
    learned: bool


@dataclass(frozen=True)
class Evening:
    """One evening: who plays which game with which table, and its games so far.

    ``taught``: what the table learned meanwhile; photos are read with the evening's own table.
    """

    id: str
    version: int = 0
    name: str = ""
    table: str = ""
    players: tuple[str, ...] = ()
    at: str = ""
    rounds: tuple[Round, ...] = ()
    taught: tuple[Taught, ...] = ()

    def table_for(self, game: int) -> str:
        """The table by which a game is weighed: as it was taught by the games before."""
        return next((one.table for one in reversed(self.taught) if one.game < game), self.table)

    def learned_from(self, game: int) -> bool:
        """Whether the table has learned from a game, and not forgotten it."""
        return next((one.learned for one in reversed(self.taught) if one.game == game), False)


def fold(id: str, events: Iterable[Event]) -> Evening:
    """The evening after these events."""
    evening = Evening(id)
    for event in events:
        evening = step(evening, event)
    return evening


def step(evening: Evening, event: Event) -> Evening:
    """The evening after one more event."""
    return replace(STEPS[event.kind](evening, event), version=event.version)


def opened(evening: Evening, event: Event) -> Evening:
    """An evening begins, with its first game."""
    body = event.body
    return replace(
        evening,
        name=body["name"],
        table=body["table"],
        players=tuple(body["players"]),
        at=event.at,
        rounds=(Round(1),),
    )


def next_game(evening: Evening, _event: Event) -> Evening:
    """The next game of the same players begins."""
    return replace(evening, rounds=(*evening.rounds, Round(len(evening.rounds) + 1)))


def snapped(evening: Evening, event: Event) -> Evening:
    """A photo came: of one seat's board, or of all boards together in seat order.

    What was answered of a board's earlier photo falls away with that photo.
    """
    body = event.body
    seats = range(len(evening.players)) if body["seat"] is None else [body["seat"]]
    shot = Shot(body["photo"], body["name"], event.by, event.at, parts=len(seats))
    shots = {seat: replace(shot, part=part) for part, seat in enumerate(seats)}
    return changed(evening, body["game"], lambda game: with_shots(game, shots))


def snapped_again(evening: Evening, event: Event) -> Evening:
    """A second photo of one board came; what was answered stays."""
    body = event.body
    second = Shot(body["photo"], body["name"], event.by, event.at)
    return with_second(evening, body["game"], body["seat"], second)


def second_dropped(evening: Evening, event: Event) -> Evening:
    """A board's second photo is not to be looked at any more."""
    return with_second(evening, event.body["game"], event.body["seat"], None)


def with_second(evening: Evening, number: int, seat: int, second: Shot | None) -> Evening:
    """The evening with this second photo of a board, or none."""

    def seen(game: Round) -> Round:
        if seat not in game.shots:
            return game  # its photo was erased since
        shot = replace(game.shots[seat], second=second)
        return replace(game, shots={**game.shots, seat: shot})

    return changed(evening, number, seen)


def cornered(evening: Evening, event: Event) -> Evening:
    """A person showed where one board's corners are."""
    body = event.body
    corners = tuple((x, y) for x, y in body["corners_px"])

    def placed(game: Round) -> Round:
        if body["seat"] not in game.shots:
            return game  # its photo was erased since
        shot = replace(game.shots[body["seat"]], corners_px=corners, part=0, parts=1)
        return with_shots(game, {body["seat"]: shot})

    return changed(evening, body["game"], placed)


def photo_erased(evening: Evening, event: Event) -> Evening:
    """Here a photo was snapped that has been erased since: its boards have none."""
    body = event.body
    seats = range(len(evening.players)) if body["seat"] is None else [body["seat"]]

    def bare(game: Round) -> Round:
        left = {seat: shot for seat, shot in game.shots.items() if seat not in seats}
        answers = tuple((seat, answer) for seat, answer in game.answers if seat not in seats)
        return replace(game, shots=left, answers=answers, erased=(*game.erased, *seats))

    return changed(evening, body["game"], bare)


def erasure(evening: Evening, _event: Event) -> Evening:
    """Somebody had something erased: what that was is in no event any more."""
    return evening


def swapped(evening: Evening, event: Event) -> Evening:
    """Two players' photos change places, with what was answered of them."""
    a, b = event.body["seats"]
    other = {a: b, b: a}

    def exchange(game: Round) -> Round:
        shots = {other.get(seat, seat): shot for seat, shot in game.shots.items()}
        answers = tuple(
            (other.get(seat, seat), replace(answer, player=evening.players[other.get(seat, seat)]))
            for seat, answer in game.answers
        )
        return replace(game, shots=shots, answers=answers)

    return changed(evening, event.body["game"], exchange)


def answered(evening: Evening, event: Event) -> Evening:
    """A person said what lies in a cell, left it open, or took an earlier answer back."""
    body = event.body
    seat, cell, colour = body["seat"], body["cell"], body["colour"]

    def told(game: Round) -> Round:
        kept = tuple((s, a) for s, a in game.answers if (s, a.cell) != (seat, cell))
        if colour:
            answer = Answer(evening.players[seat], cell, colour, event.by, event.at)
            kept = (*kept, (seat, answer))
        return replace(game, answers=kept)

    return changed(evening, body["game"], told)


def claimed(evening: Evening, event: Event) -> Evening:
    """One player's claims, whole: cards said to be complete, and facts of the game's end."""
    body = event.body
    seat = body["seat"]

    def said(game: Round) -> Round:
        claims = {**game.claims, seat: tuple(body["cards"])}
        return replace(game, claims=claims, facts={**game.facts, seat: tuple(body["facts"])})

    return changed(evening, body["game"], said)


def kept(evening: Evening, event: Event) -> Evening:
    """A game went into the archive."""
    number = event.body["number"]
    at = event.body["game"]
    rounds = tuple(
        replace(game, kept=number, as_kept=True) if game.number == at else game
        for game in evening.rounds
    )
    return replace(evening, rounds=rounds)


def learned(evening: Evening, event: Event) -> Evening:
    """The table learned from a game of the evening, or forgot it again."""
    body = event.body
    taught = Taught(body["game"], body["table"], body["learned"])
    return replace(evening, taught=(*evening.taught, taught))


def changed(evening: Evening, number: int, change: Any) -> Evening:
    """The evening with one of its games changed, and thereby no longer as it was kept."""
    rounds = tuple(
        replace(change(game), as_kept=False) if game.number == number else game
        for game in evening.rounds
    )
    return replace(evening, rounds=rounds)


def with_shots(game: Round, shots: Mapping[int, Shot]) -> Round:
    """A game with these photos in place of the earlier ones of the same seats."""
    answers = tuple((seat, answer) for seat, answer in game.answers if seat not in shots)
    erased = tuple(seat for seat in game.erased if seat not in shots)
    return replace(game, shots={**game.shots, **shots}, answers=answers, erased=erased)


STEPS = {
    "opened": opened,
    "next game": next_game,
    "snapped": snapped,
    "snapped again": snapped_again,
    "second dropped": second_dropped,
    "cornered": cornered,
    "swapped": swapped,
    "answered": answered,
    "claimed": claimed,
    "kept": kept,
    "learned": learned,
    "photo erased": photo_erased,
    "erasure": erasure,
}
"""What each kind of event does."""
