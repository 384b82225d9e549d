"""The commands under ``tallyglass table``: each only names what it takes, and works when run."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    help="Tables on the shelf: list, rename, change, share.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Name = Annotated[str, typer.Argument(metavar="NAME", help="The table's name.")]
Data = Annotated[
    Path | None,
    typer.Option(
        metavar="FOLDER", help="Folder of evenings and tables; your data folder if not given."
    ),
]

Game = Annotated[int, typer.Argument(metavar="NUMBER", help="The game's number in the archive.")]


@app.command("list")
def list_tables(data: Data = None) -> None:
    """List the tables on the shelf, the latest first."""
    from desk.tables import run_list

    run_list(data)


@app.command("history")
def history(name: Name, data: Data = None) -> None:
    """List all versions of one table."""
    from desk.tables import run_history

    run_history(data, name)


@app.command("back")
def back(
    name: Name,
    version: Annotated[
        int, typer.Argument(metavar="NUMBER", help="The version's number in `history`.")
    ],
    data: Data = None,
) -> None:
    """Use an older version again.

    It becomes the latest; those between stay.
    """
    from desk.tables import run_back

    run_back(data, name, version)


@app.command("rename")
def rename(
    name: Name,
    new: Annotated[str, typer.Argument(metavar="NEW", help="What it is to be called.")],
    data: Data = None,
) -> None:
    """Give a table, with all its versions, another name."""
    from desk.tables import run_rename

    run_rename(data, name, new)


@app.command("sheet")
def sheet(
    name: Name,
    file: Annotated[Path, typer.Argument(metavar="SHEET", help="The changed game sheet (TOML).")],
    data: Data = None,
) -> None:
    """Give a table a changed sheet of its game.

    Cards, rules and supply become those of the sheet; what it learned stays.
    """
    from desk.tables import run_sheet

    run_sheet(data, name, file)


@app.command("export")
def export(
    name: Name,
    out: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write; ends in .table.")],
    data: Data = None,
) -> None:
    """Write a table as one file to share.

    It is a ZIP of JSON, TOML and PNG with the hash of each part.
    """
    from desk.tables import run_export

    run_export(data, name, out)


@app.command("import")
def import_table(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A table's file, from `export` or `calibrate`.")
    ],
    name: Annotated[
        str, typer.Option(metavar="NAME", help="What to call it; its own name if not given.")
    ] = "",
    data: Data = None,
) -> None:
    """Put a shared table on the shelf.

    Its file is checked whole first, and you are told what it may cost in your light.
    """
    from desk.tables import run_import

    run_import(data, file, name)


@app.command("learn")
def learn(
    name: Name,
    game: Game,
    archive: Annotated[
        str | None,
        typer.Option(
            metavar="PLACE",
            help="The archive's folder, or postgresql://...; your data folder if not given.",
        ),
    ] = None,
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Where to draw the boards.")] = Path(
        "learned"
    ),
    data: Data = None,
) -> None:
    """Let a table learn from the boards of a kept game.

    Each board is drawn first, for you to say whether all is right. Later games in the same light
    are then asked less. `forget` undoes it.
    """
    from desk.lessons import run_learn

    raise typer.Exit(run_learn(data, name, game, archive, out))


@app.command("lessons")
def lessons(name: Name, data: Data = None) -> None:
    """List the boards that a table has learned from."""
    from desk.lessons import run_lessons

    run_lessons(data, name)


@app.command("forget")
def forget(name: Name, game: Game, data: Data = None) -> None:
    """Take out of a table what it learned from one game."""
    from desk.lessons import run_forget

    run_forget(data, name, game)
