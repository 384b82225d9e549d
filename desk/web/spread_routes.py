"""Routes: photos to be looked at, and loose pieces counted at pack-up."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool

from desk.durable import write_durably
from desk.given import GivenError
from desk.packing import Whole, balance, checked_whole, notes, whole_count
from desk.sheet_colours import supplied, with_colours
from desk.table_sheet import fits, with_sheet
from desk.web import making_forms as forms
from desk.web.errors import Refusal
from desk.web.files import Files, sheet_in
from desk.web.intake import plain_name, take_photo
from desk.web.making import unless_refused
from desk.web.photo_work import CountJob, count_job, counted_in
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
from desk.web.shelf_routes import shelf_of, told
from scoring.sheet import GameSheet, load_sheet, parse_sheet

router = APIRouter(prefix="/api", responses=REFUSALS)


@router.put("/photos", summary="Send a photo to be looked at", openapi_extra=PHOTO_BODY)
async def photo(
    request: Request,
    upload: Upload,  # noqa: ARG001  a photo is kept once anyhow
    name: PhotoName = "photo",
    sha256: Sha256 = None,
) -> dict[str, Any]:
    """Its name, for a count, for colours, for a card."""
    kept = await take_photo(request, office_of(request).files, plain_name(name), sha256)
    return {"photo": kept}


@router.post("/shelf/{table}/count", summary="Count the loose pieces in photos of one box")
async def count(request: Request, table: Named, form: forms.CountForm) -> dict[str, Any]:
    """``open`` says why each numbered place of a picture was not counted."""
    shown = await counted(request, table, form)
    sheet = office_of(request).files.table_sheet(table)
    whole = whole_of(shown, form, sheet)
    return {
        "photos": [
            {"picture": f"/api/pictures/{key}.jpg", "seen": one["seen"], "open": one["open"]}
            for key, one in shown.items()
        ],
        "colours": [
            {**asdict(line.colour), "counted": line.counted, "said": line.said}
            for line in balance(sheet, whole)
        ],
        "notes": list(notes(whole)),
        "final": whole.final,
    }


@router.post("/shelf/{table}/supply", summary="Take a whole count as the box's supply")
async def supply(request: Request, table: Named, form: forms.CountForm) -> dict[str, Any]:
    """Written into the game's sheets here, and into the table as a new version of it."""
    files = office_of(request).files
    shown = await counted(request, table, form)
    sheet = files.table_sheet(table)
    whole = checked_whole(whole_of(shown, form, sheet), sheet)
    return await run_in_threadpool(supply_kept, request, table, whole)


def supply_kept(request: Request, table: str, whole: Whole) -> dict[str, Any]:
    """The table's new version; ``sheets`` names the sheets that have the supply now."""
    files, shelf = office_of(request).files, shelf_of(request)
    sheet = files.table_sheet(table)
    text = with_colours(sheet.text, supplied(sheet, whole.counted))
    changed = {
        name: with_colours(game.text, supplied(game, whole.counted))
        for name, game in sheets_of(files, sheet).items()
    }
    now = shelf.put(with_sheet(shelf.table(shelf.name_of(table)), parse_sheet(text)))
    for name, new in changed.items():
        write_durably(files.sheet(name), new.encode())
    return {**told(now), "sheets": list(changed)}


@router.post("/shelf/{table}/sheet", summary="Give a table a changed sheet of its game")
def give_sheet(request: Request, table: Named, form: forms.SheetOfForm) -> dict[str, Any]:
    """New cards, rules or supply; what the table learned stays. It becomes a new version."""
    shelf = shelf_of(request)
    sheet = load_sheet(office_of(request).files.sheet(form.sheet))
    return told(shelf.put(with_sheet(shelf.table(shelf.name_of(table)), sheet)))


@router.get("/sheets/{sheet}/tables", summary="The tables that were learned for a sheet's game")
def tables_of(request: Request, sheet: Named) -> dict[str, Any]:
    """``current`` is false where a table has an earlier sheet of the game."""
    game = load_sheet(office_of(request).files.sheet(sheet))
    known = [(one, sheet_in(one.path)) for one in shelf_of(request).tables()]
    return {
        "tables": [
            {**told(one), "current": old.text == game.text}
            for one, old in known
            if old.name == game.name and fits(old, game)
        ]
    }


def sheets_of(files: Files, sheet: GameSheet) -> dict[str, GameSheet]:
    """The sheets of a table's game that lie on this desk, by name."""
    known = {name: load_sheet(files.sheet(name)) for name in files.names("sheets", ".toml")}
    return {
        name: game for name, game in known.items() if game.name == sheet.name and fits(sheet, game)
    }


def whole_of(shown: dict[str, Any], form: forms.CountForm, sheet: GameSheet) -> Whole:
    """All photos of a form together, with what was counted by hand."""
    for name in form.by_hand:
        if name not in {colour.name for colour in sheet.colours}:
            raise GivenError(name, f"is no colour of {sheet.name}.")
    return whole_count([counted_in(one) for one in shown.values()], form.by_hand)


async def counted(request: Request, table: str, form: forms.CountForm) -> dict[str, Any]:
    """What workers counted in each photo, by the name of its picture; each photo counts once."""
    if len(set(form.photos)) < len(form.photos):
        raise Refusal(422, "This photo was counted already; its pieces would count twice.")
    office = office_of(request)
    file = office.files.table(table)
    shown = {}
    for digest in form.photos:
        path = office.files.photo(digest)
        if not path.exists():
            raise Refusal(404, "There is no such photo here. Send it again.")
        key = hashlib.sha256(json.dumps([digest, table, "count"]).encode()).hexdigest()
        job = CountJob(str(path), str(file), str(office.files.reading(key)))
        known = office.files.result(key)
        shown[key] = known or unless_refused(
            await office.reader.do(line_of(request), count_job, job)
        )
    return shown
