"""What phones may send to make a sheet, to keep tables and to try one."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

from desk.web.forms import By, Corner, Form, Name

Digest = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
Spot = Annotated[
    list[Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)]],
    Field(min_length=2, max_length=2, description="Board mm, x right and y down."),
]
Corners = Annotated[list[Corner], Field(min_length=4, max_length=4)]
Size = Annotated[
    list[Annotated[float, Field(ge=10, le=10_000, allow_inf_nan=False)]],
    Field(min_length=2, max_length=2, description="Width and height, mm."),
]
Support = Annotated[str, StringConstraints(pattern="^(any|all)$")]


Spots = Annotated[list[Spot], Field(max_length=400)]


class ProposalForm(Form):
    """A photo of the empty board, what a person said of it, and all taps so far."""

    photo: Digest
    corners_px: Corners | None = None
    size_mm: Size | None = None
    cells: Spots = Field(default_factory=list)
    anchors: Spots = Field(default_factory=list)
    support: Support = "any"
    by: By = "host"


class ColourForm(Form):
    """A colour of piece, and how many the box holds where that is known."""

    name: Name
    supply: Annotated[int, Field(ge=1, le=10_000)] | None = None


class NewSheetForm(ProposalForm):
    """A proposal accepted: the game's name and colours."""

    name: Name
    colours: Annotated[list[ColourForm], Field(min_length=1, max_length=40)]
    piece_height_mm: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 0.0


class CardForm(Form):
    """A card typed as a drawing in letters."""

    name: Name
    points: Annotated[int, Field(ge=-1000, le=1000)]
    pattern: Annotated[str, StringConstraints(min_length=1, max_length=2000)]
    turns: bool = True
    mirrors: bool = True
    each: bool = False
    common: bool = False
    missed: Annotated[int, Field(ge=-1000, le=0)] = 0
    by: By = "host"


class SpreadForm(Form):
    """A photo of loose pieces, sent before."""

    photo: Digest
    by: By = "host"


class NamedForm(Form):
    """A new name."""

    name: Name
    by: By = "host"


class BackForm(Form):
    """The version of a table that is to be used again."""

    number: Annotated[int, Field(ge=1, le=10_000)]
    by: By = "host"


class TrialForm(Form):
    """A photo of an arranged board, and what lies on it."""

    photo: Digest
    plan: Annotated[str, StringConstraints(min_length=1, max_length=20_000)]
    corners_px: Corners | None = None
    by: By = "host"
