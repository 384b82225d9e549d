"""Routes: new sheets from photos, their cards and printables."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response

from desk.drawing import Drawing, to_svg
from desk.durable import write_durably
from desk.printing.job import printables
from desk.printing.sheets import spread_layout
from desk.sheet_cards import Typed, card_toml, with_card, without_card
from desk.sheet_new import Wanted
from desk.sheet_picture import draw_pattern
from desk.types import now
from desk.web import making_forms as forms
from desk.web.errors import Refusal
from desk.web.games import CARD_SIZE, card_svg, game_view
from desk.web.intake import plain_name, take_photo
from desk.web.new_board import (
    LookJob,
    ProposeJob,
    Taps,
    look_job,
    proposal_key,
    propose_job,
    sheet_of,
    shown,
)
from desk.web.routes import REFUSALS
from desk.web.routes.asked import (
    PHOTO_BODY,
    Named,
    PhotoName,
    Sha256,
    Upload,
    line_of,
    office_of,
)
from scoring.grid import format_grid
from scoring.sheet import load_sheet, parse_sheet
from scoring.types import EMPTY, Grid

router = APIRouter(prefix="/api", responses=REFUSALS)

Paper = Annotated[str, Query(pattern="^(a4|letter)$")]
PDF: dict[int | str, dict[str, Any]] = {200: {"content": {"application/pdf": {}}}}
SVG: dict[int | str, dict[str, Any]] = {200: {"content": {"image/svg+xml": {}}}}


@router.put("/boards/photo", summary="Send a photo of an empty board", openapi_extra=PHOTO_BODY)
async def board_photo(
    request: Request,
    upload: Upload,  # noqa: ARG001  the page's way of sending photos; a photo is kept once anyhow
    name: PhotoName = "photo",
    sha256: Sha256 = None,
) -> dict[str, Any]:
    """Its picture, and the board's corners where the printed corner cards lie in it."""
    office = office_of(request)
    photo = await take_photo(request, office.files, plain_name(name), sha256)
    picture = office.files.reading(photo).with_suffix(".jpg")
    job = LookJob(str(office.files.photo(photo)), plain_name(name), str(picture))
    told = unless_refused(await office.reader.do(line_of(request), look_job, job))
    return {"photo": photo, "address": f"/api/pictures/{photo}.jpg", **told}


@router.post("/boards/proposal", summary="The cells proposed on a photo, after all taps")
async def proposal(request: Request, form: forms.ProposalForm) -> dict[str, Any]:
    """Outlines are px of the levelled picture; ``inner`` are points on sides toward anchors."""
    told = await proposed(request, form)
    key = key_of(form)
    return {"picture": f"/api/pictures/{key}.jpg", **shown(told, taps_of(form), form.support)}


@router.post("/boards/sheet", status_code=201, summary="Accept a proposal: a new game sheet")
async def accept(request: Request, form: forms.NewSheetForm) -> dict[str, Any]:
    """Written as ``sheet new`` writes it, and checked before it is kept."""
    office = office_of(request)
    told = await proposed(request, form)
    colours = [f"{one.name}={one.supply}" if one.supply else one.name for one in form.colours]
    if any("=" in one.name for one in form.colours):
        raise Refusal(422, "A colour's name has no = in it.")
    wanted = Wanted(
        form.name, colours, {}, support=form.support, piece_height_mm=form.piece_height_mm
    )
    text = sheet_of(told, taps_of(form), wanted)
    sheet = parse_sheet(text)
    path = office.files.reserve("sheets", sheet.name, ".toml")
    write_durably(path, text.encode())
    corners = None if told["by_cards"] else form.corners_px  # printed marks tell them by themselves
    office.files.note_empty(path, form.photo, corners, now(office.clock))
    return {"name": path.stem, "game": sheet.name}


async def proposed(request: Request, form: forms.ProposalForm) -> dict[str, Any]:
    """The proposal for a photo, worked out once."""
    office = office_of(request)
    path = office.files.photo(form.photo)
    if not path.exists():
        raise Refusal(404, "There is no such photo here. Send it again.")
    key = key_of(form)
    known = office.files.result(key)
    if known is not None:
        return known
    job = ProposeJob(
        str(path),
        "the photo",
        str(office.files.reading(key)),
        tuple((x, y) for x, y in form.corners_px or ()),
        (form.size_mm[0], form.size_mm[1]) if form.size_mm else None,
    )
    return unless_refused(await office.reader.do(line_of(request), propose_job, job))


def unless_refused(told: dict[str, Any]) -> dict[str, Any]:
    """What a worker found. Raises Refusal where it says that there was a problem."""
    if "problem" in told:
        raise Refusal(422, told["problem"])
    return told


def key_of(form: forms.ProposalForm) -> str:
    """The name of a form's proposal; taps do not change it."""
    return proposal_key(form.photo, form.corners_px, form.size_mm)


def taps_of(form: forms.ProposalForm) -> Taps:
    """A form's taps."""
    return Taps([(x, y) for x, y in form.cells], [(x, y) for x, y in form.anchors])


@router.get("/sheets/{sheet}", summary="A game sheet: its colours, its cards, its text")
def sheet_view(request: Request, sheet: Named) -> dict[str, Any]:
    """Cards have a drawn picture each; ``blank_plan`` is a plan with every cell empty."""
    game = load_sheet(office_of(request).files.sheet(sheet))
    blank = format_grid(dict.fromkeys(game.lattice.neighbours, EMPTY), game)
    view = game_view(game, f"/api/sheets/{sheet}/cards")
    return {**view, "blank_plan": blank, "text": game.text}


@router.get(
    "/sheets/{sheet}/cards/{number}.svg",
    summary="A card of a sheet as a picture",
    response_class=Response,
    responses=SVG,
)
def sheet_card(
    request: Request, sheet: Named, number: Annotated[int, Path(ge=0, le=1000)]
) -> Response:
    """One card, drawn."""
    svg = card_svg(load_sheet(office_of(request).files.sheet(sheet)), number)
    return Response(svg, media_type="image/svg+xml", headers={"cache-control": "no-cache"})


@router.post(
    "/sheets/{sheet}/drawing",
    summary="A typed card as a picture, before it is added",
    response_class=Response,
    responses=SVG,
)
def card_drawing(request: Request, sheet: Named, form: forms.CardForm) -> Response:
    """Refused in words where the drawing cannot be understood."""
    text = load_sheet(office_of(request).files.sheet(sheet)).text
    game = parse_sheet(with_card(text, typed(form)))
    width, height = CARD_SIZE
    shapes = draw_pattern(game, game.cards[-1], (12.0, 12.0, width - 24, height - 24))
    return Response(to_svg(Drawing(CARD_SIZE, tuple(shapes))), media_type="image/svg+xml")


@router.post("/sheets/{sheet}/cards", status_code=201, summary="Add a card, typed in letters")
def add_card(request: Request, sheet: Named, form: forms.CardForm) -> dict[str, Any]:
    """Written into the sheet's file; tables learned before keep the sheet that they had."""
    path = office_of(request).files.sheet(sheet)
    write_durably(path, with_card(load_sheet(path).text, typed(form)).encode())
    return {"toml": card_toml(typed(form))}


@router.delete("/sheets/{sheet}/cards/{number}", summary="Take a card out of a sheet")
def drop_card(
    request: Request, sheet: Named, number: Annotated[int, Path(ge=0, le=1000)]
) -> dict[str, Any]:
    """By its number in the list, from 0."""
    path = office_of(request).files.sheet(sheet)
    game = load_sheet(path)
    if number >= len(game.cards):
        raise Refusal(404, "There is no such card here.")
    write_durably(path, without_card(game.text, game.cards[number].name).encode())
    return {"name": game.cards[number].name}


def typed(form: forms.CardForm) -> Typed:
    """A form's card."""
    return Typed(**form.model_dump(exclude={"by"}))


@router.get(
    "/sheets/{sheet}/printables.pdf",
    summary="Corner cards, key strip, layout, score sheet and cards at true size",
    response_class=Response,
    responses=PDF,
)
def printed(request: Request, sheet: Named, paper: Paper = "a4") -> Response:
    """Print at 100 %, then measure the bar."""
    pages = printables(load_sheet(office_of(request).files.sheet(sheet)), paper)
    headers = {"content-disposition": f'attachment; filename="{sheet}-{paper}.pdf"'}
    return Response(pages, media_type="application/pdf", headers=headers)


@router.get(
    "/sheets/{sheet}/layout.txt",
    summary="The plan of the printed known layout",
    response_class=Response,
    responses={200: {"content": {"text/plain": {}}}},
)
def printed_plan(request: Request, sheet: Named) -> Response:
    """A line a row, a letter a cell."""
    game = load_sheet(office_of(request).files.sheet(sheet))
    text = format_grid(Grid(spread_layout(game)), game)
    return Response(text, media_type="text/plain; charset=utf-8")
