"""The form of a game sheet's TOML, checked with pydantic; sheet.py builds the game from it.

Lengths are in mm, with the board's top left corner as origin, x right, y down.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Whole = Annotated[int, Field(strict=True)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Points = Annotated[Whole, Field(ge=-1_000_000, le=1_000_000)]
Flag = Annotated[bool, Field(strict=True)]
Text = Annotated[str, Field(min_length=1, max_length=10_000)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Length = Annotated[Number, Field(gt=0, le=10_000)]
PointMm = tuple[Number, Number]
Letter = Annotated[str, Field(pattern=r"^[A-Za-z]$")]
Rows = Annotated[list[Annotated[Whole, Field(ge=1, le=500)]], Field(min_length=1, max_length=500)]


class Form(BaseModel):
    """Base of all forms: no unknown key is accepted, so that a misspelt one is found."""

    model_config = ConfigDict(extra="forbid", strict=False, frozen=True)


class AnchorsForm(Form):
    """Where a piece may lie with nothing beside it; what is given adds up."""

    edge: Literal["top", "bottom", "left", "right", "rim"] | None = None
    rows: list[str] = []
    cells: list[str] = []
    all: Flag = False


class DrawnCellForm(Form):
    """One cell of a drawn board."""

    id: Annotated[str, Field(pattern=r"^[A-Z]{1,2}[0-9]{1,3}$")]
    polygon_mm: Annotated[list[PointMm], Field(min_length=3, max_length=200)]
    neighbours: list[str] | None = None


class BoardForm(Form):
    """The board: a regular lattice (``rows``, ``pitch_mm`` ...) or one drawn cell by cell."""

    kind: Literal["square", "courses", "hex-pointy", "hex-flat", "diamond", "drawn"]
    rows: Rows | Annotated[Whole, Field(ge=1, le=500)] | None = None
    columns: Annotated[Whole, Field(ge=1, le=500)] | None = None
    pitch_mm: Length | None = None
    row_pitch_mm: Length | None = None
    gap_mm: Annotated[Number, Field(ge=0, le=100)] = 0.0
    margin_mm: PointMm | Annotated[Number, Field(ge=0)] = 0.0
    size_mm: tuple[Length, Length] | None = None
    shifted: Literal["first", "second", "none", "centred"] = "second"
    lower_edge: Literal["straight", "round"] = "straight"
    cells: list[DrawnCellForm] = []
    like: Literal["", "square", "courses", "hex-pointy", "hex-flat", "diamond"] = ""
    anchors: AnchorsForm = AnchorsForm()
    support: Literal["any", "all", "none"] = "any"
    piece_height_mm: Annotated[Number, Field(ge=0, le=100)] = 0.0
    full: Flag = False


class MarkForm(Form):
    """One printed corner mark (DICT_4X4_50): corners clockwise from the mark's own top left."""

    id: Annotated[Whole, Field(ge=0, le=49)]
    on: Literal["board", "card"] = "board"
    corners_mm: Annotated[list[PointMm], Field(min_length=4, max_length=4)]


class ColourForm(Form):
    """One colour of piece."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9 -]{0,30}$")]
    letter: Letter
    supply: Annotated[Whole, Field(ge=1)] | None = None
    in_patterns: Flag = True


class CardForm(Form):
    """One objective card."""

    name: Name
    points: Points
    pattern: Text | None = None
    at: dict[str, str] = {}
    turns: Flag = True
    mirrors: Flag = True
    count: Literal["once", "each"] = "once"
    held: Literal["claimed", "common"] = "claimed"
    missed: Annotated[Points, Field(le=0)] = 0


Label = Annotated[str, Field(min_length=1, max_length=80)]
TableForm = dict[Annotated[str, Field(pattern=r"^[0-9]{1,4}$")], Points]
Over = Literal["rows", "columns", "rings", "board"]


class GroupsForm(Form):
    """Points for groups of one colour."""

    kind: Literal["groups"]
    label: Label = "groups"
    colours: list[str] = []
    min_size: Annotated[Whole, Field(ge=1)] = 1
    each: Points = 0
    flat: Points = 0
    by_size: TableForm = {}
    only: Literal["all", "largest", "largest-of-each-colour"] = "all"


class CardsForm(Form):
    """How cards share pieces."""

    kind: Literal["cards"]
    label: Label = "cards"
    share_between_cards: Flag = True
    share_between_copies: Flag = True


class ExtrasForm(Form):
    """Points for each piece of a colour."""

    kind: Literal["extras"]
    label: Label = "extras"
    colour: str
    each: Points


class RegionsForm(Form):
    """Points for complete rows, columns, rings or named regions."""

    kind: Literal["regions"]
    label: Label = "regions"
    over: Over = "board"
    cells: dict[str, list[str]] = {}
    need: Literal["full", "one-colour", "all-different"] = "full"
    points: Points


class VarietyForm(Form):
    """Points for distinct colours in regions, or around each piece of a colour."""

    kind: Literal["variety"]
    label: Label = "variety"
    over: Over = "board"
    cells: dict[str, list[str]] = {}
    around: str = ""
    each: Points = 0
    by_count: TableForm = {}


class AdjacentForm(Form):
    """Points for sides at which two colours meet."""

    kind: Literal["adjacent"]
    label: Label = "neighbours"
    colours: tuple[str, str]
    each: Points


class EmptiesForm(Form):
    """Points for each empty cell."""

    kind: Literal["empties"]
    label: Label = "empty cells"
    each: Points


class EndsForm(Form):
    """Points for a fact of the game's end that is handed in."""

    kind: Literal["ends"]
    label: Label
    fact: Name
    points: Points


RuleForm = Annotated[
    GroupsForm
    | CardsForm
    | ExtrasForm
    | RegionsForm
    | VarietyForm
    | AdjacentForm
    | EmptiesForm
    | EndsForm,
    Field(discriminator="kind"),
]


class TieBreakForm(Form):
    """One tie-break; those before it decide first."""

    by: Literal["rule", "pieces", "cards", "largest-group", "fact"]
    of: str = ""
    prefer: Literal["more", "fewer"] = "more"


class SheetForm(Form):
    """A whole game sheet."""

    name: Name
    about: str = ""
    board: BoardForm
    marks: list[MarkForm] = []
    colours: Annotated[list[ColourForm], Field(min_length=1, max_length=40)]
    cards: Annotated[list[CardForm], Field(max_length=400)] = []
    rules: Annotated[list[RuleForm], Field(min_length=1, max_length=100)]
    tie_breaks: list[TieBreakForm] = []
