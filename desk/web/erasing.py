"""Taking a person, or an evening's photos, out of the desk's own folder, beside the archive.

The journal is otherwise never changed. Here its events are given other words, in one transaction
that leaves an event of its own in every log it touched, so that a desk that is running looks
again. Photos, their readings and pictures go first: an erasure that was stopped can be said again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from desk.keeping.erase import replaced
from desk.shelf import Shelf
from desk.types import Clock, now
from desk.web.evening import Evening, Shot, step
from desk.web.files import Files, reading_key
from desk.web.journal import Event, Journal
from scoring.errors import TallyglassError

JOURNAL = "evenings.sqlite"

WITHOUT = {"snapped": "photo erased", "snapped again": "second dropped"}
"""What an event becomes whose photo is erased."""


class ErasingError(TallyglassError):
    """What is asked for cannot be done in the desk's folder; nothing was changed there."""


@dataclass(frozen=True)
class Forgotten:
    """How many evenings (and calibrations) were changed, and how many photos are gone."""

    logs: int = 0
    photos: int = 0


@dataclass(frozen=True)
class DeskFolder:
    """A desk's folder from which something is to be erased by somebody."""

    folder: Path
    by: str
    clock: Clock

    def erase_person(self, person: str, name: str) -> Forgotten:
        """Call a person otherwise, and take away the photos of that person's boards."""
        return self._change(person, name, photos=True)

    def check_apart(self, person: str, name: str) -> None:
        """Raise ErasingError where another name would make two players of an evening one."""
        for events in self._logs().values():
            if {person, name} <= players_in(events):
                raise ErasingError(
                    f"The web desk has a {name} in an evening with {person}. Choose another name; "
                    "nothing was changed."
                )

    def rename_person(self, person: str, name: str) -> Forgotten:
        """Call a person otherwise; photos stay."""
        return self._change(person, name, photos=False)

    def erase_photos(self, evening: str) -> Forgotten:
        """Take away all photos of the evenings of this name."""
        logs = {log: events for log, events in self._logs().items() if named(events, evening)}
        gone = {shot.photo for log, events in logs.items() for _, shot in shots_of(log, events)}
        return self._write(logs, gone, lambda event: without_photos(event, gone))

    def left_words(self, person: str) -> Iterator[str]:
        """What an erasure here does not reach, where there is any."""
        tables = Shelf(self.folder / "tables").tables()
        for one in tables:
            if person and replaced(one.name, person, "") != one.name:
                yield f"The table {one.name} is called so still: `tallyglass table rename`."
        demo = self.folder / "demo"
        if (demo / JOURNAL).exists():
            yield f"The demo is apart: --data {demo} --archive {demo / 'archive'}."
        if person:
            yield "A phone remembers the name that was typed on its first page; change it there."

    def _change(self, person: str, name: str, *, photos: bool) -> Forgotten:
        logs = self._logs()
        gone = set(photos_of(logs, person)) if photos else set()

        def told(event: Event) -> Event:
            return renamed(without_photos(event, gone), person, name)

        return self._write(logs, gone, told)

    def _logs(self) -> dict[str, list[Event]]:
        if not (self.folder / JOURNAL).exists():
            return {}
        journal = Journal(self.folder / JOURNAL)
        try:
            return {log: journal.events(log) for log in journal.logs("")}
        finally:
            journal.close()

    def _write(self, logs: Mapping[str, list[Event]], gone: set[str], told: Any) -> Forgotten:
        changed = {}
        for log, events in logs.items():
            other = [(old, told(old)) for old in events]
            if different := [new for old, new in other if new != old]:
                changed[log] = different
        if not changed:
            return Forgotten()
        self._remove(logs, changed, gone)
        journal = Journal(self.folder / JOURNAL)
        try:
            journal.rewrite(changed, Event(0, "erasure", {}, self.by, now(self.clock)))
        finally:
            journal.close()
        return Forgotten(len(changed), len(gone))

    def _remove(
        self, logs: Mapping[str, list[Event]], changed: Mapping[str, list[Event]], gone: set[str]
    ) -> None:
        """Files of photos that are gone; readings also of photos whose file had a person's name."""
        files = Files(self.folder)
        versions = {(log, new.version) for log, events in changed.items() for new in events}
        for log, events in logs.items():
            stale = {e.body.get("photo") for e in events if (log, e.version) in versions} | gone
            for table, shot in shots_of(log, events):
                if shot.photo in stale:
                    remove(files.reading(reading_key(shot.photo, table, shot)))
        for photo in gone - photos_needed(logs, gone):
            files.photo(photo).unlink(missing_ok=True)


def remove(reading: Path) -> None:
    """A reading with its picture and its evidence; it can be made again while the photo is here."""
    for path in reading.parent.glob(f"{reading.name}*"):
        path.unlink(missing_ok=True)


def shots_of(log: str, events: Iterable[Event]) -> Iterator[tuple[str, Shot]]:
    """Every photo that a board of an evening ever had, as it was to be read, after the table."""
    for evening in states(log, events):
        for game in evening.rounds:
            for shot in game.shots.values():
                yield from ((evening.table, look) for look in shot.looks)


def states(log: str, events: Iterable[Event]) -> Iterator[Evening]:
    """An evening after each of its events; nothing for other logs."""
    kind, _, id = log.partition("/")
    evening = Evening(id)
    for event in events if kind == "evening" else ():
        evening = step(evening, event)
        yield evening


def photos_of(logs: Mapping[str, list[Event]], person: str) -> Iterator[str]:
    """Photos that show a person's board: as whose they were last known, should they be swapped."""
    for log, events in logs.items():
        owners: dict[str, set[str]] = {}
        for evening in states(log, events):
            shown: dict[str, set[str]] = {}
            for game in evening.rounds:
                for seat, shot in game.shots.items():
                    for look in shot.looks:
                        shown.setdefault(look.photo, set()).add(evening.players[seat])
            owners |= shown
        yield from (photo for photo, players in owners.items() if person in players)


def photos_needed(logs: Mapping[str, list[Event]], gone: set[str]) -> set[str]:
    """Photos that something else is still made of, though a board has lost them."""
    left = (without_photos(event, gone) for events in logs.values() for event in events)
    return {event.body["photo"] for event in left if "photo" in event.body}


def players_in(events: Iterable[Event]) -> set[str]:
    """Everybody who plays in an evening."""
    return {name for event in events for name in event.body.get("players", ())}


def named(events: Iterable[Event], evening: str) -> bool:
    """Whether this is an evening of this name."""
    return any(e.kind == "opened" and e.body["name"] == evening for e in events)


def without_photos(event: Event, gone: set[str]) -> Event:
    """A snapped photo that is gone leaves only where it was."""
    if event.kind not in WITHOUT or event.body["photo"] not in gone:
        return event
    kept = {key: event.body[key] for key in ("game", "seat")}
    return replace(event, kind=WITHOUT[event.kind], body=kept)


def renamed(event: Event, person: str, name: str) -> Event:
    """An event in which a person is called otherwise, wherever a name can stand."""
    body = dict(event.body)
    if "players" in body:
        body["players"] = [name if player == person else player for player in body["players"]]
    if event.kind in ("opened", *WITHOUT, "photo"):  # a calibration's name is its table's
        body["name"] = replaced(body["name"], person, name)
    return replace(event, body=body, by=name if event.by == person else event.by)
