"""Routes: loose pieces counted at pack-up, and a box's colours named, each from one photo."""

from __future__ import annotations

import hashlib
import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from PIL import Image

from desk.colour_naming import colours_in_row, colours_toml, likenesses, names_for
from desk.durable import write_whole
from desk.packing import count_photo, hidden_words
from desk.web import making_forms as forms
from desk.web.errors import Refusal
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
from desk.web.work import JPEG_QUALITY, table_at
from scoring.errors import TallyglassError
from scoring.sheet import load_sheet
from vision.decode import load_photo

router = APIRouter(prefix="/api", responses=REFUSALS)


@dataclass(frozen=True)
class SpreadJob:
    """A photo of loose pieces, the table's or the sheet's file, and where its picture goes."""

    photo: str
    file: str
    out: str


def jpeg_of(picture: bytes) -> bytes:
    """A PNG file as a JPEG file, which phones load sooner."""
    out = io.BytesIO()
    Image.open(io.BytesIO(picture)).save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()


def count_job(job: SpreadJob) -> dict[str, Any]:
    """What one photo's pieces are, colour by colour, or why there is no count."""
    try:
        table = table_at(job.file)
        one = count_photo(load_photo(Path(job.photo).read_bytes(), "The photo"), table)
    except TallyglassError as error:
        return {"problem": str(error)}
    write_whole(Path(job.out), jpeg_of(one.picture))
    return {
        "seen": one.seen,
        "colours": [
            {"name": c.name, "letter": c.letter, "supply": c.supply, "counted": one.counted[c.name]}
            for c in table.sheet.colours
        ],
        "open": list(one.flags),
        "warning": hidden_words(one.hidden) if one.hidden else None,
    }


def colours_job(job: SpreadJob) -> dict[str, Any]:
    """Names and letters for the pieces of a row, or why there are none."""
    try:
        photo = load_photo(Path(job.photo).read_bytes(), "The photo")
        shown = colours_in_row(photo, load_sheet(Path(job.file)))
    except TallyglassError as error:
        return {"problem": str(error)}
    write_whole(Path(job.out), jpeg_of(shown.picture))
    names = names_for(shown.lab)
    return {
        "names": list(names),
        "remarks": [*shown.remarks, *likenesses(names, shown.lab)],
        "toml": colours_toml(names, shown.signs),
    }


@router.put("/spreads/photo", summary="Send a photo of loose pieces", openapi_extra=PHOTO_BODY)
async def spread_photo(
    request: Request,
    upload: Upload,  # noqa: ARG001  a photo is kept once anyhow
    name: PhotoName = "photo",
    sha256: Sha256 = None,
) -> dict[str, Any]:
    """Its name, for a count or for colours."""
    photo = await take_photo(request, office_of(request).files, plain_name(name), sha256)
    return {"photo": photo}


@router.post("/shelf/{table}/count", summary="Count the loose pieces in a photo")
async def count(request: Request, table: Named, form: forms.SpreadForm) -> dict[str, Any]:
    """``open`` says why each numbered place of the picture was not counted."""
    return await told(request, count_job, form.photo, office_of(request).files.table(table))


@router.post("/sheets/{sheet}/colours", summary="Name the colours of single pieces in a row")
async def colours(request: Request, sheet: Named, form: forms.SpreadForm) -> dict[str, Any]:
    """``toml`` is what may stand in the sheet in place of its colours; nothing is changed."""
    return await told(request, colours_job, form.photo, office_of(request).files.sheet(sheet))


async def told(request: Request, work: Any, photo: str, file: Path) -> dict[str, Any]:
    """What a worker makes of a photo, with the address of its picture."""
    office = office_of(request)
    path = office.files.photo(photo)
    if not path.exists():
        raise Refusal(404, "There is no such photo here. Send it again.")
    key = hashlib.sha256(json.dumps([photo, str(file), work.__name__]).encode()).hexdigest()
    job = SpreadJob(str(path), str(file), str(office.files.reading(key).with_suffix(".jpg")))
    found = unless_refused(await office.reader.do(line_of(request), work, job))
    return {"picture": f"/api/pictures/{key}.jpg", **found}
