"""Claims, the tally to send on, and keeping a game."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from desk.web import forms
from desk.web.errors import Refusal
from desk.web.keep import FORMS
from desk.web.routes.asked import Id, Number, Seat, office_of, written
from scoring.tally import facts_of

router = APIRouter()


@router.put(
    "/evenings/{id}/games/{number}/claims/{seat}", summary="Say which cards a player claims"
)
async def claims(
    request: Request, id: Id, number: Number, seat: Seat, form: forms.ClaimsForm
) -> dict[str, Any]:
    """All of the player's claims and facts, in place of the earlier ones."""
    office = office_of(request)
    evening, _ = office.seat(id, number, seat)
    sheet = office.files.table_sheet(evening.table)
    check_known(form.cards, [card.name for card in sheet.cards], "card")
    check_known(form.facts, facts_of(sheet), "fact of the end")
    body = {"game": number, "seat": seat, "cards": form.cards, "facts": form.facts}
    return {"version": await written(office, f"evening/{id}", "claimed", body, form.by)}


def check_known(names: list[str], known: Any, what: str) -> None:
    """Raise Refusal for a name that the game does not have, or one given twice."""
    for name in names:
        if name not in known:
            raise Refusal(422, f"The game has no {what} {name}.")
    if len(set(names)) < len(names):
        raise Refusal(422, f"A {what} is named twice.")


@router.post("/evenings/{id}/games/{number}/keep", summary="Put a game into the archive")
async def keep(request: Request, id: Id, number: Number, form: forms.Said) -> dict[str, Any]:
    """Kept for good, with photos, readings, answers and tally."""
    return {"number": await office_of(request).keep(id, number, form.by)}


@router.put("/evenings/{id}/games/{number}/lesson", summary="Let the table learn from a kept game")
async def lesson(
    request: Request, id: Id, number: Number, form: forms.LessonForm
) -> dict[str, Any]:
    """For games that follow, here and on later evenings; or let it forget what it learned.

    ``words`` tell of colours that no longer look as they were learned.
    """
    words = await office_of(request).learn(id, number, form.by, forget=not form.learn)
    return {"words": words}


Share = Annotated[str, Path(pattern=f"^({'|'.join(FORMS)})$")]


@router.get(
    "/evenings/{id}/games/{number}/tally.{form}",
    summary="The tally as txt, png, pdf, html, csv or json",
    response_class=Response,
    responses={200: {"content": {kind: {} for kind, _ in FORMS.values()}}},
)
async def share(request: Request, id: Id, number: Number, form: Share) -> Response:
    """A file to send on."""
    data = await office_of(request).share(id, number, form)
    return Response(data, media_type=FORMS[form][0])
