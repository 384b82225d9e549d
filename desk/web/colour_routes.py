"""Routes: a box's colours named from a photo, and taken into a sheet."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from fastapi import APIRouter, Request

from desk.durable import write_durably
from desk.given import GivenError
from desk.sheet_colours import with_colours
from desk.sheet_new import Wanted, propose_letters
from desk.web import making_forms as forms
from desk.web.errors import Refusal
from desk.web.making import proposed, taps_of, unless_refused
from desk.web.new_board import sheet_of
from desk.web.photo_work import ColourJob, colours_job
from desk.web.routes import REFUSALS
from desk.web.routes.asked import Named, line_of, office_of
from scoring.sheet import GameSheet, load_sheet
from scoring.types import Colour

router = APIRouter(prefix="/api", responses=REFUSALS)


@router.post("/sheets/{sheet}/colours", summary="Name colours from a row or from a laid board")
async def colours(request: Request, sheet: Named, form: forms.RowForm) -> dict[str, Any]:
    """Nothing is changed. ``corners`` asks for those of a laid board without printed marks."""
    text = load_sheet(office_of(request).files.sheet(sheet)).text
    corners = tuple((x, y) for x, y in form.corners_px or ())
    return await looked(request, form.photo, text, form.plan, corners)


@router.post("/boards/colours", summary="Name the colours of a row, for a board that is being made")
async def draft_colours(request: Request, form: forms.DraftRowForm) -> dict[str, Any]:
    """The cells proposed for the board tell the shape of its pieces."""
    told = await proposed(request, form)
    return await looked(
        request, form.row, sheet_of(told, taps_of(form), Wanted("proposal", ["piece"], {}))
    )


async def looked(
    request: Request,
    photo: str,
    sheet: str,
    plan: str = "",
    corners_px: tuple[tuple[float, float], ...] = (),
) -> dict[str, Any]:
    """What a worker makes of a photo, with the address of its picture."""
    office = office_of(request)
    path = office.files.photo(photo)
    if not path.exists():
        raise Refusal(404, "There is no such photo here. Send it again.")
    key = hashlib.sha256(json.dumps([photo, sheet, plan, corners_px]).encode()).hexdigest()
    out, photo_out = (office.files.reading(name).with_suffix(".jpg") for name in (key, photo))
    job = ColourJob(str(path), sheet, str(out), str(photo_out), plan, corners_px)
    told = unless_refused(await office.reader.do(line_of(request), colours_job, job))
    return {"picture": f"/api/pictures/{photo if 'corners' in told else key}.jpg", **told}


@router.put("/sheets/{sheet}/colours", summary="Put colours into a sheet in place of its own")
def put_colours(request: Request, sheet: Named, form: forms.ColoursForm) -> dict[str, Any]:
    """Letters that are not given are chosen without clash; a colour of the same name stays out of
    patterns where it was."""
    path = office_of(request).files.sheet(sheet)
    game = load_sheet(path)
    new = colours_in(form, game)
    write_durably(path, with_colours(game.text, new).encode())
    return {"colours": [{"name": one.name, "letter": one.letter} for one in new]}


def colours_in(form: forms.ColoursForm, game: GameSheet) -> list[Colour]:
    """A form's colours. Raises GivenError for two of one name."""
    names = [one.name for one in form.colours]
    if len(set(names)) < len(names):
        raise GivenError("The colours", "give every colour a name of its own.")
    letters = propose_letters(names, {one.name: one.letter for one in form.colours if one.letter})
    apart = {one.name for one in game.colours if not one.in_patterns}
    return [
        Colour(one.name, letters[one.name], one.supply, one.name not in apart)
        for one in form.colours
    ]
