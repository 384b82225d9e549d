"""What the commands under ``tallyglass archive`` do and say."""

from __future__ import annotations

import contextlib
import hashlib
import json
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from desk.archive import Archive, ArchiveError, default_archive_folder, is_url
from desk.keeping.content import is_settled
from desk.keeping.search import ANYTHING, Wanted
from desk.keeping.standings import ALL, EVENING, LEAGUE, PAPER, Standings
from desk.keeping.store import table_file
from desk.say import complain, so_many
from scoring.given_file import read_given
from scoring.limits import MOST_TABLE_BYTES

if TYPE_CHECKING:
    from desk.keeping.reread import Workers

NOT_PROVEN = 4

MOST_EXPLAINED = 10
"""Lines of ``verify`` on what is harmless."""


class NoArchive(ArchiveError):
    """There is no archive at this place yet."""


def run_list(
    where: str | None,
    wanted: Wanted = ANYTHING,
    *,
    limit: int = 50,
    before: int | None = None,
    every: bool = False,
) -> None:
    """One line a game, the latest first."""
    games = open_kept(where).games(wanted, limit=limit, before=before, every=every)
    for game in games:
        totals = ", ".join(f"{player} {total}" for player, total in game.totals.items())
        labels = " ".join(filter(None, (f"[{game.evening}]", game.league)))
        mark = " (corrected since)" if game.corrected else ""
        mark = mark or (f" (correction: {game.reason})" if game.revision > 1 else "")
        mark = ("" if game.settled else " (still open: won by nobody yet)") + mark
        saved = clock_words(game.saved_at)
        print(f"{game.id:>5}  {saved}  {labels}  {game.sheet_name}: {totals}{mark}")
    if not games and wanted == ANYTHING and before is None:
        print("No game is kept here yet; `tallyglass tally` keeps each game that it scores.")
    elif not games:
        print("No game is like that.")
    elif len(games) == limit:
        print(f"Older ones: --before {games[-1].id}")


def run_show(game_id: int, where: str | None, *, as_json: bool) -> None:
    """All of one game, or its main points with their proofs."""
    archive = open_kept(where)
    game = archive.game(game_id)
    if as_json:
        print(json.dumps(game, ensure_ascii=False, indent=1))
    else:
        print(*game_words(game, archive.store.root), sep="\n")


def open_kept(where: str | Path | None) -> Archive:
    """An archive that is there already; looking makes no new one."""
    where = where or default_archive_folder()
    if not is_url(where) and not (Path(where) / "archive.sqlite").exists():
        raise NoArchive(where, "does not exist yet. `tallyglass tally` makes it.")
    return Archive(where)


def open_any(where: str | None, photos: str | None = None) -> Archive:
    """An archive that may be new."""
    return Archive(where or default_archive_folder(), photos=photos)


def game_words(game: Mapping[str, Any], root: str) -> Iterator[str]:
    """One game in a few lines, every point with what proves it."""
    from desk.types import SKIP

    yield f"Game {game['id']}: {game['sheet_name']}, kept {clock_words(game['saved_at'])}"
    yield f"  Evening {game['evening']}" + (f", league {game['league']}" * bool(game["league"]))
    yield from line_words(game)
    for player in game["tally"]["players"]:
        yield from player_words(player)
    yield f"  {winner_words(game['tally'])}"
    for problem in game["tally"].get("problems", []):
        yield f"  Cannot be so: {problem['player']}: {problem['words']}"
    for answer in game["answers"]:
        colour = "left open" if answer["colour"] == SKIP else answer["colour"]
        said = f"{answer['by']} said of {answer['player']}'s {answer['cell']}: {colour}"
        yield f"  {said} ({clock_words(answer['at'])})"
    for board in game["boards"]:
        place = "erased" if board["erased"] else f"{root}/{board['photo_file']}"
        yield f"  Photo of {board['player']}: {place}"
    yield f"  Made by {', '.join(' '.join(part) for part in game['versions'].items())}"


def winner_words(tally: Mapping[str, Any]) -> str:
    """Who won, or that this is still open."""
    names = ", ".join(tally["winners"])
    if not is_settled(tally):
        return f"Still open: {names} as read, but doubts are left, so nobody has won yet."
    return f"Won by {names}. {tally['tie_break']}".rstrip()


def line_words(game: Mapping[str, Any]) -> Iterator[str]:
    """Where an entry stands in its line of corrections."""
    if game["revision"] > 1:
        yield f"  A correction: {game['reason']}"
    others = ", ".join(map(str, game["entries"]))
    if game["corrected"]:
        yield f"  Does not count any more: corrected. Entries of the same game: {others}"
    elif others:
        yield f"  Earlier entries of the same game: {others}"


def player_words(player: Mapping[str, Any]) -> Iterator[str]:
    """One player's total, line by line and proof by proof."""
    low, high = player.get("between", [player["total"]] * 2)
    between = f" (unsure: {low} to {high})" if low != high else ""
    yield f"  {player['player']}: {player['total']}{between}"
    for line in player["lines"]:
        yield f"    {line['label']} {line['points']}"
        for proof in line["proofs"]:
            cells = " ".join(proof["cells"])
            yield f"      {proof['points']:+d} {proof['words']}" + (f": {cells}" if cells else "")


def clock_words(iso: str) -> str:
    """A record's time for people, in UTC, to the minute."""
    return f"{iso[:10]} {iso[11:16]} UTC"


def run_verify(where: str | None, jobs: int = 0) -> int:
    """Prove, say what was found; returns the exit code. With ``jobs`` photos are read again."""
    from desk.keeping.reread import Workers, reread, tasks_of
    from desk.keeping.verify import verify

    archive = open_kept(where)
    with progress_of("Proving games") as progress:
        proof = verify(archive, progress)
    looked_at = [
        so_many(proof.games, "game"),
        so_many(proof.photos, "photo"),
        so_many(proof.tables, "table"),
    ]
    print(f"{', '.join(looked_at)} looked at.")
    wrong = list(proof.wrong)
    if jobs:
        with progress_of("Reading photos again") as progress:
            read = reread(archive, tasks_of(archive, ANYTHING), Workers(jobs), None, progress)
        wrong += [f"Read again: {result.words}" for result in read if result.differs]
        print(f"{so_many(len(read), 'photo')} read again.")
    for words in harmless_words(proof.explained):
        print(words)
    for words in wrong:
        complain(f"Wrong: {words}")
    print("Not proven." if wrong else "All of it is proven.")
    return NOT_PROVEN if wrong else 0


def harmless_words(explained: Sequence[str]) -> Iterator[str]:
    """What may be, in a line each; of very many, as a stopped import leaves, the first ones."""
    yield from (f"Harmless: {words}" for words in explained[:MOST_EXPLAINED])
    if len(explained) > MOST_EXPLAINED:
        more = so_many(len(explained) - MOST_EXPLAINED, "more file", "more files")
        yield f"Harmless: {more} like these. `archive tidy` takes away what no game needs."


def run_tidy(where: str | None) -> None:
    """Take away files that no game needs."""
    from desk.keeping.verify import tidy

    removed = tidy(open_kept(where))
    print(*(f"Taken away: {name}" for name in removed), sep="\n", end="\n" if removed else "")
    print(f"{so_many(len(removed), 'file')} taken away.")


@dataclass(frozen=True)
class Change:
    """What ``correct`` was given; ``by``: who answers, where the answers' file does not say."""

    reason: str
    answers: Path | None
    by: str
    claims: Path | None
    evening: str | None
    league: str | None


def run_correct(game_id: int, change: Change, where: str | None) -> None:
    """Add a correction and say what it changed."""
    from desk.answers import answers_from, load_answers
    from desk.given import load_claims
    from desk.keeping.correct import Correction, correct
    from desk.keeping.recount import differences, sheet_from

    archive = open_kept(where)
    before = archive.game(game_id)
    players = [board["player"] for board in before["boards"]]
    answers, claims = [], None
    if change.answers:
        sheet = sheet_from(before["sheet_text"])
        given = load_answers(change.answers, sheet, players, change.by)
        answers = answers_from(given, archive.clock)
    if change.claims:
        claims = vars(load_claims(change.claims))
    correction = Correction(change.reason, answers, claims, change.evening, change.league)
    number = correct(archive, game_id, correction)
    print(f"Kept as game {number}, in place of game {game_id}, which stays visible.")
    changed = list(differences(before["tally"], archive.game(number)["tally"]))
    print(*(changed or ["No total is different."]), sep="\n")


def run_rescore(sheet_file: Path, wanted: Wanted, where: str | None, *, keep: bool) -> None:
    """List what a changed sheet counts differently."""
    from dataclasses import replace

    from desk.keeping.rescore import keep_rescored, rescored
    from scoring.sheet import load_sheet

    sheet = load_sheet(sheet_file)
    archive = open_kept(where)
    results = list(rescored(archive, sheet, replace(wanted, game=sheet.name)))
    for result in results:
        for words in (*result.differences, *filter(None, [result.failure])):
            print(f"Game {result.game_id}: {words}")
    changed = [result.game_id for result in results if result.differences]
    failed = sum(bool(result.failure) for result in results)
    counted = so_many(len(results) - failed, "game")
    print(f"{counted} of {sheet.name} counted again, {len(changed)} differently.")
    if failed:
        print(f"{so_many(failed, 'game')} could not be counted under this sheet.")
    for game_id in changed if keep else ():
        number = keep_rescored(archive, game_id, sheet, f"counted under {sheet_file.name}")
        print(f"Kept as game {number}, in place of game {game_id}.")


def run_reread(wanted: Wanted, workers: Workers, log: Path | None, where: str | None) -> None:
    """List what is read differently now."""
    from desk.keeping.reread import reread, tasks_of

    archive = open_kept(where)
    tasks = tasks_of(archive, wanted)
    with progress_of("Reading photos again") as progress:
        results = reread(archive, tasks, workers, log, progress)
    different = [result for result in results if result.differs]
    print(*(result.words for result in different), sep="\n", end="\n" if different else "")
    again = so_many(len(results), "photo")
    print(f"{again} read again, {len(different)} differently. Nothing was changed.")


def run_standings(
    game: str, evening: str, league: str, plot: Path | None, where: str | None
) -> None:
    """Print standings, and draw them if asked."""
    from desk.given import GivenError

    if evening and league:
        raise GivenError("--evening and --league", "give one of the two.")
    kind = EVENING if evening else LEAGUE if league else ALL
    archive = open_kept(where)
    found = archive.standings(kind, evening or league, game)
    for standings in found:
        print(*standings_words(standings), sep="\n")
    if not found:
        print("No game is like that.")
    elif plot:
        from desk.keeping.plots import draw_standings

        if len(found) > 1:
            raise GivenError("--plot", "draws one game's standings; name it with --game.")
        draw_standings(archive, found[0], plot)
        print(f"Written: {plot}")


def standings_words(standings: Standings) -> Iterator[str]:
    """A table of players, then who came out ahead of whom."""
    sheet, kind, label = standings.scope
    which = "all games" if kind == ALL else f"{kind} {label}"
    yield f"{sheet}: {which}, {so_many(standings.games, 'game')}"
    if standings.open:
        yield f"  {standings.open} more still open: they count once a correction settles them."
    ranked = standings.ranked()
    width = max([6, *(len(player) for player, _ in ranked)])
    yield f"  {'player':<{width}} games  wins   mean  best  rating"
    for player, sums in ranked:
        row = f"{sums.games:>5} {sums.wins:>5} {sums.mean:>6.1f} {sums.best:>5} {sums.rating:>7.2f}"
        yield f"  {player:<{width}} {row}"
    for (first, second), duel in sorted(standings.duels.items()):
        if first < second:
            back = standings.duels[second, first].ahead
            yield f"  {first} : {second} = {duel.ahead} : {back} in {so_many(duel.games, 'game')}"
    yield f"  Rating: {PAPER}; strength exceeded almost surely (mu - 3 sigma)."


def run_export(out: Path, wanted: Wanted, where: str | None) -> None:
    """Write the ZIP."""
    from desk.keeping.pack import export

    print(f"{out}: {so_many(export(open_kept(where), out, wanted), 'game')} written.")


def run_import(packed: Path, where: str | None, photos: str | None = None) -> None:
    """Merge a ZIP."""
    from desk.keeping.unpack import import_zip

    result = import_zip(open_any(where, photos), packed)
    print(f"{so_many(result.new, 'game')} added, {result.known} here already.")
    for number in result.apart:
        print(f"Game {number} was changed by an erasure on one side; this archive's stays.")


def run_merge(other: str, where: str | None, photos: str | None = None) -> None:
    """Merge another archive by way of a ZIP."""
    from desk.keeping.pack import export

    with tempfile.TemporaryDirectory() as folder:
        packed = Path(folder) / "other.zip"
        export(open_kept(other), packed)
        run_import(packed, where, photos)


def run_csv(out: Path, wanted: Wanted, where: str | None) -> None:
    """Write the totals."""
    from desk.keeping.pack import export_csv

    print(f"{out}: {so_many(export_csv(open_kept(where), out, wanted), 'game')} written.")


def run_backup(out: Path, where: str | None) -> None:
    """Copy the archive."""
    from desk.keeping.backup import backup

    print(f"{out}: {so_many(backup(open_kept(where), out), 'entry', 'entries')} copied.")


def run_keep_table(table: Path, where: str | None) -> None:
    """Keep a table's file."""
    archive = open_kept(where)
    data = read_given(table, MOST_TABLE_BYTES)
    digest = hashlib.sha256(data).hexdigest()
    if not archive.uses_table(digest):
        raise ArchiveError(archive.where, f"has no game that was scored with {table}.")
    archive.put_files({table_file(digest): data})
    print(f"{table} is kept.")


@contextlib.contextmanager
def progress_of(words: str) -> Iterator[Callable[[int, int], None]]:
    """A bar with the time left, where a person is watching."""
    if not sys.stderr.isatty():
        yield lambda _done, _all: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as Left

    columns = (TextColumn(words), BarColumn(), MofNCompleteColumn(), Left())
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task(words)
        yield lambda done, total: bar.update(task, completed=done, total=total)
