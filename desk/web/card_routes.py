"""Routes: cards read from photos of them, settled by a person, drawn in letters.

What comes of it is a pattern in letters, which is added as a typed card is.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from fastapi import APIRouter, Request

from desk.card_drawing import pattern_letters
from desk.card_reading import checked_like
from desk.web import making_forms as forms
from desk.web.errors import Refusal
from desk.web.making import unless_refused
from desk.web.photo_work import CardJob, card_job
from desk.web.routes import REFUSALS
from desk.web.routes.asked import Named, line_of, office_of
from scoring.sheet import load_sheet

router = APIRouter(prefix="/api", responses=REFUSALS)


@router.post("/sheets/{sheet}/cards/photo", summary="Read the cells of the cards in a photo")
async def read_cards(request: Request, sheet: Named, form: forms.CardPhotoForm) -> dict[str, Any]:
    """``cards`` from left to right, the upper row first: where each lies in the full-size photo
    (``card_px``), and its cells, on the second of several cards named ``2A1``; ``need`` is the
    letter of a cell that is certain. ``inks`` say why others are asked: one ink, on whichever
    cards, is asked once. ``corners`` asks for those of a card, where none was found.
    """
    office = office_of(request)
    path = office.files.photo(form.photo)
    if not path.exists():
        raise Refusal(404, "There is no such photo here. Send it again.")
    text = load_sheet(office.files.sheet(sheet)).text
    table = str(office.files.table(form.table)) if form.table else ""
    corners = tuple((x, y) for x, y in form.corners_px or ())
    named = tuple((one.colour, (one.lab[0], one.lab[1], one.lab[2])) for one in form.named)
    key = hashlib.sha256(json.dumps([form.photo, corners, "card"]).encode()).hexdigest()
    photo_out = office.files.reading(form.photo).with_suffix(".jpg")
    out = str(office.files.reading(key))
    job = CardJob(str(path), text, out, str(photo_out), table, named, corners)
    told = unless_refused(await office.reader.do(line_of(request), card_job, job))
    return {"picture": f"/api/pictures/{form.photo}.jpg", **told} if "corners" in told else told


@router.post("/sheets/{sheet}/cards/pattern", summary="A settled card as a drawing in letters")
def pattern(request: Request, sheet: Named, form: forms.PatternForm) -> dict[str, Any]:
    """With the side that a person named as its top upward."""
    like = checked_like(load_sheet(office_of(request).files.sheet(sheet)))
    steps = [(one.step[0], one.step[1]) for one in form.cells]
    return {"pattern": pattern_letters(steps, [one.need for one in form.cells], like, form.top)}
