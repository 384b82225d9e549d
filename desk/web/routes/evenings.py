"""Evenings and their games."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from desk.web import forms
from desk.web.errors import Refusal
from desk.web.routes.asked import Id, Seen, line_of, office_of, written

router = APIRouter()


@router.post("/evenings", status_code=201, summary="Begin an evening")
async def begin(request: Request, form: forms.NewEvening) -> dict[str, Any]:
    """An evening begins with its first game."""
    office = office_of(request)
    office.files.table_sheet(form.table)
    if len(set(form.players)) < len(form.players):
        raise Refusal(422, "Two players have one name. Give each a name of their own.")
    id = office.new_id()
    body = form.model_dump(exclude={"by"})
    await written(office, f"evening/{id}", "opened", body, form.by)
    return {"id": id}


@router.get(
    "/evenings/{id}",
    summary="An evening as it stands",
    responses={204: {"description": "Nothing is new since ``seen``."}},
)
async def evening(request: Request, id: Id, seen: Seen = "") -> Any:
    """All games with their boards, questions and tally."""
    office = office_of(request)
    if seen and seen == office.stamp(f"evening/{office.evening(id).id}"):
        return Response(status_code=204)
    return office.evening_view(id, line_of(request))


@router.post("/evenings/{id}/games", status_code=201, summary="Begin the next game")
async def next_game(request: Request, id: Id, form: forms.Said) -> dict[str, Any]:
    """The same players, the same table, new boards."""
    office = office_of(request)
    if len(office.evening(id).rounds) >= 200:
        raise Refusal(409, "An evening has at most 200 games. Begin another evening.")
    await written(office, f"evening/{id}", "next game", {}, form.by)
    return {"number": len(office.evening(id).rounds)}
