"""What the archive promises, at full size; each command prints one line of figures.

python tests/bench/archive.py kills [--count 1000]
python tests/bench/archive.py size [--count 100000]
python tests/bench/archive.py move [--count 10000]
python tests/bench/archive.py reread [--count 200]
"""

from __future__ import annotations

import argparse
import io
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from desk.archive import Archive, add_game  # noqa: E402
from desk.keeping.pack import export  # noqa: E402
from desk.keeping.reread import Workers, reread, tasks_of  # noqa: E402
from desk.keeping.search import ANYTHING, Wanted  # noqa: E402
from desk.keeping.unpack import import_zip  # noqa: E402
from desk.keeping.verify import verify  # noqa: E402
from desk.schema import GAMES  # noqa: E402
from tests.desk import kills  # noqa: E402
from tests.desk.saving import game  # noqa: E402

SEEDED = 100
NAMES = ("Ana", "Ben", "Cleo", "Dov", "Edda", "Finn", "Gus", "Hana", "Ida", "Jo")


def timed(act: Callable[[], object]) -> float:
    started = time.perf_counter()
    act()
    return time.perf_counter() - started


def run_kills(count: int, folder: Path) -> str:
    """Kill saving processes, then prove everything."""
    acknowledged = kills.check((folder, None), count, random.Random(7))
    proof = verify(Archive(folder))
    odd = [words for words in proof.explained if "never acknowledged" not in words]
    return (
        f"{count} kills: {acknowledged} games acknowledged, {proof.games} kept, "
        f"{len(proof.explained)} orphans explained, wrong: {proof.wrong + odd}"
    )


def run_size(count: int, folder: Path) -> str:
    """Times with few and with many records; the many are copies of real rows under new names."""
    archive = Archive(folder)
    rng = random.Random(7)
    for seed in range(SEEDED):
        players = tuple(rng.sample(NAMES, 2))
        archive.save(game(seed, players, evening=f"evening {seed % 20}", league="Winter"))
    few = statistics.median(timed(lambda: archive.save(game(3))) for _ in range(20))
    multiply(archive, count)
    os.sync()  # else the saves below wait for the copies to reach the disk
    rebuilt = timed(lambda: archive.standings("league", "Winter"))
    archive.standings()
    many = statistics.median(timed(lambda: archive.save(game(3))) for _ in range(20))
    asked: dict[str, Callable[[], object]] = {
        "list": lambda: archive.games(limit=50, every=False),
        "search player": lambda: archive.games(Wanted(player="ana"), limit=50, every=False),
        "search two": lambda: archive.games(
            Wanted(player="ana", card="stile", text="winter"), limit=50, every=False
        ),
        "search beginning": lambda: archive.games(Wanted(text="cl*"), limit=50, every=False),
        "search month": lambda: archive.games(Wanted(date="2026-11"), limit=50, every=False),
        "search nothing": lambda: archive.games(
            Wanted(player="ana", evening="nowhere"), limit=50, every=False
        ),
        "search pair": lambda: archive.games(
            Wanted(player="ana", text="ben cleo"), limit=50, every=False
        ),
        "standings": lambda: archive.standings("league", "Winter"),
        "standings of all": lambda: archive.standings(),
    }
    spent = {
        name: 1000 * statistics.median(timed(act) for _ in range(7)) for name, act in asked.items()
    }
    figures = ", ".join(f"{name} {ms:.0f}" for name, ms in spent.items())
    total = len(archive.games())
    return (
        f"{total} records: {figures} ms; save {1000 * few:.0f} ms with {SEEDED}, "
        f"{1000 * many:.0f} ms with all; standings made anew once {rebuilt:.1f} s"
    )


def multiply(archive: Archive, count: int) -> None:
    """Copy the rows of the seeded games until there are so many."""
    with archive.writing() as db:
        first = db.exec_driver_sql("SELECT max(id) FROM games").scalar_one()
        names = ", ".join(f'"{c.name}"' for c in GAMES.c if c.name not in ("id", "uid", "root"))
        for step in range(first, count, first):
            db.exec_driver_sql(
                f"INSERT INTO games (id, uid, root, {names}) "
                f"SELECT id + {step}, 'c' || (id + {step}), 'c' || (id + {step}), {names} "
                f"FROM games WHERE id <= {first}"
            )
            for table, own in (("boards", "seat"), ("answers", "number"), ("scores", "seat")):
                columns = [
                    row[1] for row in db.exec_driver_sql(f"PRAGMA table_info({table})").all()
                ]
                rest = ", ".join(f'"{c}"' for c in columns if c not in ("game_id", own))
                db.exec_driver_sql(
                    f"INSERT INTO {table} (game_id, {own}, {rest}) "
                    f"SELECT game_id + {step}, {own}, {rest} FROM {table} WHERE game_id <= {first}"
                )
            db.exec_driver_sql(
                f"INSERT INTO words SELECT word, game_id + {step} FROM words "
                f"WHERE game_id <= {first}"
            )
        db.exec_driver_sql("DELETE FROM scopes")
        db.exec_driver_sql("DELETE FROM standings")
        db.exec_driver_sql("DELETE FROM duels")


def run_move(count: int, folder: Path) -> str:
    """Export, import elsewhere, export again: the bytes must be the same."""
    archive = Archive(folder / "one")
    games = [game(seed) for seed in range(60)]
    files = [[archive.cleaned(board.photo) for board in one.boards] for one in games]
    archive.save(games[0])
    for some in files:
        archive.put_files(dict(some))
    with archive.writing() as db:
        for number in range(1, count):
            turn = number % len(games)
            record = replace(games[turn], evening=f"evening {number // 20}")
            content = archive.content_from(record, [name for name, _ in files[turn]])
            add_game(db, content)
    first, second = folder / "first.zip", folder / "second.zip"
    out = timed(lambda: export(archive, first))
    other = Archive(folder / "two")
    into = timed(lambda: import_zip(other, first))
    export(other, second)
    same = first.read_bytes() == second.read_bytes()
    return (
        f"{count} records, {first.stat().st_size / 1e6:.0f} MB: export {out:.0f} s, "
        f"import {into:.0f} s, the same bytes: {same}"
    )


def run_reread(count: int, folder: Path) -> str:
    """The practice boards read so many times: by one process, by two, by two Dask workers."""
    from distributed import LocalCluster

    archive = practice_archive(folder)
    three = tasks_of(archive, ANYTHING)
    tasks = [replace(three[n % len(three)], uid=str(n)) for n in range(count)]
    reread(archive, tasks[:8], Workers(2))  # the processes are up
    spent, results = {}, {}

    def read(name: str, workers: Workers) -> None:
        spent[name] = timed(lambda: results.update({name: reread(archive, tasks, workers)}))

    read("one", Workers(1))
    read("two", Workers(2))
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        read("dask", Workers(dask=cluster.scheduler_address))
    same = results["one"] == results["two"] == results["dask"]
    return (
        f"{count} photos: one process {spent['one']:.0f} s, two {spent['two']:.0f} s "
        f"({spent['one'] / spent['two']:.2f} times as fast), two Dask workers "
        f"{spent['dask']:.0f} s, identical: {same}"
    )


def practice_archive(folder: Path) -> Archive:
    """The practice game, kept."""
    from contextlib import redirect_stdout

    from desk.demo import run_demo

    with redirect_stdout(io.StringIO()):
        run_demo(folder)
    return Archive(folder / "archive")


RUNS: dict[str, tuple[Callable[[int, Path], str], int]] = {
    "kills": (run_kills, 1000),
    "size": (run_size, 100_000),
    "move": (run_move, 10_000),
    "reread": (run_reread, 200),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("run", choices=RUNS)
    parser.add_argument("--count", type=int)
    given = parser.parse_args()
    act, usual = RUNS[given.run]
    with tempfile.TemporaryDirectory() as folder:
        print(act(given.count or usual, Path(folder)))


if __name__ == "__main__":
    main()
