"""Standings as a picture: wins, points a game, and how the ratings moved."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from desk.archive import Archive
from desk.durable import whole_file
from desk.given import GivenError
from desk.keeping.standings import PAPER, Standings, count_game, history

SHOWN = 12
"""Players in a picture; more could not be told apart."""


def draw_standings(archive: Archive, standings: Standings, path: Path) -> None:
    """Write the picture, as its name ends: .png or .svg. Raises GivenError for another ending."""
    if path.suffix not in (".png", ".svg"):
        raise GivenError(str(path), "a plot's name ends in .png or .svg.")
    import matplotlib as mpl

    mpl.use("Agg")
    mpl.rcParams["svg.hashsalt"] = "tallyglass"  # the same standings give the same file
    from matplotlib import pyplot as plt

    figure, (left, middle, right) = plt.subplots(1, 3, figsize=(15, 5), layout="constrained")
    names = [player for player, _ in standings.ranked()][:SHOWN]
    draw_bars(left, names, [standings.players[n].wins for n in names], "Wins")
    draw_bars(middle, names, [standings.players[n].mean for n in names], "Points a game")
    draw_ratings(right, ratings_over(archive, standings, names))
    sheet, kind, label = standings.scope
    figure.suptitle(f"{sheet}: {'all games' if kind == 'all' else label} ({standings.games})")
    with whole_file(path) as file:
        stamp = {"Date": None} if path.suffix == ".svg" else {"Software": None}
        figure.savefig(file, format=path.suffix[1:], metadata=stamp)
    plt.close(figure)


def draw_bars(axes: Any, names: list[str], values: list[float], title: str) -> None:
    """One bar a player, the first on top."""
    axes.barh(range(len(names)), values, color="#5c783c")
    axes.set_yticks(range(len(names)), [name.replace("$", r"\$") for name in names])
    axes.invert_yaxis()
    axes.set_title(title)
    if names:
        axes.bar_label(axes.containers[0], fmt="{:.4g}")


def draw_ratings(axes: Any, ratings: dict[str, list[tuple[int, float]]]) -> None:
    """One line a player over the games played."""
    for name, points in ratings.items():
        axes.plot(*zip(*points, strict=True), marker=".", label=name.replace("$", r"\$"))
    axes.set_title(f"Rating ({PAPER})", fontsize="medium")
    axes.set_xlabel("game")
    if ratings:
        axes.legend(fontsize="small")


def ratings_over(
    archive: Archive, standings: Standings, names: list[str]
) -> dict[str, list[tuple[int, float]]]:
    """By player, the number of each game played and the rating after it."""
    again = Standings(standings.scope)
    lines: dict[str, list[tuple[int, float]]] = {name: [] for name in names}
    with archive.reading() as db:
        for scores in history(db, standings.scope):
            count_game(again, scores)
            for player, _, _ in scores:
                if player in lines:
                    lines[player].append((again.games, again.players[player].rating))
    return lines
