"""Photos of boards, what is read of them, and what people say of their cells."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from desk.types import SKIP
from desk.web import forms
from desk.web.errors import Refusal, no_such
from desk.web.evening import Round, Shot
from desk.web.intake import plain_name, take_photo
from desk.web.routes.asked import (
    PHOTO_BODY,
    By,
    Id,
    Number,
    PhotoName,
    Seat,
    Sha256,
    Upload,
    clean,
    line_of,
    office_of,
    written,
)
from scoring.types import EMPTY

router = APIRouter()


@router.put(
    "/evenings/{id}/games/{number}/photo",
    summary="Send one photo that shows all boards",
    openapi_extra=PHOTO_BODY,
)
async def snap_all(
    request: Request,
    id: Id,
    number: Number,
    upload: Upload,
    name: PhotoName = "photo",
    sha256: Sha256 = None,
    by: By = "host",
) -> dict[str, Any]:
    """Boards go to the players from left to right, the upper row first; they can be swapped."""
    office = office_of(request)
    office.game(id, number)
    return await snapped(request, id, number, None, upload, name, sha256, by)


@router.put(
    "/evenings/{id}/games/{number}/boards/{seat}/photo",
    summary="Send the photo of one player's board",
    openapi_extra=PHOTO_BODY,
)
async def snap(
    request: Request,
    id: Id,
    number: Number,
    seat: Seat,
    upload: Upload,
    name: PhotoName = "photo",
    sha256: Sha256 = None,
    by: By = "host",
) -> dict[str, Any]:
    """An earlier photo of the same board gives way, with what was answered of it."""
    office = office_of(request)
    office.seat(id, number, seat)
    return await snapped(request, id, number, seat, upload, name, sha256, by)


@router.put(
    "/evenings/{id}/games/{number}/boards/{seat}/second/photo",
    summary="Send a second photo of one player's board",
    openapi_extra=PHOTO_BODY,
)
async def snap_again(
    request: Request,
    id: Id,
    number: Number,
    seat: Seat,
    upload: Upload,
    name: PhotoName = "photo",
    sha256: Sha256 = None,
    by: By = "host",
) -> dict[str, Any]:
    """Both photos are read as one; answers stay. A second photo that cannot be of this board is
    not used, and the board's view says why.
    """
    office = office_of(request)
    shot = shot_of(office.seat(id, number, seat)[1], seat)
    if shot.parts > 1:
        words = f"{shot.name} shows several boards. Snap this board alone first, then once more."
        raise Refusal(409, words)
    name = plain_name(name)
    photo = await take_photo(request, office.files, name, sha256)
    if photo == shot.photo:
        raise Refusal(422, "This is the same photo. Snap the board once more from another side.")
    return await taken(request, "snapped again", id, number, seat, photo, name, upload, by)


@router.delete(
    "/evenings/{id}/games/{number}/boards/{seat}/second/photo",
    summary="Look no more at a board's second photo",
)
async def drop_second(
    request: Request, id: Id, number: Number, seat: Seat, by: By = "host"
) -> dict[str, Any]:
    """The board is read from its first photo alone; answers stay."""
    office = office_of(request)
    if shot_of(office.seat(id, number, seat)[1], seat).second is None:
        raise Refusal(409, "There is no second photo of this board.")
    body = {"game": number, "seat": seat}
    return {"version": await written(office, f"evening/{id}", "second dropped", body, clean(by))}


def shot_of(game: Round, seat: int) -> Shot:
    """A seat's photo. Raises Refusal where there is none."""
    if seat not in game.shots:
        raise Refusal(409, "There is no photo of this board yet. Snap it first.")
    return game.shots[seat]


async def snapped(
    request: Request,
    id: str,
    number: int,
    seat: int | None,
    upload: str,
    name: str,
    sha256: str | None,
    by: str,
) -> dict[str, Any]:
    """Take a photo in, write it down, have it read at once."""
    name = plain_name(name)
    photo = await take_photo(request, office_of(request).files, name, sha256)
    return await taken(request, "snapped", id, number, seat, photo, name, upload, by)


async def taken(
    request: Request,
    kind: str,
    id: str,
    number: int,
    seat: int | None,
    photo: str,
    name: str,
    upload: str,
    by: str,
) -> dict[str, Any]:
    """Write down that a stored photo came, and have it read at once."""
    office = office_of(request)
    body = {"game": number, "seat": seat, "photo": photo, "name": name}
    version = await written(office, f"evening/{id}", kind, body, clean(by), f"photo-{upload}")
    office.evening_view(id, line_of(request))
    return {"photo": photo, "version": version}


@router.post(
    "/evenings/{id}/games/{number}/boards/{seat}/corners", summary="Show a board's corners"
)
async def corners(
    request: Request, id: Id, number: Number, seat: Seat, form: forms.CornersForm
) -> dict[str, Any]:
    """The photo is read again from there."""
    office = office_of(request)
    shot_of(office.seat(id, number, seat)[1], seat)
    body = {"game": number, "seat": seat, "corners_px": form.corners_px}
    version = await written(office, f"evening/{id}", "cornered", body, form.by)
    office.evening_view(id, line_of(request))
    return {"version": version}


@router.post("/evenings/{id}/games/{number}/swap", summary="Let two players' photos change places")
async def swap(request: Request, id: Id, number: Number, form: forms.SwapForm) -> dict[str, Any]:
    """For when a photo was given to the wrong player."""
    office = office_of(request)
    for seat in form.seats:
        office.seat(id, number, seat)
    body = {"game": number, "seats": form.seats}
    return {"version": await written(office, f"evening/{id}", "swapped", body, form.by)}


@router.post("/evenings/{id}/games/{number}/answers", summary="Say what lies in a cell")
async def answer(
    request: Request, id: Id, number: Number, form: forms.AnswerForm
) -> dict[str, Any]:
    """What people say counts, whatever was read. ``skip`` leaves it open, "" takes it back."""
    office = office_of(request)
    evening, game = office.seat(id, number, form.seat)
    sheet = office.files.table_sheet(evening.table)
    if form.cell not in sheet.lattice.neighbours:
        raise Refusal(422, f"The board has no cell {form.cell}.")
    known = [colour.name for colour in sheet.colours] + [EMPTY, SKIP]
    if form.colour and form.colour not in known:
        raise Refusal(422, f"{form.colour} is none of {', '.join(known)}.")
    shot_of(game, form.seat)
    body = {"game": number, **form.model_dump(exclude={"by"})}
    return {"version": await written(office, f"evening/{id}", "answered", body, form.by)}


@router.get("/readings/{key}", summary="What was read of a photo, with outlines for drawing")
async def reading(
    request: Request, key: Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
) -> dict[str, Any]:
    """Never changes; outlines are px of the picture, (0, 0) at its top left corner."""
    result = office_of(request).files.result(key)
    if result is None:
        raise no_such("reading")
    return result


@router.get(
    "/pictures/{key}.jpg",
    summary="An upright photo, as large as a phone shows it",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}},
)
def picture(request: Request, key: Annotated[str, Path(pattern="^[0-9a-f]{64}$")]) -> Response:
    """Never changes."""
    try:
        data = office_of(request).files.reading(key).with_suffix(".jpg").read_bytes()
    except FileNotFoundError as error:
        raise no_such("picture") from error
    return Response(data, media_type="image/jpeg")
