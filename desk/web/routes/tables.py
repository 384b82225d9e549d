"""The first page, tables and game sheets."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from desk.durable import write_durably
from desk.shelf import Shelf
from desk.web import forms
from desk.web.games import card_svg, game_view
from desk.web.office import Office
from desk.web.routes.asked import Named, office_of
from scoring.sheet import load_sheet, parse_sheet

router = APIRouter()


@router.get("/desk", summary="Tables, game sheets, evenings and calibrations there are")
async def desk(request: Request) -> dict[str, Any]:
    """The first page. ``empty_at``: when the photo was taken in that a sheet was made from."""
    office = office_of(request)
    tables = [
        {"name": one.id, "title": one.name, "game": one.game}
        for one in Shelf(office.files.folder / "tables").tables()
    ]
    names = sorted(office.files.names("sheets", ".toml"), key=office.files.plan_first)
    sheets = [
        {
            "name": name,
            "game": load_sheet(office.files.sheet(name)).name,
            "empty_at": (office.files.empty_of(name) or {}).get("at"),
        }
        for name in names
    ]
    evenings = [office.evening(log.partition("/")[2]) for log in office.journal.logs("evening/")]
    return {
        "calibrations": calibrations_of(office),
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
        "demo": request.app.state.demo,
    }


def calibrations_of(office: Office) -> list[list[dict[str, Any]]]:
    """Calibrations by the name of their table, the latest first, in both ways; at most 50 names."""
    by_name: dict[str, list[dict[str, Any]]] = {}
    for log in office.journal.logs("calibration/"):
        made = office.calibration(log.partition("/")[2])
        told = {
            "id": made.id,
            "name": made.name,
            "sheet": made.sheet,
            "at": made.at,
            "photos": len(made.empty) + len(made.layout),
            "learned": bool(made.table),
        }
        by_name.setdefault(made.name.casefold(), []).append(told)
    return list(by_name.values())[:50]


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
    path = office_of(request).files.reserve("sheets", sheet.name, ".toml")
    write_durably(path, form.text.encode())
    return {"name": path.stem, "game": sheet.name}
