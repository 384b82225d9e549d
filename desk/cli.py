"""The command ``tallyglass``. Each command only names what it takes; the work is imported when run.

Exit codes: 0 done, 1 a trial found what was read wrongly or a card was left open, 2 something given
cannot be used, 3 a board was not found in its photo; ``start.py`` has those of a stopped command.
"""

from __future__ import annotations

import logging
import os
import signal
import sys
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated

import typer
from typer.core import TyperArgument

from desk.archive_cli import AnswersBy, ArchiveOption, PhotosOption
from desk.archive_cli import app as archive_app
from desk.sheet_cli import Corners
from desk.sheet_cli import app as sheet_app
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
app.add_typer(sheet_app, name="sheet")
app.add_typer(archive_app, name="archive")
app.add_typer(table_app, name="table")


# Typer adds "<list[Path]>" to an argument's name, as to no option's that has a name for its value.
TyperArgument.display_type_rich = lambda *_, **__: None  # type: ignore[method-assign]

TableArg = Annotated[
    Path,
    typer.Argument(
        metavar="TABLE",
        help="The table that `calibrate` made: a .table file, or a name on the shelf.",
    ),
]


@app.command()
def demo(
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Folder for all that is made.")
    ] = Path("demo-out"),
) -> None:
    """Do the whole job once, on practice photos of an invented game."""
    from desk.demo import run_demo

    run_demo(out)


@app.command()
def calibrate(
    sheet: Annotated[Path, typer.Option(metavar="FILE", help="The game sheet (TOML).")],
    layout: Annotated[
        list[Path],
        typer.Option(metavar="PHOTO", help="Photo of the known layout; may be repeated."),
    ],
    plan: Annotated[
        Path,
        typer.Option(metavar="FILE", help="Which piece lies where in the known layout (text)."),
    ],
    out: Annotated[
        Path, typer.Option(metavar="FILE", help="A .table file to write, or a name on the shelf.")
    ],
    empty: Annotated[
        list[Path] | None,
        typer.Option(metavar="PHOTO", help="Photo of the empty board; may be repeated."),
    ] = None,
    corners: Corners = None,
    trust_plan: Annotated[
        bool,
        typer.Option("--trust-plan", help="Learn even where pieces seem to lie otherwise."),
    ] = False,
) -> None:
    """Learn a table from photos of known things, and judge it.

    They show the empty board, and pieces laid as a plan says: the known layout.

    tallyglass calibrate --sheet game.toml --empty empty.jpg --layout known.jpg
    --plan layout.txt --out kitchen.table
    """
    from desk.calibrating import KnownThings, run_calibrate

    run_calibrate(KnownThings(sheet, empty or [], layout, plan, corners, trust_plan), out)


@app.command()
def read(
    table: TableArg,
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO", help="Photos of boards.")],
    json: Annotated[bool, typer.Option("--json", help="One JSON object a photo, a line each.")] = (
        False
    ),
    corners: Corners = None,
    boards: Annotated[
        int,
        typer.Option(
            metavar="NUMBER", min=1, max=12, help="Boards in each photo, read left to right."
        ),
    ] = 1,
    overlay: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Folder for pictures that show what was read."),
    ] = None,
) -> None:
    """Read boards: what lies in every cell, and what is in doubt.

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
        list[str], typer.Argument(metavar="PLAYER=PHOTO", help="Whose board, and its photo.")
    ],
    claims: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Cards that players claim (TOML).")
    ] = None,
    answers: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Answers given before (TOML).")
    ] = None,
    no_questions: Annotated[
        bool,
        typer.Option("--no-questions", help="Ask nothing; say between which totals each lies."),
    ] = False,
    corners: Annotated[
        list[str] | None,
        typer.Option(
            metavar='"PLAYER=X,Y X,Y X,Y X,Y"',
            help="A board's corners in photo pixels, clockwise from the top left; may be repeated.",
        ),
    ] = None,
    again: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PLAYER=PHOTO",
            help="A second photo of a board, read with the first; may be repeated.",
        ),
    ] = None,
    by: AnswersBy = "host",
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Folder for pictures and score sheet.")
    ] = Path("tally-out"),
    evening: Annotated[
        str, typer.Option(metavar="LABEL", help="Label of the evening; today if not given.")
    ] = "",
    league: Annotated[str, typer.Option(metavar="LABEL", help="Label of the league.")] = "",
    archive: ArchiveOption = None,
    photos: PhotosOption = None,
    keep_metadata: Annotated[
        bool,
        typer.Option("--keep-metadata", help="Leave location and serial numbers in kept photos."),
    ] = False,
) -> None:
    """Score one game, show every point's proof, keep it.

    The boards are read, and what could change something is asked.

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


@app.command()
def trial(
    table: TableArg,
    plan: Annotated[
        Path, typer.Option(metavar="FILE", help="Which piece lies where on that board (text).")
    ],
    photo: Annotated[
        Path | None, typer.Argument(metavar="PHOTO", help="Photo of a board that you arranged.")
    ] = None,
    layout: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Plan of the known layout that still lies there: writes to --plan which of its "
            "pieces to exchange.",
        ),
    ] = None,
    corners: Corners = None,
) -> None:
    """Try a new table on one board that you arranged.

    You are told how it did, and what to change.

    tallyglass trial kitchen.table --layout layout.txt --plan arranged.txt
    tallyglass trial kitchen.table arranged.jpg --plan arranged.txt
    """
    from desk.trial import run_trial, write_exchange

    if layout and not photo:
        write_exchange(table, layout, plan)
    elif photo and not layout:
        raise typer.Exit(run_trial(table, photo, plan, corners))
    else:
        raise typer.BadParameter("give the photo of the arranged board, or --layout to arrange it.")


@app.command()
def count(
    table: TableArg,
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO", help="Pieces spread out.")],
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Folder for pictures of what was counted.")
    ] = Path("count-out"),
    added: Annotated[
        list[str] | None,
        typer.Option(
            "--and",
            metavar="COLOUR=PIECES",
            help="Pieces that you found at the open places, as moss=2; may be repeated.",
        ),
    ] = None,
    supply: Annotated[
        bool,
        typer.Option(
            "--supply", help="Print the count as the sheet's supply, once no place is open."
        ),
    ] = False,
    put: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A sheet to put the count into as its supply, once no place is open.",
        ),
    ] = None,
) -> None:
    """Count loose pieces, and say which are missing from the box.

    Spread them out on a plain table.

    tallyglass count kitchen.table spread.jpg
    """
    from desk.packing import CountJob, run_count

    run_count(CountJob(table, photos, out, added or [], supply, put))


@app.command("print")
def print_pages(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="The game sheet (TOML).")],
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Folder for the pages.")] = Path(
        "print-out"
    ),
    paper: Annotated[str, typer.Option(metavar="PAPER", help="a4 or letter.")] = "a4",
) -> None:
    """Make pages to print at true size.

    Corner cards, key strip, known layout, score sheet, cards.

    tallyglass print game.toml --paper letter
    """
    from desk.printing.job import run_print

    run_print(sheet, out, paper)


@app.command()
def serve(
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on the house's network in, by a QR code.")
    ] = False,
    port: Annotated[
        int, typer.Option(metavar="NUMBER", min=0, max=65535, help="Port to listen on.")
    ] = 8723,
    data: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Folder of evenings and tables; your data folder if not given."
        ),
    ] = None,
    archive: ArchiveOption = None,
    demo: Annotated[
        bool,
        typer.Option("--demo", help="Open on an invented game, in a folder of its own."),
    ] = False,
) -> None:
    """Open the desk in the browser, for phones too.

    Snap, answer, show, from the phone in your hand.

    tallyglass serve --lan
    """
    from desk.web.serving import run_serve

    run_serve(data, archive, port, lan=lan, demo=demo)


def main() -> None:
    """Run the command; an expected failure is one sentence on stderr and an exit code."""
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it frets over a home it cannot write
    if isinstance(sys.stdout, TextIOWrapper):  # a file's name need not be text in this language
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        app()
    except SystemExit as ended:
        if isinstance(ended.__context__, BrokenPipeError):
            reader_left()  # Typer would end with 1
        raise
    except ImportError as error:
        fail(f"A part of the program is missing ({error}). Install it again as README.md says.")
    except BrokenPipeError:
        reader_left()
    except UnicodeEncodeError as error:
        fail(f"{error.object!a} is no text in UTF-8; write it in letters that are.")
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


def reader_left() -> None:
    """End as the system ends a program whose reader, ``head`` for one, has seen enough."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(128 + signal.SIGPIPE)


def fail(words: str, code: int = BAD_INPUT) -> None:
    """Say what went wrong and end."""
    print(words, file=sys.stderr)
    sys.exit(code)
