"""What the events of one calibration add up to. Pure, as evening.py."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from desk.web.evening import Points
from desk.web.journal import Event

Stored = tuple[str, str]
"""A stored photo and the name it came under."""


@dataclass(frozen=True)
class Calibration:
    """A table in the making: its photos in the order they came, the plan, where corners are."""

    id: str
    version: int = 0
    at: str = ""
    name: str = ""
    sheet: str = ""
    plan: str = ""
    empty: tuple[Stored, ...] = ()
    layout: tuple[Stored, ...] = ()
    corners_px: Points = ()
    table: str = ""
    advice: tuple[str, ...] = ()
    judged: int = 0

    @property
    def first(self) -> Stored | None:
        """The photo that sets the board's frame."""
        return next(iter((*self.empty, *self.layout)), None)


def fold_calibration(id: str, events: Iterable[Event]) -> Calibration:
    """The calibration after these events."""
    made = Calibration(id)
    for event in events:
        made = replace(step(made, event), version=event.version)
    return made


def step(made: Calibration, event: Event) -> Calibration:
    """The calibration after one more event."""
    body = event.body
    match event.kind:
        case "begun":
            told = {key: body[key] for key in ("name", "sheet", "plan")}
            return replace(made, **told, at=event.at)
        case "photo":
            kind = body["kind"]
            first = made.first
            photos = (*getattr(made, kind), (body["photo"], body["name"]))
            added = with_photos(made, kind, photos)
            return added if added.first == first else replace(added, corners_px=())
        case "dropped":
            kind, number = body["kind"], body["number"]
            photos = getattr(made, kind)
            left = with_photos(made, kind, photos[:number] + photos[number + 1 :])
            return left if left.first == made.first else replace(left, corners_px=())
        case "plan":
            return replace(made, plan=body["plan"])
        case "corners":
            return replace(made, corners_px=tuple((x, y) for x, y in body["corners_px"]))
        case "judged" if body["of"] < made.judged:
            return made  # learned from fewer photos, and done later
        case "judged":
            return replace(
                made, table=body["table"], advice=tuple(body["advice"]), judged=body["of"]
            )
        case "erasure":
            return made
        case _:
            raise ValueError(f"unknown event {event.kind!r}")


def with_photos(made: Calibration, kind: str, photos: tuple[Stored, ...]) -> Calibration:
    """The calibration with other photos of one kind."""
    return replace(made, empty=photos) if kind == "empty" else replace(made, layout=photos)
