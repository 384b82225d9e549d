"""What addresses and queries may hold, and what every route asks of the application."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Path, Query, Request
from starlette.concurrency import run_in_threadpool

from desk.web import forms
from desk.web.files import NAME
from desk.web.office import Office

Id = Annotated[str, Path(pattern="^[0-9a-f]{1,20}$", description="As given when it was begun.")]
Number = Annotated[int, Path(ge=1, le=10_000, description="Of the game, from 1.")]
Seat = Annotated[int, Path(ge=0, lt=forms.MOST_PLAYERS, description="Of the player, from 0.")]
Named = Annotated[str, Path(pattern=f"^{NAME.pattern}$")]
Seen = Annotated[str, Query(max_length=60, description="The stamp of what is shown already.")]
PhotoName = Annotated[str, Query(max_length=300, description="The file's name, for people.")]
Upload = Annotated[
    str,
    Query(
        pattern="^[A-Za-z0-9-]{8,64}$",
        description="A name of your own for this upload; sent again, it counts once.",
    ),
]
Sha256 = Annotated[
    str | None,
    Query(pattern="^[0-9a-fA-F]{64}$", description="Of the file, so that damage is noticed."),
]
By = Annotated[str, Query(min_length=1, max_length=forms.NAME_LENGTH, description="Who sends it.")]
PHOTO_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "The photo file as it is: JPEG, PNG, WebP or HEIC, told by its first bytes.",
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
    }
}


def office_of(request: Request) -> Office:
    """The office that this application serves."""
    return request.app.state.office


def line_of(request: Request) -> str:
    """Which phone this is, for the fairness of the queue."""
    return request.scope.get("session") or (request.client.host if request.client else "")


async def written(office: Office, *event: Any) -> int:
    """Put an event on the disk without holding up other phones."""
    return await run_in_threadpool(office.write, *event)


def clean(by: str) -> str:
    """A name from a query, as forms would take it."""
    shown = "".join(letter for letter in by if letter.isprintable()).strip()
    return shown or "host"
