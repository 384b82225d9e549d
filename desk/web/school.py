"""Tables being learned at the desk: from a calibration's events to what phones are shown of it."""

from __future__ import annotations

import logging
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from desk.shelf import Shelf
from desk.web.calibration import Calibration
from desk.web.work import STOPPED, LearnJob, PlaceJob, learn_job, place_job

if TYPE_CHECKING:
    from desk.web.office import Office


LOG = logging.getLogger("tallyglass.desk")

UNLEARNED = (
    "The table could not be learned from these photos: the work stopped before it was done. "
    "Nothing is lost. Leave a photo out, or take another one, and it is tried again."
)


@dataclass
class School:
    """The calibrations of an office."""

    office: Office
    _places: dict[PlaceJob, Mapping[str, Any]] = field(default_factory=dict)

    def view(self, id: str, line: str) -> dict[str, Any]:
        """A calibration as phones see it; begins what has to be worked out."""
        made = self.office.calibration(id)
        place = self.placed(made, line)
        ready = place is not None and (made.corners_px or not place["needs_corners"])
        wanted = bool(made.layout and made.plan.strip() and ready and place and place["usable"])
        if wanted and made.judged < self.inputs_of(made):
            self.learn(made, line)
        told = asdict(made)
        for kind in ("empty", "layout"):
            told[kind] = [name for _, name in told[kind]]
        picture = f"/api/pictures/{made.first[0]}.jpg" if made.first and place else None
        busy = self.office.busy_with(made.id)
        return {
            **told,
            "stamp": self.office.stamp(f"calibration/{id}"),
            "place": place,
            "picture": picture,
            "busy": busy or (made.first is not None and place is None),
            "judged": made.judged >= self.inputs_of(made),
        }

    def inputs_of(self, made: Calibration) -> int:
        """The version of the last event that a judgement must have seen."""
        events = self.office.journal.events(f"calibration/{made.id}")
        return max(event.version for event in events if event.kind != "judged")

    def placed(self, made: Calibration, line: str) -> Mapping[str, Any] | None:
        """Whether the board is seen in the first photo; None while that is not known."""
        if made.first is None:
            return None
        photo, name = made.first
        picture = str(self.office.files.reading(photo).with_suffix(".jpg"))
        job = PlaceJob(
            str(self.office.files.sheet(made.sheet)),
            str(self.office.files.photo(photo)),
            name,
            picture,
        )
        failed = {
            "usable": False,
            "advice": STOPPED,
            "needs_corners": False,
            "picture": None,
        }
        if job not in self._places:
            self.office.begin(
                job, self._places, lambda: self.office.reader.do(line, place_job, job), failed
            )
        return self._places.get(job)

    def learn(self, made: Calibration, line: str) -> None:
        """Learn the table from what there is by now, and write down how it went."""
        seen = self.inputs_of(made)
        out = self.office.files.learning(f"{made.id}-{seen}")
        name = (
            Shelf(self.office.files.folder / "tables").name_of(made.table)
            if made.table
            else made.name
        )
        job = LearnJob(
            name=name,
            sheet=str(self.office.files.sheet(made.sheet)),
            empty=self.stored(made.empty),
            layout=self.stored(made.layout),
            plan=made.plan,
            out=str(out),
            corners_px=made.corners_px,
        )

        async def work() -> bool:
            result = await self.learned(job, line)
            if self.office.calibration(made.id).judged > seen:  # a later one was done before it
                out.unlink(missing_ok=True)
                return True
            table = (
                self.office.files.reserve("tables", name, ".table") if result["learned"] else None
            )
            if table:
                os.replace(out, table)
            body = {
                "of": seen,
                "table": table.stem if table else "",
                "advice": result["advice"],
            }
            self.office.write(f"calibration/{made.id}", "judged", body, "desk", f"judged-{seen}")
            return True

        self.office.begin((made.id, seen), {}, work, None)

    async def learned(self, job: LearnJob, line: str) -> dict[str, Any]:
        """What came of learning; also where it failed, or phones would have it begun for ever."""
        try:
            return await self.office.reader.do(line, learn_job, job)
        except Exception:
            LOG.exception("a table could not be learned")
            return {"learned": False, "advice": [UNLEARNED]}

    def stored(self, photos: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
        """Photos as (path, name)."""
        return tuple((str(self.office.files.photo(photo)), name) for photo, name in photos)
