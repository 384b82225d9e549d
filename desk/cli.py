"""The command ``tallyglass``. Each command only names what it takes; the work is imported when run.

Exit codes: 0 done, 1 a trial found what was read wrongly, 130 stopped by Ctrl-C, 2 something given
cannot be used, 3 a board was not found in its photo.
"""

from __future__ import annotations

import os
import sys
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperGroup

if TYPE_CHECKING:
    from typer._click import Context

from desk.archive_cli import ArchiveOption, PhotosOption
from desk.archive_cli import app as archive_app
from desk.table_cli import app as table_app

BAD_INPUT = 2
BOARD_NOT_FOUND = 3

app = typer.Typer(
    name="tallyglass",
    help="Reads phone photos of final game boards and proves every point of the tally.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.add_typer(archive_app, name="archive")
app.add_typer(table_app, name="table")


class SheetGroup(TyperGroup):
    """``sheet game.toml`` is short for ``sheet check game.toml``."""

    def parse_args(self, ctx: Context, args: list[str]) -> list[str]:
        """Put ``check`` before what is no command of its own."""
        if args and args[0] not in self.commands and args[0] != "--help":
            args = ["check", *args]
        return super().parse_args(ctx, args)


sheet_app = typer.Typer(
    cls=SheetGroup,
    help="Game sheets: check one, or make a new one.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(sheet_app, name="sheet")

TableArg = Annotated[
    Path,
    typer.Argument(help="The table that `calibrate` made: a .table file, or a name on the shelf."),
]
Corners = Annotated[
    tuple[str, str, str, str] | None,
    typer.Option(
        metavar="X,Y X,Y X,Y X,Y",
        help="The board's corners in photo pixels: top left, top right, bottom right, bottom left.",
    ),
]


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder for all that is made.")] = Path("demo-out"),
) -> None:
    """Do the whole job once, on practice photos of an invented game."""
    from desk.demo import run_demo

    run_demo(out)


@app.command()
def calibrate(
    sheet: Annotated[Path, typer.Option(help="The game sheet (TOML).")],
    layout: Annotated[list[Path], typer.Option(help="Photo of the known layout; may be repeated.")],
    plan: Annotated[Path, typer.Option(help="Which piece lies where in the known layout (text).")],
    out: Annotated[Path, typer.Option(help="A .table file to write, or a name on the shelf.")],
    empty: Annotated[
        list[Path] | None, typer.Option(help="Photo of the empty board; may be repeated.")
    ] = None,
    corners: Corners = None,
    trust_plan: Annotated[
        bool,
        typer.Option("--trust-plan", help="Learn even where pieces seem to lie otherwise."),
    ] = False,
) -> None:
    """Learn a table from photos of the empty board and of a known layout, and judge it.

    tallyglass calibrate --sheet game.toml --empty empty.jpg --layout known.jpg
    --plan layout.txt --out kitchen.table
    """
    from desk.calibrating import KnownThings, run_calibrate

    run_calibrate(KnownThings(sheet, empty or [], layout, plan, corners, trust_plan), out)


@app.command()
def read(
    table: TableArg,
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos of boards.")],
    json: Annotated[bool, typer.Option("--json", help="One JSON object a photo, a line each.")] = (
        False
    ),
    corners: Corners = None,
    boards: Annotated[
        int, typer.Option(min=1, max=12, help="Boards in each photo, read left to right.")
    ] = 1,
    overlay: Annotated[
        Path | None, typer.Option(help="Folder for pictures that show what was read.")
    ] = None,
) -> None:
    """Read boards and say what lies in every cell, and which cells are in doubt.

    tallyglass read kitchen.table ana.jpg ben.jpg --json
    """
    from desk.reading import run_read

    raise typer.Exit(
        run_read(table, photos, as_json=json, corners=corners, boards=boards, overlay=overlay)
    )


@app.command()
def tally(
    table: TableArg,
    boards: Annotated[
        list[str], typer.Argument(metavar="PLAYER=PHOTO...", help="Who, which photo.")
    ],
    claims: Annotated[Path | None, typer.Option(help="Cards that players claim (TOML).")] = None,
    answers: Annotated[Path | None, typer.Option(help="Answers given before (TOML).")] = None,
    no_questions: Annotated[
        bool,
        typer.Option("--no-questions", help="Ask nothing; say between which totals each lies."),
    ] = False,
    corners: Annotated[
        list[str] | None,
        typer.Option(metavar='"PLAYER=X,Y X,Y X,Y X,Y"', help="A board's corners in photo pixels."),
    ] = None,
    again: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PLAYER=PHOTO", help="A second photo of a board, read with the first."
        ),
    ] = None,
    by: Annotated[str, typer.Option(help="Who answers; kept with each answer.")] = "host",
    out: Annotated[Path, typer.Option(help="Folder for pictures and score sheet.")] = Path(
        "tally-out"
    ),
    evening: Annotated[str, typer.Option(help="Label of the evening; today if not given.")] = "",
    league: Annotated[str, typer.Option(help="Label of the league.")] = "",
    archive: ArchiveOption = None,
    photos: PhotosOption = None,
    keep_metadata: Annotated[
        bool,
        typer.Option("--keep-metadata", help="Leave location and serial numbers in kept photos."),
    ] = False,
) -> None:
    """Score one game: read the boards, ask what matters, show every point's proof, keep it.

    tallyglass tally kitchen.table Ana=ana.jpg Ben=ben.jpg --claims claims.toml

    A photo of several boards is named by each of their players, left to right: Ana=all.jpg
    Ben=all.jpg

    A second photo of a board, where glare or a shadow hides pieces: --again Ana=ana-2.jpg
    """
    from desk.tallying import TallyJob, run_tally

    run_tally(
        TallyJob(
            table=table,
            boards=boards,
            claims=claims,
            answers=answers,
            ask=not no_questions,
            corners=corners or [],
            again=again or [],
            by=by,
            out=out,
            archive=archive,
            photos=photos,
            keep_metadata=keep_metadata,
            evening=evening,
            league=league,
        )
    )


@sheet_app.command("check")
def check_sheet(
    sheet: Annotated[Path, typer.Argument(help="The game sheet (TOML).")],
    draw: Annotated[
        Path | None, typer.Option(help="Draw board, colours and cards to this .svg or .png.")
    ] = None,
) -> None:
    """Check a game sheet and say what is in it.

    tallyglass sheet game.toml --draw game.svg
    """
    from desk.sheets import run_sheet

    run_sheet(sheet, draw)


@sheet_app.command("new")
def new_sheet(
    out: Annotated[Path, typer.Argument(help="The sheet to write (.toml).")],
    name: Annotated[str, typer.Option(prompt="Name of the game", help="Name of the game.")],
    colour: Annotated[
        list[str], typer.Option(metavar="COLOUR[=PIECES]", help="A colour of piece; repeat it.")
    ],
    photo: Annotated[Path | None, typer.Option(help="Photo of the empty board.")] = None,
    corners: Corners = None,
    size: Annotated[str | None, typer.Option(help="The board's size in mm, such as 170x164.")] = (
        None
    ),
    drop: Annotated[list[str] | None, typer.Option(help="A proposed cell that is none.")] = None,
    add: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y", help="A cell that was missed: a point in the overlay."),
    ] = None,
    overlay: Annotated[
        Path | None, typer.Option(help="Picture (.png) of the proposal over the photo.")
    ] = None,
    svg: Annotated[Path | None, typer.Option(help="Drawing whose closed paths are cells.")] = None,
    kind: Annotated[
        str | None, typer.Option(help="square, courses, hex-pointy, hex-flat or diamond.")
    ] = None,
    rows: Annotated[str | None, typer.Option(help="Cells in each row, such as 6,7,6.")] = None,
    pitch: Annotated[float | None, typer.Option(help="From one cell to the next, mm.")] = None,
    row_pitch: Annotated[float | None, typer.Option(help="From row to row, mm (courses).")] = None,
    gap: Annotated[float, typer.Option(help="Clear space between two cells, mm.")] = 0.0,
    margin: Annotated[float, typer.Option(help="Space around the cells, mm.")] = 0.0,
    shifted: Annotated[
        str | None, typer.Option(help="Rows half a cell on: first, second, none or centred.")
    ] = None,
    anchors: Annotated[
        str, typer.Option(help="Edge where pieces may begin: top, bottom, left, right or rim.")
    ] = "",
    anchor: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CELL|X,Y",
            help="A cell where a piece may begin, or a point in the overlay (drawing: mm) on it or "
            "past it at an edge; repeat it.",
        ),
    ] = None,
    support: Annotated[
        str, typer.Option(help="Inner sides, toward anchors, that need a piece: any or all.")
    ] = "any",
    piece_height: Annotated[float, typer.Option(help="Height of a piece, mm.")] = 0.0,
) -> None:
    """Make a new game sheet from options, from a drawing, or from a photo of the empty board.

    tallyglass sheet new game.toml --name "Harbour" --colour moss=32 --colour rust
    --photo empty.jpg --corners 310,220 2790,240 2850,2010 260,1990 --size 170x164
    """
    from desk.sheet_new import Regular, Wanted, run_sheet_new

    regular = Regular(kind, rows, pitch, row_pitch, gap, margin, shifted)
    run_sheet_new(
        Wanted(
            name=name,
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


@sheet_app.command("card")
def read_cards(
    sheet: Annotated[Path, typer.Argument(help="The game sheet (TOML).")],
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="One card in each.")],
    table: Annotated[
        Path | None, typer.Option(help="A table of this game: tells inks by the pieces' colours.")
    ] = None,
    answers: Annotated[Path | None, typer.Option(help="Answers by photo (TOML).")] = None,
    corners: Corners = None,
    add: Annotated[
        bool, typer.Option("--add", help="Add each confirmed card to the end of the sheet.")
    ] = False,
    out: Annotated[Path, typer.Option(help="Folder for the levelled pictures.")] = Path(
        "cards-out"
    ),
) -> None:
    """Read cards from photos of them; each is added once a person has confirmed it.

    tallyglass sheet card game.toml bell-rope.jpg gull-walk.jpg --table kitchen.table --add
    """
    from desk.card_reading import CardJob, run_card

    run_card(CardJob(sheet, photos, table, answers, corners, add, out))


@sheet_app.command("colours")
def name_colours(
    sheet: Annotated[Path, typer.Argument(help="Game sheet (TOML): its cells' shape is used.")],
    photo: Annotated[
        Path, typer.Argument(help="One piece of each colour in a row, or a board laid by --plan.")
    ],
    names: Annotated[
        list[str] | None, typer.Option(help="Their names in the picture's order: moss,rust,slate.")
    ] = None,
    plan: Annotated[
        Path | None, typer.Option(help="Which piece lies where: a sign of your own for each kind.")
    ] = None,
    corners: Corners = None,
    out: Annotated[Path, typer.Option(help="Picture with the pieces numbered.")] = Path(
        "colours.png"
    ),
    put: Annotated[
        bool, typer.Option("--put", help="Put them into the sheet in place of its colours.")
    ] = False,
) -> None:
    """Name and letter a box's colours from single pieces in a row, or from a laid board.

    tallyglass sheet colours game.toml row.jpg --names moss,rust,slate
    """
    from desk.colour_naming import ColourJob, run_sheet_colours

    run_sheet_colours(ColourJob(sheet, photo, names or [], plan, corners, put), out)


@app.command()
def trial(
    table: TableArg,
    photo: Annotated[Path, typer.Argument(help="Photo of a board that you arranged.")],
    plan: Annotated[Path, typer.Option(help="Which piece lies where on it (text).")],
    corners: Corners = None,
) -> None:
    """Try a new table on one arranged board: how it did, and what to change.

    tallyglass trial kitchen.table arranged.jpg --plan arranged.txt
    """
    from desk.trial import run_trial

    raise typer.Exit(run_trial(table, photo, plan, corners))


@app.command()
def count(
    table: TableArg,
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Pieces spread out.")],
    out: Annotated[Path, typer.Option(help="Folder for pictures of what was counted.")] = Path(
        "count-out"
    ),
    added: Annotated[
        list[str] | None,
        typer.Option("--and", help="Pieces that you found at the open places, as moss=2."),
    ] = None,
    supply: Annotated[
        bool, typer.Option("--supply", help="Print a whole count as the sheet's supply.")
    ] = False,
    put: Annotated[
        Path | None, typer.Option(help="A sheet into which a whole count is put as its supply.")
    ] = None,
) -> None:
    """Count loose pieces spread out on a table, and say which are missing from the box.

    tallyglass count kitchen.table spread.jpg
    """
    from desk.packing import CountJob, run_count

    run_count(CountJob(table, photos, out, added or [], supply, put))


@app.command("print")
def print_pages(
    sheet: Annotated[Path, typer.Argument(help="The game sheet (TOML).")],
    out: Annotated[Path, typer.Option(help="Folder for the pages.")] = Path("print-out"),
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
) -> None:
    """Make pages at true size: corner cards, key strip, known layout, score sheet, cards.

    tallyglass print game.toml --paper letter
    """
    from desk.printing.job import run_print

    run_print(sheet, out, paper)


@app.command()
def serve(
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on the house's network in, by a QR code.")
    ] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on.")] = 8723,
    data: Annotated[
        Path | None,
        typer.Option(help="Folder of evenings and tables; your data folder if not given."),
    ] = None,
    archive: ArchiveOption = None,
    demo: Annotated[
        bool,
        typer.Option("--demo", help="Open on an invented game, in a folder of its own."),
    ] = False,
) -> None:
    """Open the desk in the browser: snap, answer, show, from the phone in your hand.

    tallyglass serve --lan
    """
    from desk.web.serving import run_serve

    run_serve(data, archive, port, lan=lan, demo=demo)


def main() -> None:
    """Run the command; an expected failure is one sentence on stderr and an exit code."""
    if isinstance(sys.stdout, TextIOWrapper):  # a file's name need not be text in this language
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        app()
    except ImportError as error:
        fail(f"A part of the program is missing ({error}). Install it again as README.md says.")
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has left
    except OSError as error:
        from desk.say import os_error_in_words

        fail(os_error_in_words(error))
    except Exception as error:
        code = exit_code_of(error)
        if code is None:
            raise
        fail(str(error), code)


def exit_code_of(error: Exception) -> int | None:
    """The exit code of an expected failure; None for a fault of the program itself."""
    from scoring.errors import TallyglassError

    if not isinstance(error, TallyglassError):
        return None
    return BOARD_NOT_FOUND if type(error).__name__ == "BoardNotFound" else BAD_INPUT


def fail(words: str, code: int = BAD_INPUT) -> None:
    """Say what went wrong and end."""
    print(words, file=sys.stderr)
    sys.exit(code)


if __name__ == "__main__":
    main()
