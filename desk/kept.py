"""The commands ``archive list`` and ``archive show``."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from desk.archive import Archive, ArchiveError, default_archive_folder


def run_list(folder: Path | None) -> None:
    """One line a game, the latest first."""
    games = open_kept(folder).games()
    for game in games:
        totals = ", ".join(f"{player} {total}" for player, total in game.totals.items())
        print(f"{game.id:>5}  {clock_words(game.saved_at)}  {game.sheet_name}: {totals}")
    if not games:
        print("No game is kept here yet; `tallyglass tally` keeps each game that it scores.")


def run_show(game_id: int, folder: Path | None, *, as_json: bool) -> None:
    """All of one game, or its main points."""
    archive = open_kept(folder)
    game = archive.game(game_id)
    if as_json:
        print(json.dumps(game, ensure_ascii=False, indent=1))
    else:
        print(*game_words(game, archive.folder), sep="\n")


def open_kept(folder: Path | None) -> Archive:
    """An archive that is there already; looking makes no new one."""
    folder = folder or default_archive_folder()
    if not (folder / "archive.sqlite").exists():
        raise ArchiveError(folder, "does not exist yet. `tallyglass tally` makes it.")
    return Archive(folder)


def game_words(game: Mapping[str, Any], folder: Path) -> Iterator[str]:
    """One game in a few lines."""
    yield f"Game {game['id']}: {game['sheet_name']}, kept {clock_words(game['saved_at'])}"
    for player in game["tally"]["players"]:
        low, high = player.get("between", [player["total"]] * 2)
        between = f" (unsure: {low} to {high})" if low != high else ""
        lines = ", ".join(f"{line['label']} {line['points']}" for line in player["lines"])
        yield f"  {player['player']}: {player['total']}{between} = {lines}"
    yield f"  Won by {', '.join(game['tally']['winners'])}. {game['tally']['tie_break']}".rstrip()
    for answer in game["answers"]:
        yield f"  {answer['by']} said of {answer['player']}'s {answer['cell']}: {answer['colour']}"
    for board in game["boards"]:
        yield f"  Photo of {board['player']}: {folder / board['photo_file']}"
    yield f"  Made by {', '.join(' '.join(part) for part in game['versions'].items())}"


def clock_words(iso: str) -> str:
    """A record's time for people, in UTC, to the minute."""
    return f"{iso[:10]} {iso[11:16]} UTC"
