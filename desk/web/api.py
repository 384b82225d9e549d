"""The JSON interface: what the page uses, and scripts use the same. Documented as OpenAPI.

A refused request is answered with ``{"problem": "a sentence"}``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from desk.archive import Archive
from desk.keeping.standings import Standings
from desk.types import SKIP
from desk.web import forms
from desk.web.errors import Refusal, no_such
from desk.web.files import NAME
from desk.web.games import card_svg, game_view, layout_svg, proposed_plan
from desk.web.intake import plain_name, take_photo
from desk.web.keep import FORMS
from desk.web.office import Office
from scoring.grid import parse_grid
from scoring.sheet import load_sheet, parse_sheet
from scoring.tally import facts_of
from scoring.types import EMPTY

WORDS = {
    400: "The request cannot be understood.",
    401: "No key was used.",
    403: "The request came from elsewhere.",
    404: "There is no such thing.",
    408: "The body came too slowly.",
    409: "Not possible yet.",
    413: "Too large.",
    421: "A name that this desk does not answer to.",
    422: "Something in it cannot be used.",
}
REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"model": forms.Problem, "description": words} for status, words in WORDS.items()
}

router = APIRouter(prefix="/api", responses=REFUSALS)

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


# The desk ---------------------------------------------------------------------------------------


@router.get("/desk", summary="Tables, game sheets, evenings and calibrations there are")
async def desk(request: Request) -> dict[str, Any]:
    """The first page."""
    office = office_of(request)
    tables = [
        {"name": name, "game": office.files.table_sheet(name).name}
        for name in office.files.names("tables", ".table")
    ]
    sheets = [
        {"name": name, "game": load_sheet(office.files.sheet(name)).name}
        for name in sorted(office.files.names("sheets", ".toml"), key=office.files.plan_first)
    ]
    evenings = [office.evening(log.partition("/")[2]) for log in office.journal.logs("evening/")]
    return {
        "tables": tables,
        "sheets": sheets,
        "evenings": [
            {
                "id": evening.id,
                "name": evening.name,
                "players": list(evening.players),
                "at": evening.at,
                "games": len(evening.rounds),
            }
            for evening in evenings[:50]
        ],
        "lan": request.app.state.door.needs_session,
    }


@router.get("/tables/{table}", summary="A table's game: colours, cards, facts of the end")
async def table(request: Request, table: Named) -> dict[str, Any]:
    """What a phone needs to show of a game."""
    return game_view(office_of(request).files.table_sheet(table), f"/api/tables/{table}/cards")


@router.get(
    "/tables/{table}/cards/{number}.svg",
    summary="A card's pattern as a picture",
    response_class=Response,
    responses={200: {"content": {"image/svg+xml": {}}}},
)
async def card(
    request: Request, table: Named, number: Annotated[int, Path(ge=0, le=1000)]
) -> Response:
    """One card, drawn."""
    svg = card_svg(office_of(request).files.table_sheet(table), number)
    return Response(svg, media_type="image/svg+xml")


@router.post("/sheets", status_code=201, summary="Add a game sheet")
def add_sheet(request: Request, form: forms.SheetForm) -> dict[str, Any]:
    """A sheet is checked before it is kept."""
    sheet = parse_sheet(form.text, "The game sheet")
    path = office_of(request).files.new("sheets", sheet.name, ".toml")
    path.write_text(form.text, "utf-8")
    return {"name": path.stem, "game": sheet.name}


# Evenings ---------------------------------------------------------------------------------------


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
    office = office_of(request)
    name = plain_name(name)
    photo = await take_photo(request, office.files, name, sha256)
    body = {"game": number, "seat": seat, "photo": photo, "name": name}
    version = await written(office, f"evening/{id}", "snapped", body, clean(by), f"photo-{upload}")
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
    _, game = office.seat(id, number, seat)
    if seat not in game.shots:
        raise Refusal(409, "There is no photo of this board yet. Snap it first.")
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
    if form.seat not in game.shots:
        raise Refusal(409, "There is no photo of this board yet. Snap it first.")
    body = {"game": number, **form.model_dump(exclude={"by"})}
    return {"version": await written(office, f"evening/{id}", "answered", body, form.by)}


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


# Calibration ------------------------------------------------------------------------------------


@router.post("/calibrations", status_code=201, summary="Begin to learn a table")
async def calibrate(request: Request, form: forms.NewCalibration) -> dict[str, Any]:
    """With a proposal of what to lay where."""
    office = office_of(request)
    sheet = load_sheet(office.files.sheet(form.sheet))
    plan = office.files.plan(form.sheet) or proposed_plan(sheet)
    id = office.new_id()
    body = {"name": form.name, "sheet": form.sheet, "plan": plan}
    await written(office, f"calibration/{id}", "begun", body, form.by)
    return {"id": id}


@router.get(
    "/calibrations/{id}",
    summary="A calibration as it stands",
    responses={204: {"description": "Nothing is new since ``seen``."}},
)
async def calibration(request: Request, id: Id, seen: Seen = "") -> Any:
    """Photos so far, whether the board is seen, what was learned and advice."""
    office = office_of(request)
    office.calibration(id)
    if seen and seen == office.stamp(f"calibration/{id}"):
        return Response(status_code=204)
    return office.calibration_view(id, line_of(request))


@router.put(
    "/calibrations/{id}/{kind}/photo",
    summary="Send a photo of the empty board or of the known layout",
    openapi_extra=PHOTO_BODY,
)
async def calibration_photo(
    request: Request,
    id: Id,
    kind: Annotated[str, Path(pattern="^(empty|layout)$")],
    upload: Upload,
    name: PhotoName = "photo",
    sha256: Sha256 = None,
    by: By = "host",
) -> dict[str, Any]:
    """The table is judged anew at once."""
    office = office_of(request)
    made = office.calibration(id)
    if len(made.empty) + len(made.layout) >= 12:
        raise Refusal(409, "Twelve photos are enough. Remove one first.")
    name = plain_name(name)
    photo = await take_photo(request, office.files, name, sha256)
    body = {"kind": kind, "photo": photo, "name": name}
    log = f"calibration/{id}"
    version = await written(office, log, "photo", body, clean(by), f"photo-{upload}")
    office.calibration_view(id, line_of(request))
    return {"photo": photo, "version": version}


@router.post("/calibrations/{id}/corners", summary="Show the board's corners in the first photo")
async def calibration_corners(request: Request, id: Id, form: forms.CornersForm) -> dict[str, Any]:
    """For a board without printed corner marks."""
    office = office_of(request)
    if office.calibration(id).first is None:
        raise Refusal(409, "There is no photo yet. Send one first.")
    body = {"corners_px": form.corners_px}
    version = await written(office, f"calibration/{id}", "corners", body, form.by)
    office.calibration_view(id, line_of(request))
    return {"version": version}


@router.put("/calibrations/{id}/plan", summary="Say which piece lies where in the known layout")
async def calibration_plan(request: Request, id: Id, form: forms.PlanForm) -> dict[str, Any]:
    """A line a row, a letter a cell, a full stop for an empty cell."""
    office = office_of(request)
    made = office.calibration(id)
    parse_grid(form.plan, load_sheet(office.files.sheet(made.sheet)), "The plan")
    version = await written(office, f"calibration/{id}", "plan", {"plan": form.plan}, form.by)
    office.calibration_view(id, line_of(request))
    return {"version": version}


@router.post("/calibrations/{id}/drop", summary="Leave a photo out again")
async def calibration_drop(request: Request, id: Id, form: forms.DropForm) -> dict[str, Any]:
    """For a photo with a hand in it."""
    office = office_of(request)
    made = office.calibration(id)
    if form.number >= len(made.empty if form.kind == "empty" else made.layout):
        raise no_such("photo")
    body = {"kind": form.kind, "number": form.number}
    version = await written(office, f"calibration/{id}", "dropped", body, form.by)
    office.calibration_view(id, line_of(request))
    return {"version": version}


@router.get(
    "/calibrations/{id}/layout.svg",
    summary="Which piece goes where, as a picture",
    response_class=Response,
    responses={200: {"content": {"image/svg+xml": {}}}},
)
async def layout(request: Request, id: Id) -> Response:
    """The plan, drawn."""
    office = office_of(request)
    made = office.calibration(id)
    sheet = load_sheet(office.files.sheet(made.sheet))
    svg = layout_svg(sheet, parse_grid(made.plan, sheet, "The plan"))
    return Response(svg, media_type="image/svg+xml")


# Archive ----------------------------------------------------------------------------------------


@router.get("/archive/games", summary="Games that were kept, the latest first")
def archive_games(
    request: Request, search: Annotated[str, Query(max_length=100)] = ""
) -> list[dict[str, Any]]:
    """With ``search``, those whose game, player or date has these words."""
    kept = [
        {
            "id": game.id,
            "saved_at": game.saved_at,
            "game": game.sheet_name,
            "totals": dict(game.totals),
            "winners": list(game.winners),
            "evening": game.evening,
            "corrected": game.corrected,
        }
        for game in archive_of(request).games()
    ]
    words = search.lower().split()
    return [game for game in kept if all(word in haystack(game) for word in words)]


def haystack(game: dict[str, Any]) -> str:
    """What a search looks through."""
    return " ".join(
        [game["game"], game["saved_at"], game["evening"], *game["totals"], str(game["id"])]
    ).lower()


@router.get("/archive/games/{number}", summary="Everything that was kept of one game")
def archive_game(request: Request, number: Number) -> dict[str, Any]:
    """Readings, answers, claims, tally and what made them."""
    return kept_game(request, number)


@router.get(
    "/archive/games/{number}/boards/{seat}/photo.jpg",
    summary="A kept photo, upright, as large as a phone shows it",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}},
)
def archive_photo(request: Request, number: Number, seat: Seat) -> Response:
    """From the archive's own file."""
    from desk.web.kept_pictures import kept_jpeg

    archive = archive_of(request)
    return Response(kept_jpeg(archive, kept_game(request, number), seat), media_type="image/jpeg")


@router.get(
    "/archive/games/{number}/boards/{seat}/outlines", summary="Every cell's outline in a kept photo"
)
def archive_outlines(request: Request, number: Number, seat: Seat) -> dict[str, Any]:
    """Px of the picture, (0, 0) at its top left corner."""
    from desk.web.kept_pictures import kept_outlines

    return kept_outlines(archive_of(request), kept_game(request, number), seat)


@router.get("/archive/standings", summary="Who won how often, by player and game")
def standings(request: Request) -> list[dict[str, Any]]:
    """Games, wins (shared wins count), best and mean total, most wins first."""
    return standings_rows(archive_of(request).standings())


def archive_of(request: Request) -> Archive:
    """The archive."""
    return Archive(office_of(request).archive)


def kept_game(request: Request, number: int) -> dict[str, Any]:
    """A kept game. Raises Refusal where there is none of this number."""
    archive = archive_of(request)
    if number not in {game.id for game in archive.games()}:
        raise no_such("game in the archive")
    return archive.game(number)


def standings_rows(found: list[Standings]) -> list[dict[str, Any]]:
    """One row for each player of each game sheet."""
    return [
        {
            "game": standings.scope[0],
            "player": player,
            "games": played.games,
            "wins": played.wins,
            "best": played.best,
            "mean": round(played.mean, 1),
        }
        for standings in found
        for player, played in standings.ranked()
    ]


# Phones ----------------------------------------------------------------------------------------


@router.post("/invitations", status_code=201, summary="A key with which one more phone may join")
def invite(request: Request) -> dict[str, Any]:
    """The address to open there, and the same as a QR code."""
    make: Callable[[], tuple[str, str]] = request.app.state.invite
    address, svg = make()
    return {"address": address, "qr": svg}


@router.delete(
    "/session", status_code=204, summary="End this phone's session", response_class=Response
)
def leave(request: Request) -> Response:
    """The phone needs a new key to come back."""
    request.app.state.sessions.end(request.scope.get("session", ""))
    return Response(status_code=204)


def clean(by: str) -> str:
    """A name from a query, as forms would take it."""
    shown = "".join(letter for letter in by if letter.isprintable()).strip()
    return shown or "host"
