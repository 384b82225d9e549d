"""What phones may send to make a sheet, to keep tables and to try one."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints

from desk.web.forms import By, Corners, Form, Name, Place

Digest = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
Spot = Annotated[
    list[Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)]],
    Field(min_length=2, max_length=2, description="Board mm, x right and y down."),
]
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


ColourName = Annotated[Name, AfterValidator(str.lower)]
Letter = Annotated[str, StringConstraints(pattern="^[A-Za-z]$")]


class ColourForm(Form):
    """A colour of piece, its letter and how many the box holds, where those are known."""

    name: ColourName
    letter: Letter | None = None
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


class ColoursForm(Form):
    """All colours of a sheet, in place of its own."""

    colours: Annotated[list[ColourForm], Field(min_length=1, max_length=40)]
    by: By = "host"


class RowForm(Form):
    """A photo of a row of pieces; with a ``plan`` in signs of one's own, of a laid board."""

    photo: Digest
    plan: Annotated[str, StringConstraints(max_length=20_000)] = ""
    corners_px: Corners | None = None
    by: By = "host"


class DraftRowForm(ProposalForm):
    """A board that is no sheet yet, and the photo of a row of its pieces."""

    row: Digest


class NamedInk(Form):
    """An ink that a person named on an earlier card of the same printing and light."""

    colour: Name
    lab: Annotated[
        list[Annotated[float, Field(ge=-200, le=200, allow_inf_nan=False)]],
        Field(min_length=3, max_length=3, description="CIELAB."),
    ]


class CardPhotoForm(Form):
    """A photo of a card; ``table`` names one whose pieces tell the printed colours."""

    photo: Digest
    table: Place | None = None
    corners_px: Corners | None = None
    named: Annotated[list[NamedInk], Field(max_length=400)] = Field(default_factory=list)
    by: By = "host"


class CellForm(Form):
    """One cell of a card: its step on the lattice, and the letter or sign that it asks for."""

    step: Annotated[list[Annotated[int, Field(ge=-100, le=100)]], Field(min_length=2, max_length=2)]
    need: Annotated[str, StringConstraints(pattern="^[A-Za-z0-9*_.]$")]


class PatternForm(Form):
    """All cells of a card, settled, and which side of the picture is the card's top."""

    cells: Annotated[list[CellForm], Field(min_length=1, max_length=100)]
    top: Annotated[str, StringConstraints(pattern="^(up|right|down|left)$")] = "up"
    by: By = "host"


class CountForm(Form):
    """Photos of loose pieces, no piece in two, and what a person found at all open places."""

    photos: Annotated[list[Digest], Field(min_length=1, max_length=20)]
    by_hand: Annotated[
        dict[ColourName, Annotated[int, Field(ge=0, le=10_000)]], Field(max_length=40)
    ] = Field(default_factory=dict)
    by: By = "host"


class SheetOfForm(Form):
    """The sheet that a table is given."""

    sheet: Place
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
