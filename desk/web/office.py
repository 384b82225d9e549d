"""The desk's inner office: from what the journal says to what phones are shown, jobs handed out.

It never waits for a worker before it answers: what is not known yet is shown as on its way.
"""

from __future__ import annotations

import asyncio
import logging
import secrets
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from calibrate.lessons import called
from desk.archive import now_utc
from desk.types import now
from desk.web.calibration import Calibration, fold_calibration
from desk.web.crew import Crew
from desk.web.errors import Refusal, no_such
from desk.web.evening import Evening, Round, Shot, fold
from desk.web.files import Files, reading_key
from desk.web.journal import Event, Journal
from desk.web.keep import KeepJob, ShareJob, keep_job, share_job
from desk.web.lessons import LessonJob, lesson_job
from desk.web.school import School
from desk.web.weigh import BoardJob, Look, WeighJob, weigh_job
from desk.web.work import STOPPED, ReadJob, read_job
from scoring.errors import TallyglassError

LOG = logging.getLogger("tallyglass.desk")

FAILED = {
    "found": False,
    "reason": STOPPED,
    "hint": "Take another photo of this board.",
    "corners_help": False,
}


MOST_RESULTS = 400
"""Readings kept in memory, some 50 kB each; the others are read from their files again."""


@dataclass
class Office:
    """One data folder being served."""

    files: Files
    journal: Journal
    archive: Path | str
    reader: Crew
    weigher: Crew
    clock: Callable[[], datetime] = now_utc

    def __post_init__(self) -> None:
        self._evenings: dict[str, Evening] = {}
        self._results: dict[str, Mapping[str, Any]] = {}
        self._views: dict[WeighJob, Mapping[str, Any]] = {}
        self._last_view: dict[tuple[str, int], Mapping[str, Any]] = {}
        self._running: dict[object, asyncio.Task[None]] = {}
        self._keeping: dict[tuple[str, int], asyncio.Lock] = {}
        self._news = 0
        self._boot = secrets.token_hex(3)
        self.school = School(self)

    # What happens -------------------------------------------------------------------------------

    def write(
        self, log: str, kind: str, body: dict[str, Any], by: str, once: str | None = None
    ) -> int:
        """Put an event into a log; returns the log's version once it is on the disk."""
        return self.journal.add(log, Event(0, kind, body, by, now(self.clock)), once)

    def new_id(self) -> str:
        """A name for a new evening or calibration that nobody can guess."""
        return secrets.token_hex(5)

    def evening(self, id: str) -> Evening:
        """An evening as the journal has it now. Raises Refusal where there is none."""
        version = self.journal.version(f"evening/{id}")
        if not version:
            raise no_such("evening")
        known = self._evenings.get(id)
        if known is None or known.version != version:
            known = self._evenings[id] = fold(id, self.journal.events(f"evening/{id}"))
        return known

    def game(self, id: str, number: int) -> tuple[Evening, Round]:
        """A game of an evening."""
        evening = self.evening(id)
        if not 1 <= number <= len(evening.rounds):
            raise no_such("game")
        return evening, evening.rounds[number - 1]

    def seat(self, id: str, number: int, seat: int) -> tuple[Evening, Round]:
        """A game of an evening which has such a seat."""
        evening, game = self.game(id, number)
        if not 0 <= seat < len(evening.players):
            raise no_such("player")
        return evening, game

    def calibration(self, id: str) -> Calibration:
        """A calibration as the journal has it now."""
        events = self.journal.events(f"calibration/{id}")
        if not events:
            raise no_such("calibration")
        return fold_calibration(id, events)

    def resume(self) -> None:
        """Begin what the latest evening waits for: a server that was stopped goes on unasked."""
        latest = self.journal.logs("evening/")[:1]
        try:
            for log in latest:
                self.evening_view(log.partition("/")[2], "")
        except TallyglassError as error:
            LOG.warning("the latest evening cannot go on: %s", error)

    # What is shown ------------------------------------------------------------------------------

    def stamp(self, log: str) -> str:
        """Changes whenever a phone that watches this log should look again."""
        return f"{self._boot}.{self.journal.version(log)}.{self._news}"

    def evening_view(self, id: str, line: str) -> dict[str, Any]:
        """An evening as phones see it; begins what has to be worked out."""
        evening = self.evening(id)
        games = [self.game_view(evening, game, line) for game in evening.rounds]
        return {
            "id": id,
            "stamp": self.stamp(f"evening/{id}"),
            "version": evening.version,
            "name": evening.name,
            "table": evening.table,
            "players": list(evening.players),
            "at": evening.at,
            "waiting": self.reader.ahead(),
            "games": games,
        }

    def game_view(self, evening: Evening, game: Round, line: str) -> dict[str, Any]:
        """One game: photos, what is read, what follows from it."""
        boards = {
            str(seat): self.board_view(evening, shot, line) for seat, shot in game.shots.items()
        }
        view, fresh = self.weighed(evening, game)
        return {
            "number": game.number,
            "boards": boards,
            "claims": {str(seat): list(cards) for seat, cards in game.claims.items()},
            "facts": {str(seat): list(facts) for seat, facts in game.facts.items()},
            "answers": [{"seat": seat, **vars(answer)} for seat, answer in game.answers],
            "kept": game.kept,
            "as_kept": game.as_kept,
            "learned": evening.learned_from(game.number),
            "erased": list(game.erased),
            "view": view,
            "fresh": fresh,
        }

    def board_view(self, evening: Evening, shot: Shot, line: str) -> dict[str, Any]:
        """One board's photo and how far its reading is."""
        key = reading_key(shot.photo, evening.table, shot)
        told = {"reading": key, "name": shot.name, "by": shot.by, "part": shot.part}
        told["parts"] = shot.parts
        told["second"] = self.board_view(evening, shot.second, line) if shot.second else None
        result = self.result(evening, shot, line)
        if result is None:
            return {**told, "state": "reading"}
        part = result["parts"][shot.part]
        told["picture"] = f"/api/pictures/{key}.jpg" if result["picture"] else None
        if part["found"]:
            return {**told, "state": "read"}
        return {**told, "state": "refused", **part, "size": result["picture"]}

    def result(self, evening: Evening, shot: Shot, line: str) -> Mapping[str, Any] | None:
        """What was read of a photo; None while it is on its way."""
        key = reading_key(shot.photo, evening.table, shot)
        failed = {"parts": [FAILED] * shot.parts, "picture": None}
        has_file = self.files.reading(key).with_suffix(".json").exists()  # erasing takes it away
        has_failed = self._results.get(key) == failed  # no file, and not to be begun for ever
        known = self.known(key) if has_file or has_failed else None
        if known is not None:
            self._results.pop(key, None)
            self._results[key] = known  # the latest asked for comes last, and goes last
            while len(self._results) > MOST_RESULTS:
                self._results.pop(next(iter(self._results)))
            return known
        job = ReadJob(
            photo=str(self.files.photo(shot.photo)),
            name=shot.name,
            table=str(self.files.table(evening.table)),
            out=str(self.files.reading(key)),
            parts=shot.parts,
            corners_px=shot.corners_px,
        )
        self.begin(key, self._results, lambda: self.reader.do(line, read_job, job), failed)
        return None

    def known(self, key: str) -> Mapping[str, Any] | None:
        """What was read under this name, from memory or from its file."""
        return self._results.get(key) or self.files.result(key)

    def begin(
        self,
        key: Any,
        results: dict[Any, Any],
        work: Callable[[], Awaitable[Any]],
        failed: Any,
    ) -> None:
        """Have something worked out once, and put it into ``results``."""
        if key in self._running:
            return

        async def run() -> None:
            try:
                results[key] = await work()
            except Exception:
                LOG.exception("a job failed")
                results[key] = failed
            finally:
                self._news += 1
                self._running.pop(key, None)

        self._running[key] = asyncio.create_task(run())

    def busy_with(self, id: str) -> bool:
        """Whether something of this calibration is being worked out."""
        return any(key[0] == id for key in self._running if isinstance(key, tuple))

    def weigh_job(self, evening: Evening, game: Round) -> WeighJob | None:
        """The game's weighing; None while no board is read."""
        boards = []
        for seat, shot in sorted(game.shots.items()):
            looks = [self.look(evening, look) for look in shot.looks]
            if looks[0]:
                read = tuple(look for look in looks if look)
                boards.append(BoardJob(seat, evening.players[seat], read))
        if not boards:
            return None
        seats = [board.seat for board in boards]
        return WeighJob(
            table=str(self.files.table(evening.table_for(game.number))),
            boards=tuple(boards),
            answers=tuple(answer for seat, answer in game.answers if seat in seats),
            claims=tuple((evening.players[seat], game.claims.get(seat, ())) for seat in seats),
            facts=tuple((evening.players[seat], game.facts.get(seat, ())) for seat in seats),
            missing=tuple(p for seat, p in enumerate(evening.players) if seat not in seats),
        )

    def look(self, evening: Evening, shot: Shot) -> Look | None:
        """A photo in which a board was read, for the weighing; None where none was, or not yet."""
        key = reading_key(shot.photo, evening.table, shot)
        result = self.known(key)
        if not result or not result["parts"][shot.part]["found"]:
            return None
        path = self.files.reading(key)
        reading = str(path.with_name(f"{path.name}-{shot.part}.pickle"))
        return Look(shot.name, str(self.files.photo(shot.photo)), reading, shot.at)

    def weighed(self, evening: Evening, game: Round) -> tuple[Mapping[str, Any] | None, bool]:
        """The game's view, and whether it is up to date; the one before while it is not."""
        place = (evening.id, game.number)
        job = self.weigh_job(evening, game)
        if job is None:
            self._last_view.pop(place, None)
            return None, True
        if job in self._views:
            self._last_view[place] = self._views[job]
            return self._views[job] or None, True
        if len(self._views) > 200:
            self._views.clear()
        self.begin(job, self._views, lambda: self.weigher.do(evening.id, weigh_job, job), {})
        return self._last_view.get(place) or None, False

    # What is kept and shared --------------------------------------------------------------------

    def whole(self, evening: Evening, game: Round) -> WeighJob:
        """The game's weighing. Raises Refusal where no board is read yet."""
        job = self.weigh_job(evening, game)
        if job is None:
            raise Refusal(409, "No board of this game is read yet. Snap one first.")
        return job

    async def keep(self, id: str, number: int, by: str) -> int:
        """Put a game into the archive and say so in the journal; returns its number there.

        Asked twice for the same, as by a double tap, it is kept once; kept again after a change,
        the new entry takes the place of the one before.
        """
        self.game(id, number)
        async with self._keeping.setdefault((id, number), asyncio.Lock()):
            return await self.kept(id, number, by)

    async def kept(self, id: str, number: int, by: str) -> int:
        """As ``keep``, for one caller at a time."""
        self.evening_view(id, id)  # after a restart, readings are looked up again
        evening, game = self.game(id, number)
        if game.kept is not None and game.as_kept:
            return game.kept
        job = self.whole(evening, game)
        if job.missing:
            words = f"Not all boards are read yet: {', '.join(job.missing)}. Snap them first."
            raise Refusal(409, words)
        for seat, shot in game.shots.items():
            if any(self.result(evening, look, id) is None for look in shot.looks):
                player = evening.players[seat]
                raise Refusal(409, f"{player}’s second photo is being read. Try again soon.")
        keeping = KeepJob(job, str(self.archive), evening.name, game.kept)
        kept = await self.weigher.do(id, keep_job, keeping)
        self.write(f"evening/{id}", "kept", {"game": number, "number": kept}, by)
        return kept

    async def learn(self, id: str, number: int, by: str, *, forget: bool) -> list[str]:
        """Have the table learn from a kept game, or forget it, for the games that follow; returns
        what the host should know of colours that drifted. Asked twice, it is done once."""
        self.game(id, number)
        async with self._keeping.setdefault((id, number), asyncio.Lock()):
            self.evening_view(id, id)  # after a restart, readings are looked up again
            evening, game = self.game(id, number)
            if evening.learned_from(number) != forget:
                return []
            if game.kept is None or not (game.as_kept or forget):
                raise Refusal(409, "Keep the game first: a table learns from games that are kept.")
            view, fresh = self.weighed(evening, game)
            if not forget and not (view and fresh and view["tally"]["settled"]):
                raise Refusal(409, "This game is not settled. Answer its questions first.")
            job = LessonJob(
                self.whole(evening, game),
                called(game.kept),
                now(self.clock),
                str(self.files.folder / "tables"),
                evening.table,
                forget,
            )
            told = await self.weigher.do(id, lesson_job, job)
            if "problem" in told:
                raise Refusal(409, told["problem"])
            body = {"game": number, "table": told["table"], "learned": not forget}
            self.write(f"evening/{id}", "learned", body, by)
            return list(told["words"])

    async def share(self, id: str, number: int, form: str) -> bytes:
        """The tally as a file."""
        self.evening_view(id, id)
        evening, game = self.game(id, number)
        job = self.whole(evening, game)
        return await self.weigher.do(id, share_job, ShareJob(job, form, self.clock()))

    async def close(self) -> None:
        """End the workers and close the journal."""
        for task in list(self._running.values()):
            task.cancel()
        await asyncio.gather(*self._running.values(), return_exceptions=True)
        await self.reader.stop()
        await self.weigher.stop()
        self.journal.close()
