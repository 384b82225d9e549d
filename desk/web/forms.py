"""What phones and scripts may send: every field with its limits, nothing unknown taken."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

NAME_LENGTH = 40
MOST_PLAYERS = 12
FARTHEST_PX = 100_000


def printable(text: str) -> str:
    """Refuse control characters: a name is said, shown and printed."""
    if not text.isprintable():
        raise ValueError("has characters that cannot be shown")
    return text


Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=NAME_LENGTH),
    AfterValidator(printable),
]
Word = Annotated[str, StringConstraints(max_length=200)]
Place = Annotated[str, StringConstraints(min_length=1, max_length=60)]
Corner = Annotated[
    list[Annotated[float, Field(ge=-FARTHEST_PX, le=FARTHEST_PX, allow_inf_nan=False)]],
    Field(min_length=2, max_length=2),
]


def four_apart(corners: list[list[float]]) -> list[list[float]]:
    """Refuse corners of which two are one point: they show no board."""
    if len({tuple(corner) for corner in corners}) < len(corners):
        raise ValueError("two of the corners are the same point; each has its own")
    return corners


Corners = Annotated[list[Corner], Field(min_length=4, max_length=4), AfterValidator(four_apart)]
By = Annotated[Name, Field(description="Who does this; kept in the record.")]


class Form(BaseModel):
    """Base of all forms."""

    model_config = ConfigDict(extra="forbid")


class NewEvening(Form):
    """An evening to begin."""

    name: Name
    table: Place
    players: Annotated[list[Name], Field(min_length=1, max_length=MOST_PLAYERS)]
    by: By = "host"


class Said(Form):
    """Somebody does something that needs no further words."""

    by: By = "host"


class AnswerForm(Form):
    """What lies in a cell: a colour, ``empty``, ``skip`` (left open), "" (taken back)."""

    seat: Annotated[int, Field(ge=0, lt=MOST_PLAYERS)]
    cell: Place
    colour: Word
    by: By = "host"


class LessonForm(Said):
    """Whether a table is to learn from a kept game, or to forget it."""

    learn: bool


class ClaimsForm(Form):
    """All claims of one player, in place of the earlier ones."""

    cards: Annotated[list[Word], Field(max_length=200)] = []
    facts: Annotated[list[Word], Field(max_length=50)] = []
    by: By = "host"


class CornersForm(Form):
    """The board's corners in px of the upright full-size photo, top left first, clockwise."""

    corners_px: Corners
    by: By = "host"


class SwapForm(Form):
    """Two seats whose photos change places."""

    seats: Annotated[
        list[Annotated[int, Field(ge=0, lt=MOST_PLAYERS)]], Field(min_length=2, max_length=2)
    ]
    by: By = "host"


class NewCalibration(Form):
    """A table to learn; ``empty_of_sheet`` takes the photo of the empty board, and its corners,
    that the sheet was made from."""

    name: Name
    sheet: Place
    empty_of_sheet: bool = False
    by: By = "host"


class PlanForm(Form):
    """Which piece lies where in the known layout, a line a row."""

    plan: Annotated[str, StringConstraints(max_length=20_000)]
    by: By = "host"


class DropForm(Form):
    """A calibration photo that is to go, counted from 0 among its kind."""

    kind: Literal["empty", "layout"]
    number: Annotated[int, Field(ge=0, lt=100)]
    by: By = "host"


class SheetForm(Form):
    """A game sheet, as TOML."""

    text: Annotated[str, StringConstraints(min_length=1, max_length=300_000)]
    by: By = "host"


class Problem(BaseModel):
    """Why something was refused, in a sentence."""

    problem: str
