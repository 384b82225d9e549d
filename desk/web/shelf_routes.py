"""Routes: tables listed, renamed, brought back, shared as a file, and tried."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from calibrate.store import load_table
from desk.rearranging import close_colours, rearranged
from desk.shelf import Shelf, Version
from desk.table_file import limits_told, packed_table, take_in
from desk.trial import silent_errors, trial_words
from desk.web import making_forms as forms
from desk.web.errors import Refusal
from desk.web.games import layout_svg, trial_plan
from desk.web.intake import plain_name, take_photo
from desk.web.making import unless_refused
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
from desk.web.work import table_at
from scoring.errors import TallyglassError
from scoring.grid import format_grid, parse_grid
from scoring.sheet import GameSheet
from vision.decode import load_photo
from vision.read import read_photo

router = APIRouter(prefix="/api", responses=REFUSALS)

LEARNING = "calibration/"

FILE: dict[int | str, dict[str, Any]] = {200: {"content": {"application/zip": {}}}}
FILE_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "A table's file as it is.",
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
    }
}


def shelf_of(request: Request) -> Shelf:
    """The shelf in the desk's data folder."""
    return Shelf(office_of(request).files.folder / "tables")


@router.get("/shelf", summary="Every table with its versions, the latest first")
def shelf(request: Request) -> dict[str, Any]:
    """``damaged`` says which files are no tables any more."""
    kept = shelf_of(request)
    tables = [
        {**told(one), "versions": [told(v) for v in kept.history(one.name)]}
        for one in kept.tables()
    ]
    return {"tables": tables, "damaged": [Path(words).name for words in kept.damaged()]}


def told(one: Version) -> dict[str, Any]:
    """What a phone shows of a version."""
    return {
        "id": one.id,
        "name": one.name,
        "game": one.game,
        "number": one.number,
        "put_at": one.put_at.isoformat(timespec="minutes"),
        "sha256": one.sha256,
    }


@router.post("/shelf/{table}/name", summary="Give a table, with all its versions, another name")
def rename(request: Request, table: Named, form: forms.NamedForm) -> dict[str, Any]:
    """Evenings that play with it go on."""
    kept = shelf_of(request)
    return told(kept.rename(kept.name_of(table), form.name)[-1])


@router.post("/shelf/{table}/back", summary="Use an older version again")
def back(request: Request, table: Named, form: forms.BackForm) -> dict[str, Any]:
    """It becomes the latest; those between stay."""
    kept = shelf_of(request)
    return told(kept.bring_back(kept.name_of(table), form.number))


@router.get(
    "/shelf/{table}/file",
    summary="A table as one file to share",
    response_class=Response,
    responses=FILE,
)
def export(request: Request, table: Named) -> Response:
    """A ZIP of JSON, TOML and PNG, with the hash of each part."""
    path = office_of(request).files.table(table)
    data = packed_table(load_table(path), shelf_of(request).name_of(table))
    headers = {"content-disposition": f'attachment; filename="{table}.table"'}
    return Response(data, media_type="application/zip", headers=headers)


@router.put("/shelf", summary="Take in a table's file", openapi_extra=FILE_BODY)
async def take(
    request: Request,
    upload: Upload,  # noqa: ARG001  the page's way of sending files; a table is taken in once anyhow
    name: PhotoName = "a table",
) -> dict[str, Any]:
    """Checked whole before anything is written; ``limits`` says what it may cost here."""
    data = b"".join([piece async for piece in request.stream()])
    one = await run_in_threadpool(take_in, shelf_of(request), data, plain_name(name))
    return {**told(one), "limits": list(limits_told(load_table(one.path)))}


@dataclass(frozen=True)
class TrialJob:
    """One arranged board to read with a table."""

    photo: str
    table: str
    plan: str
    corners_px: tuple[tuple[float, float], ...] = ()


def trial_job(job: TrialJob) -> dict[str, Any]:
    """How the reading did, and what to change, or why there was none."""
    try:
        return tried(job)
    except TallyglassError as error:
        return {"problem": str(error)}


def tried(job: TrialJob) -> dict[str, Any]:
    """As ``trial_job``, raising what is wrong."""
    table = table_at(job.table)
    truth = parse_grid(job.plan, table.sheet, "The plan")
    photo = load_photo(Path(job.photo).read_bytes(), "The photo")
    corners = np.array(job.corners_px, float) if job.corners_px else None
    reading = read_photo(photo, table, corners)
    lines = trial_words(reading, truth, table)
    words = [line.removeprefix("- ") for line in lines]
    return {"trusted": not silent_errors(reading, truth), "words": words}


@router.get("/shelf/{table}/trial", summary="What to lay to try a table")
def trial_layout(request: Request, table: Named) -> dict[str, Any]:
    """Another layout than the one that it was learned from, as letters and as a picture.

    ``exchange`` is one that comes of the known layout by a few ``moves``, while that still lies on
    the board; ``pieces`` counts what is picked up. It is null where the table was not learned here.
    """
    sheet = office_of(request).files.table_sheet(table)
    return {**layout_told(sheet, trial_plan(sheet)), "exchange": exchange_told(request, table)}


def exchange_told(request: Request, table: str) -> dict[str, Any] | None:
    """The known layout that this table was learned from, and how to make a trial's layout of it."""
    office = office_of(request)
    kept = shelf_of(request)
    versions = {one.id for one in kept.history(kept.name_of(table))}
    learned = (office.calibration(log.partition("/")[2]) for log in office.journal.logs(LEARNING))
    plan = next((made.plan for made in learned if made.table in versions), None)
    if plan is None:
        return None
    known = load_table(office.files.table(table))
    try:
        laid = parse_grid(plan, known.sheet, "The plan")
    except TallyglassError:  # the sheet that the table was given since has other colours
        return None
    grid, moves = rearranged(known.sheet, laid, close_colours(known))
    told = layout_told(known.sheet, format_grid(grid, known.sheet))
    pieces = sum(move.pieces for move in moves)
    return {**told, "moves": [move.words() for move in moves], "pieces": pieces}


def layout_told(sheet: GameSheet, plan: str) -> dict[str, str]:
    """A layout as letters and as a picture."""
    return {"plan": plan, "svg": layout_svg(sheet, parse_grid(plan, sheet, "The plan"))}


@router.put(
    "/shelf/{table}/trial/photo", summary="Send a photo of the board", openapi_extra=PHOTO_BODY
)
async def trial_photo(
    request: Request,
    table: Named,
    upload: Upload,  # noqa: ARG001  a photo is kept once anyhow
    name: PhotoName = "photo",
    sha256: Sha256 = None,
) -> dict[str, Any]:
    """Its name, for the trial."""
    office = office_of(request)
    office.files.table(table)
    return {"photo": await take_photo(request, office.files, plain_name(name), sha256)}


@router.post("/shelf/{table}/trial", summary="Read an arranged board, and say how it did")
async def trial(request: Request, table: Named, form: forms.TrialForm) -> dict[str, Any]:
    """``trusted`` is false where a cell was read wrongly without asking."""
    office = office_of(request)
    photo = office.files.photo(form.photo)
    if not photo.exists():
        raise Refusal(404, "There is no such photo here. Send it again.")
    corners = tuple((x, y) for x, y in form.corners_px or ())
    job = TrialJob(str(photo), str(office.files.table(table)), form.plan, corners)
    return unless_refused(await office.reader.do(line_of(request), trial_job, job))
