"""The commands under ``tallyglass archive``: each only names what it takes, and works when run.

Exit codes are those of ``tallyglass``, and 4 where an archive could not be proven.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    help="Games that were kept: find, prove, correct, compare, move.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

ArchiveOption = Annotated[
    str | None,
    typer.Option(
        metavar="PLACE",
        help="The archive's folder, or postgresql://...; your data folder if not given.",
    ),
]
PhotosOption = Annotated[
    str | None,
    typer.Option(
        metavar="PLACE",
        help="Where the archive's photos lie: a folder, or an address that fsspec knows, such as "
        "s3://bucket/photos; said once, kept.",
    ),
]
GameArg = Annotated[int, typer.Argument(metavar="ID", help="The game's number in the list.")]
Person = Annotated[str, typer.Argument(metavar="PERSON", help="The name as it is kept.")]
DeskOption = Annotated[
    Path | None,
    typer.Option(
        "--data",
        metavar="FOLDER",
        help="The web desk's folder; your data folder if neither this nor --archive is given.",
    ),
]
By = Annotated[str, typer.Option(metavar="NAME", help="Who does this; kept with the entry.")]
AnswersBy = Annotated[
    str,
    typer.Option(
        metavar="NAME", help="Who answers, where a file does not say; kept with each answer."
    ),
]
Player = Annotated[str, typer.Option(metavar="NAME", help="Only games of this player.")]
GameName = Annotated[
    str, typer.Option(metavar="NAME", help="Only of this game (its sheet's name).")
]
Card = Annotated[
    str, typer.Option(metavar="NAME", help="Only games with this card or line in the tally.")
]
Evening = Annotated[str, typer.Option(metavar="LABEL", help="Only of this evening.")]
League = Annotated[str, typer.Option(metavar="LABEL", help="Only of this league.")]
Day = Annotated[
    str,
    typer.Option(metavar="DAY", help="Only of this day, month or year: 2026-11-25, 2026-11, 2026."),
]
Since = Annotated[str, typer.Option(metavar="DAY", help="Only from this day on.")]
Until = Annotated[str, typer.Option(metavar="DAY", help="Only up to this day.")]
Text = Annotated[
    list[str] | None, typer.Argument(metavar="WORD", help="`bell*` finds all that begin so.")
]
Limit = Annotated[int, typer.Option(metavar="NUMBER", min=1, help="How many at most.")]
Jobs = Annotated[
    int, typer.Option(metavar="NUMBER", help="Processes that read; -1: one for each core.")
]
Every = Annotated[bool, typer.Option("--every", help="Also entries that were corrected since.")]
Before = Annotated[
    int | None, typer.Option(metavar="ID", help="Only numbers below this: the next page.")
]


@app.command("list")
def list_games(
    archive: ArchiveOption = None,
    limit: Limit = 50,
    before: Before = None,
    every: Every = False,
) -> None:
    """List the games that were kept, the latest first."""
    from desk.kept import run_list

    run_list(archive, limit=limit, before=before, every=every)


@app.command("search")
def search_games(
    text: Text = None,
    player: Player = "",
    game: GameName = "",
    card: Card = "",
    evening: Evening = "",
    league: League = "",
    date: Day = "",
    since: Since = "",
    until: Until = "",
    archive: ArchiveOption = None,
    limit: Limit = 50,
    before: Before = None,
    every: Every = False,
) -> None:
    """Find games by words, player, game, card or date.

    Or by evening or league; all that is given must fit.
    """
    from desk.keeping.search import Wanted
    from desk.kept import run_list

    words = " ".join(text or [])
    wanted = Wanted(words, player, game, card, evening, league, date, since, until)
    run_list(archive, wanted, limit=limit, before=before, every=every)


@app.command("show")
def show_game(
    game: GameArg,
    archive: ArchiveOption = None,
    json: Annotated[bool, typer.Option("--json", help="All that was kept, as JSON.")] = False,
) -> None:
    """Show one game as it was kept, every point with its proof."""
    from desk.kept import run_show

    run_show(game, archive, as_json=json)


@app.command("verify")
def verify_archive(
    archive: ArchiveOption = None,
    reread: Annotated[
        bool, typer.Option("--reread", help="Also read every photo again (slow).")
    ] = False,
    jobs: Jobs = -1,
) -> None:
    """Prove that all that was kept is as it was.

    Files by hashes, records by seals (a hash over the record), tallies by counting grids again.
    """
    from desk.kept import run_verify

    raise typer.Exit(run_verify(archive, jobs=jobs if reread else 0))


@app.command("tidy")
def tidy_archive(archive: ArchiveOption = None) -> None:
    """Take away files that no game needs.

    `verify` says which these are.
    """
    from desk.kept import run_tidy

    run_tidy(archive)


@app.command("correct")
def correct_game(
    game: GameArg,
    reason: Annotated[str, typer.Option(metavar="WHY", help="Why; shown with the new entry.")],
    answers: Annotated[
        Path | None, typer.Option(metavar="FILE", help="What lies in cells (TOML, as for `tally`).")
    ] = None,
    by: AnswersBy = "host",
    claims: Annotated[
        Path | None, typer.Option(metavar="FILE", help="All claims anew (TOML, as for `tally`).")
    ] = None,
    evening: Annotated[str | None, typer.Option(metavar="LABEL", help="Another evening.")] = None,
    league: Annotated[str | None, typer.Option(metavar="LABEL", help="Another league.")] = None,
    archive: ArchiveOption = None,
) -> None:
    """Correct a game; its old entry stays visible.

    tallyglass archive correct 12 --answers said.toml --reason "C4 was moss, all agreed"
    """
    from desk.kept import Change, run_correct

    run_correct(game, Change(reason, answers, by, claims, evening, league), archive)


@app.command("rescore")
def rescore_games(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="The changed game sheet (TOML).")],
    player: Player = "",
    evening: Evening = "",
    league: League = "",
    date: Day = "",
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep each different count as a correction.")
    ] = False,
    archive: ArchiveOption = None,
) -> None:
    """Count a game's kept boards under a changed sheet.

    What comes out differently is listed.
    """
    from desk.keeping.search import Wanted
    from desk.kept import run_rescore

    wanted = Wanted(player=player, evening=evening, league=league, date=date)
    run_rescore(sheet, wanted, archive, keep=keep)


@app.command("reread")
def reread_games(
    player: Player = "",
    game: GameName = "",
    evening: Evening = "",
    league: League = "",
    date: Day = "",
    jobs: Jobs = -1,
    dask: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Read on a Dask cluster instead, at tcp://host:8786, say."
        ),
    ] = "",
    log: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Results as they come; given again, goes on with them."),
    ] = None,
    archive: ArchiveOption = None,
) -> None:
    """Read kept photos again with this version.

    What is read differently is listed; nothing is changed.
    """
    from desk.keeping.reread import Workers
    from desk.keeping.search import Wanted
    from desk.kept import run_reread

    wanted = Wanted(player=player, game=game, evening=evening, league=league, date=date)
    run_reread(wanted, Workers(jobs, dask), log, archive)


@app.command("standings")
def show_standings(
    game: GameName = "",
    evening: Evening = "",
    league: League = "",
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw them to this .png or .svg as well.")
    ] = None,
    archive: ArchiveOption = None,
) -> None:
    """Show wins, mean, best, head-to-head and a rating.

    Of all games, a league or an evening.
    """
    from desk.kept import run_standings

    run_standings(game, evening, league, plot, archive)


@app.command("export")
def export_archive(
    out: Annotated[Path, typer.Argument(metavar="ZIP", help="The file to write.")],
    evening: Evening = "",
    league: League = "",
    archive: ArchiveOption = None,
) -> None:
    """Write games, photos and tables as one ZIP.

    JSON, CSV and photo files lie in it.
    """
    from desk.keeping.search import Wanted
    from desk.kept import run_export

    run_export(out, Wanted(evening=evening, league=league), archive)


@app.command("import")
def import_archive(
    zip: Annotated[Path, typer.Argument(metavar="ZIP", help="What `export` wrote.")],
    archive: ArchiveOption = None,
    photos: PhotosOption = None,
) -> None:
    """Merge an exported ZIP into this archive.

    Games that are here already are left alone.
    """
    from desk.kept import run_import

    run_import(zip, archive, photos)


@app.command("merge")
def merge_archive(
    other: Annotated[str, typer.Argument(metavar="PLACE", help="The other archive.")],
    archive: ArchiveOption = None,
    photos: PhotosOption = None,
) -> None:
    """Add another archive's games, without duplicates."""
    from desk.kept import run_merge

    run_merge(other, archive, photos)


@app.command("csv")
def write_csv(
    out: Annotated[Path, typer.Argument(metavar="CSV", help="The file to write.")],
    player: Player = "",
    game: GameName = "",
    evening: Evening = "",
    league: League = "",
    archive: ArchiveOption = None,
) -> None:
    """Write all totals for a spreadsheet.

    A line for each player of each game.
    """
    from desk.keeping.search import Wanted
    from desk.kept import run_csv

    run_csv(out, Wanted(player=player, game=game, evening=evening, league=league), archive)


@app.command("pseudonymise")
def pseudonymise_person(
    person: Person,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The name to put in its place.")],
    by: By = "host",
    archive: ArchiveOption = None,
    data: DeskOption = None,
) -> None:
    """Call a person by another name in every record.

    In the archive and at the web desk.
    """
    from desk.kept_people import run_pseudonymise

    run_pseudonymise(person, name, by, archive, data)


@app.command("erase-person")
def erase_a_person(
    person: Person,
    by: By = "host",
    archive: ArchiveOption = None,
    data: DeskOption = None,
) -> None:
    """Take a person's name and photos out.

    Of the archive and of the web desk; totals stay in the archive.
    """
    from desk.kept_people import run_erase_person

    run_erase_person(person, by, archive, data)


@app.command("erase-photos")
def erase_photos_of(
    evening: Annotated[
        str, typer.Argument(metavar="EVENING", help="The evening, as `list` shows it.")
    ],
    by: By = "host",
    archive: ArchiveOption = None,
    data: DeskOption = None,
) -> None:
    """Take an evening's photos out.

    Of the archive and of the web desk; what the archive read of them stays.
    """
    from desk.kept_people import run_erase_photos

    run_erase_photos(evening, by, archive, data)


@app.command("backup")
def backup_archive(
    out: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new folder.")],
    archive: ArchiveOption = None,
) -> None:
    """Copy the archive as it is now into a new folder.

    Others may go on saving meanwhile.
    """
    from desk.kept import run_backup

    run_backup(out, archive)


@app.command("keep-table")
def keep_table(
    table: Annotated[
        Path, typer.Argument(metavar="TABLE", help="A .table file that games were scored with.")
    ],
    archive: ArchiveOption = None,
) -> None:
    """Add a table's file to games that were kept without.

    An older version of the program kept none, only its hash.
    """
    from desk.kept import run_keep_table

    run_keep_table(table, archive)
