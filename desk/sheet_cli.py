"""The commands under ``tallyglass sheet``: each only names what it takes, and works when run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperGroup

if TYPE_CHECKING:
    from typer._click import Context

Corners = Annotated[
    tuple[str, str, str, str] | None,
    typer.Option(
        metavar="X,Y X,Y X,Y X,Y",
        help="The corners of board or card in photo pixels, clockwise from the top left.",
    ),
]


class SheetGroup(TyperGroup):
    """``sheet game.toml`` is short for ``sheet check game.toml``."""

    def parse_args(self, ctx: Context, args: list[str]) -> list[str]:
        """Put ``check`` before what is no command of its own."""
        if args and args[0] not in self.commands and args[0] != "--help":
            args = ["check", *args]
        return super().parse_args(ctx, args)


app = typer.Typer(
    cls=SheetGroup,
    help="Game sheets: check one, or make a new one.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command("check")
def check_sheet(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="The game sheet (TOML).")],
    draw: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw board, colours and cards to this .svg or .png."),
    ] = None,
) -> None:
    """Check a game sheet and say what is in it.

    tallyglass sheet game.toml --draw game.svg
    """
    from desk.sheets import run_sheet

    run_sheet(sheet, draw)


@app.command("new")
def new_sheet(
    out: Annotated[Path, typer.Argument(metavar="SHEET", help="The sheet to write (.toml).")],
    colour: Annotated[
        list[str],
        typer.Option(metavar="COLOUR[=PIECES]", help="A colour of piece; may be repeated."),
    ],
    name: Annotated[
        str, typer.Option(metavar="NAME", help="Name of the game; asked if not given.")
    ] = "",
    photo: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="Photo of the empty board.")
    ] = None,
    corners: Corners = None,
    size: Annotated[
        str | None, typer.Option(metavar="MMxMM", help="The board's size in mm, such as 170x164.")
    ] = (None),
    drop: Annotated[
        list[str] | None,
        typer.Option(metavar="CELL", help="A proposed cell that is none; may be repeated."),
    ] = None,
    add: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X,Y", help="A cell that was missed: a point in the overlay; may be repeated."
        ),
    ] = None,
    overlay: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Picture (.png) of the proposal over the photo."),
    ] = None,
    svg: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Drawing whose closed paths are cells.")
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(metavar="KIND", help="square, courses, hex-pointy, hex-flat or diamond."),
    ] = None,
    rows: Annotated[
        str | None, typer.Option(metavar="CELLS,...", help="Cells in each row, such as 6,7,6.")
    ] = None,
    pitch: Annotated[
        float | None, typer.Option(metavar="MM", help="From one cell to the next, mm.")
    ] = None,
    row_pitch: Annotated[
        float | None, typer.Option(metavar="MM", help="From row to row, mm (courses).")
    ] = None,
    gap: Annotated[
        float, typer.Option(metavar="MM", help="Clear space between two cells, mm.")
    ] = 0.0,
    margin: Annotated[float, typer.Option(metavar="MM", help="Space around the cells, mm.")] = 0.0,
    shifted: Annotated[
        str | None,
        typer.Option(metavar="ROWS", help="Rows half a cell on: first, second, none or centred."),
    ] = None,
    anchors: Annotated[
        str,
        typer.Option(
            metavar="EDGE", help="Edge where pieces may begin: top, bottom, left, right or rim."
        ),
    ] = "",
    anchor: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CELL|X,Y",
            help="A cell where a piece may begin, or a point in the overlay (drawing: mm) on it or "
            "past it at an edge; may be repeated.",
        ),
    ] = None,
    support: Annotated[
        str,
        typer.Option(
            metavar="SIDES",
            help="Of a cell's sides toward the anchors, which need a piece: any or all.",
        ),
    ] = "any",
    piece_height: Annotated[float, typer.Option(metavar="MM", help="Height of a piece, mm.")] = 0.0,
) -> None:
    """Make a new game sheet.

    From options, from a drawing, or from a photo of the empty board.

    tallyglass sheet new game.toml --name "Harbour" --colour moss=32 --colour rust
    --photo empty.jpg --corners 310,220 2790,240 2850,2010 260,1990 --size 170x164
    """
    from desk.sheet_new import Regular, Wanted, run_sheet_new, typed_name

    regular = Regular(kind, rows, pitch, row_pitch, gap, margin, shifted)
    run_sheet_new(
        Wanted(
            name=name or typed_name(),
            colours=colour,
            board=regular.keys(),
            photo=photo,
            svg=svg,
            corners=corners,
            size_mm=size,
            anchors=anchors,
            anchor=anchor or [],
            support=support,
            piece_height_mm=piece_height,
            drop=drop or [],
            add=add or [],
            overlay=overlay,
        ),
        out,
    )


@app.command("card")
def read_cards(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="The game sheet (TOML).")],
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO", help="One or more cards in each.")
    ],
    table: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="A table of this game: tells inks by the pieces' colours."
        ),
    ] = None,
    answers: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Answers by photo (TOML).")
    ] = None,
    corners: Corners = None,
    add: Annotated[
        bool, typer.Option("--add", help="Add each confirmed card to the end of the sheet.")
    ] = False,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Folder for the levelled pictures.")
    ] = Path("cards-out"),
) -> None:
    """Read cards from photos of them.

    Each is added once a person has confirmed it.

    tallyglass sheet card game.toml bell-rope.jpg gull-walk.jpg --table kitchen.table --add
    """
    from desk.card_reading import CardJob, run_card

    raise typer.Exit(run_card(CardJob(sheet, photos, table, answers, corners, add, out)))


@app.command("colours")
def name_colours(
    sheet: Annotated[
        Path, typer.Argument(metavar="SHEET", help="Game sheet (TOML): its cells' shape is used.")
    ],
    photo: Annotated[
        Path,
        typer.Argument(
            metavar="PHOTO", help="One piece of each colour in a row, or a board laid by --plan."
        ),
    ],
    names: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME,...", help="Their names in the picture's order."),
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Which piece lies where: a sign of your own for each kind."
        ),
    ] = None,
    corners: Corners = None,
    out: Annotated[
        Path, typer.Option(metavar="FILE", help="Picture with the pieces numbered.")
    ] = Path("colours.png"),
    put: Annotated[
        bool, typer.Option("--put", help="Put them into the sheet in place of its colours.")
    ] = False,
) -> None:
    """Name and letter a box's colours from a photo.

    It shows single pieces in a row, or a laid board.

    tallyglass sheet colours game.toml row.jpg --names moss,rust,slate
    """
    from desk.colour_naming import ColourJob, run_sheet_colours

    run_sheet_colours(ColourJob(sheet, photo, names or [], plan, corners, put), out)
