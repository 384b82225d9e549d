"""Learning a table from photos."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from desk.web import forms
from desk.web.errors import Refusal, no_such
from desk.web.games import layout_svg, proposed_plan
from desk.web.intake import plain_name, take_photo
from desk.web.routes.asked import (
    PHOTO_BODY,
    By,
    Id,
    PhotoName,
    Seen,
    Sha256,
    Upload,
    clean,
    line_of,
    office_of,
    written,
)
from scoring.grid import parse_grid
from scoring.sheet import load_sheet

router = APIRouter()

EMPTY_OF_SHEET = "the photo of the new sheet"


@router.post("/calibrations", status_code=201, summary="Begin to learn a table")
async def calibrate(request: Request, form: forms.NewCalibration) -> dict[str, Any]:
    """With a proposal of what to lay where."""
    office = office_of(request)
    sheet = load_sheet(office.files.sheet(form.sheet))
    plan = office.files.plan(form.sheet) or proposed_plan(sheet)
    empty = office.files.empty_of(form.sheet) if form.empty_of_sheet else None
    if form.empty_of_sheet and empty is None:
        raise Refusal(409, "The photo that this sheet was made from is not here. Take a new one.")
    id = office.new_id()
    log = f"calibration/{id}"
    body = {"name": form.name, "sheet": form.sheet, "plan": plan}
    await written(office, log, "begun", body, form.by)
    if empty:
        photo = {"kind": "empty", "photo": empty["photo"], "name": EMPTY_OF_SHEET}
        await written(office, log, "photo", photo, form.by)
        if empty["corners_px"]:
            await written(office, log, "corners", {"corners_px": empty["corners_px"]}, form.by)
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
    return office.school.view(id, line_of(request))


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
    office.school.view(id, line_of(request))
    return {"photo": photo, "version": version}


@router.post("/calibrations/{id}/corners", summary="Show the board's corners in the first photo")
async def calibration_corners(request: Request, id: Id, form: forms.CornersForm) -> dict[str, Any]:
    """For a board without printed corner marks."""
    office = office_of(request)
    if office.calibration(id).first is None:
        raise Refusal(409, "There is no photo yet. Send one first.")
    body = {"corners_px": form.corners_px}
    version = await written(office, f"calibration/{id}", "corners", body, form.by)
    office.school.view(id, line_of(request))
    return {"version": version}


@router.put("/calibrations/{id}/plan", summary="Say which piece lies where in the known layout")
async def calibration_plan(request: Request, id: Id, form: forms.PlanForm) -> dict[str, Any]:
    """A line a row, a letter a cell, a full stop for an empty cell."""
    office = office_of(request)
    made = office.calibration(id)
    parse_grid(form.plan, load_sheet(office.files.sheet(made.sheet)), "The plan")
    version = await written(office, f"calibration/{id}", "plan", {"plan": form.plan}, form.by)
    office.school.view(id, line_of(request))
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
    office.school.view(id, line_of(request))
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
