"""The JSON interface: what the page uses, and scripts use the same. Documented as OpenAPI.

A refused request is answered with ``{"problem": "a sentence"}``.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from desk.web import forms
from desk.web.routes import archive, boards, calibrations, evenings, phones, tables, tally

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
"""All routes; one file for each thing that they serve."""

for part in (tables, evenings, boards, tally, calibrations, archive, phones):
    router.include_router(part.router)
