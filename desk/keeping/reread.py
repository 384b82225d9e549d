"""Read kept photos again, many at once, and list what this version reads differently.

Each photo is a task of its own: photo, table and answers go in, a grid comes out. joblib spreads
the tasks over processes, or over a Dask cluster by its address. Results are written to a file as
they come, so that a stopped reread goes on where it stopped.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from desk.archive import Archive
from desk.keeping.recount import told_of
from desk.keeping.rows import content_of, game_rows
from desk.keeping.search import Wanted, found
from desk.keeping.store import table_file
from scoring.errors import TallyglassError
from scoring.given_file import check_ordinary

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Task:
    """One board to read again. ``corners_px`` are those that a person once gave, else None."""

    game_id: int
    uid: str
    player: str
    photo_file: str
    table_file: str
    told: Mapping[str, str]
    grid: Mapping[str, str]
    corners_px: Any

    @property
    def key(self) -> str:
        """What a result is filed under."""
        return f"{self.uid}/{self.player}"


@dataclass(frozen=True)
class Reread:
    """One board read again: by cell, what was kept and what is read now; or why it was not."""

    key: str
    game_id: int
    player: str
    changes: Mapping[str, tuple[str, str]]
    failure: str = ""

    @property
    def differs(self) -> bool:
        """Whether anything is not as it was kept."""
        return bool(self.changes or self.failure)

    @property
    def words(self) -> str:
        """The result in a line."""
        if self.failure:
            return f"Game {self.game_id}, {self.player}: {self.failure}"
        cells = ", ".join(f"{cell} {old} -> {new}" for cell, (old, new) in self.changes.items())
        return f"Game {self.game_id}, {self.player}: {cells or 'as before'}"


@dataclass(frozen=True)
class Workers:
    """Who reads: so many processes of this machine, or a Dask cluster by its address."""

    jobs: int = 1
    dask: str = ""


def tasks_of(archive: Archive, wanted: Wanted) -> list[Task]:
    """Every board with a photo, of the games that count."""
    tasks = []
    with archive.reading() as db:
        ids = sorted(found(db, wanted, limit=None, before=None, every=False))
        for row in game_rows(db, ids):
            content = content_of(db, row)
            for board in content["boards"]:
                if not board["erased"]:
                    tasks.append(task_of(row, content, board))
    return tasks


def task_of(row: Mapping[str, Any], content: dict[str, Any], board: Mapping[str, Any]) -> Task:
    """One board's task."""
    return Task(
        game_id=row["id"],
        uid=row["uid"],
        player=board["player"],
        photo_file=board["photo_file"],
        table_file=table_file(content["table_sha256"]),
        told=told_of(content, board["player"]),
        grid=board["grid"],
        corners_px=corners_by_hand(board["reading"]),
    )


def corners_by_hand(reading: Mapping[str, Any]) -> Any:
    """The board's corners in px where a person gave them for this kept reading, else None."""
    return reading.get("board_corners_px") if reading.get("method") == "corners" else None


def reread(
    archive: Archive,
    tasks: list[Task],
    workers: Workers,
    log: Path | None = None,
    progress: Progress = lambda _done, _all: None,
) -> list[Reread]:
    """Read all tasks again, those that a log has under this version left out.

    Raises TallyglassError where the cluster does not answer.
    """
    version = made_by()
    known = logged(log, version) if log else {}
    todo = [task for task in tasks if task.key not in known]
    done = {task.key: known[task.key] for task in tasks if task.key in known}
    progress(len(done), len(tasks))
    with log_file(log) as keep:
        for result in results(archive, todo, workers):
            done[result.key] = result
            keep(json.dumps({"made_by": version, **vars(result)}, ensure_ascii=False))
            progress(len(done), len(tasks))
    return [done[task.key] for task in tasks]


def results(archive: Archive, tasks: list[Task], workers: Workers) -> Iterator[Reread]:
    """Results in the order in which they come."""
    import joblib

    with workers_ready(workers) as options:
        parallel = joblib.Parallel(return_as="generator_unordered", **options)
        yield from parallel(
            joblib.delayed(read_again)(task, *files_for(archive, task)) for task in tasks
        )


@contextlib.contextmanager
def workers_ready(workers: Workers) -> Iterator[dict[str, Any]]:
    """What joblib must be told so that these workers work."""
    if not workers.dask:
        # One thread a process: the processes are what shares the work out.
        yield {"n_jobs": workers.jobs}
        return
    import joblib

    try:
        from distributed import Client

        client = Client(workers.dask, timeout="10s")
    except ImportError as error:
        raise TallyglassError(
            "A Dask cluster needs Tallyglass installed with its part `cluster`."
        ) from error
    except (OSError, ValueError) as error:
        raise TallyglassError(
            f"The Dask cluster at {workers.dask} does not answer: {error}. Is its scheduler up?"
        ) from error
    with client, joblib.parallel_config(backend="dask"):
        yield {}


def files_for(archive: Archive, task: Task) -> tuple[bytes | None, bytes | None]:
    """Photo and table of a task; None for one that is not there."""
    found_files: list[bytes | None] = []
    for name in (task.photo_file, task.table_file):
        try:
            found_files.append(archive.store.get(name))
        except FileNotFoundError:
            found_files.append(None)
    return found_files[0], found_files[1]


def read_again(task: Task, photo: bytes | None, table: bytes | None) -> Reread:
    """Read one board as it was read at the table, all answers given at once."""
    if photo is None or table is None:
        what = "its photo" if photo is None else "its table (archive keep-table adds it)"
        return Reread(task.key, task.game_id, task.player, {}, f"{what} is not kept")
    try:
        grid = grid_in(task, photo, table)
    except TallyglassError as error:
        return Reread(task.key, task.game_id, task.player, {}, str(error))
    changes = {
        cell: (task.grid.get(cell, "nothing"), colour)
        for cell, colour in grid.items()
        if task.grid.get(cell) != colour
    }
    return Reread(task.key, task.game_id, task.player, changes)


def grid_in(task: Task, photo: bytes, table: bytes) -> Mapping[str, str]:
    """The grid that a photo shows, with what people said of it."""
    import cv2
    import numpy as np

    from desk.beliefs import grid_of
    from vision.decode import load_photo
    from vision.read import read_photo, settle

    cv2.setNumThreads(1)
    known = table_in(table)
    corners = None if task.corners_px is None else np.array(task.corners_px, float)
    reading = read_photo(load_photo(photo, task.photo_file), known, corners)
    return grid_of(settle(reading, task.told, known) if task.told else reading)


@lru_cache(maxsize=4)
def table_in(data: bytes) -> Any:
    """A kept table; a worker unpacks each once."""
    from calibrate.store import table_from_bytes

    return table_from_bytes(data, "the kept table")


def made_by() -> str:
    """The versions that a reading hangs on, as one text."""
    from desk.export import versions

    return " ".join(f"{name} {number}" for name, number in versions().items())


def logged(log: Path, version: str) -> dict[str, Reread]:
    """Results of this version in a log; a line that was cut off is read again.

    Raises TallyglassError where the file holds something else: lines are to be added to it.
    """
    if not log.exists():
        return {}
    check_ordinary(log)
    text = log.read_text("utf-8", errors="replace")
    if text.strip() and not text.lstrip().startswith('{"made_by"'):
        raise TallyglassError(f"{log}: is no log of a reread; choose another name for --log.")
    known = {}
    for line in text.splitlines():
        with contextlib.suppress(ValueError, TypeError, KeyError, AttributeError):
            entry = json.loads(line)
            if entry.pop("made_by") == version:
                changes = {cell: tuple(pair) for cell, pair in entry.pop("changes").items()}
                result = Reread(**entry, changes=changes)
                known[result.key] = result
    return known


@contextlib.contextmanager
def log_file(log: Path | None) -> Iterator[Callable[[str], None]]:
    """Adds lines to a log, each on the disk before the next; without a log, to nothing."""
    if log is None:
        yield lambda _line: None
        return
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("a+", encoding="utf-8") as file:

        def keep(line: str) -> None:
            file.write(f"{line}\n")
            file.flush()
            os.fsync(file.fileno())

        if file.tell():
            file.write("\n")  # after a line that was cut off
        yield keep
