"""The queue is fair among phones, and a dying worker takes no job with it."""

from __future__ import annotations

import asyncio
import ctypes
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from desk.web.app import add_refusals
from desk.web.crew import Crew, WorkerLost


def note(job: tuple[str, str]) -> str:
    """Write a line to a file, in the order in which jobs are done."""
    path, word = job
    with open(path, "a") as file:
        file.write(f"{word}\n")
    return word


def die_once(path: str) -> str:
    """End this worker the first time."""
    if not Path(path).exists():
        Path(path).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return "done"


def die(_job: Any) -> None:
    """End this worker every time."""
    os.kill(os.getpid(), signal.SIGKILL)


def find_nothing(_job: Any) -> Any:
    """Look for what is not there, as a slip in the program would."""
    return next(iter(()))


def stop(_job: Any) -> None:
    """Never end, as in a library that waits for a lock: no thread of Python gets its turn."""
    ctypes.PyDLL(None).pause()


def run(coroutine: Any) -> Any:
    return asyncio.run(asyncio.wait_for(coroutine, 240))


def test_lines_are_served_in_turn(tmp_path: Path):
    path = tmp_path / "order"

    async def scene() -> None:
        crew = Crew(1, 0)
        greedy = [asyncio.create_task(crew.do("a", note, (str(path), f"a{i}"))) for i in range(4)]
        await asyncio.sleep(0)
        modest = asyncio.create_task(crew.do("b", note, (str(path), "b0")))
        await asyncio.sleep(0)
        crew.start()
        await asyncio.gather(*greedy, modest)
        await crew.stop()

    run(scene())
    assert path.read_text().split().index("b0") == 1


def test_a_job_survives_its_worker_and_a_deadly_one_is_given_up(tmp_path: Path):
    async def scene() -> str:
        crew = Crew(1, 0)
        crew.start()
        result = await crew.do("a", die_once, str(tmp_path / "died"))
        with pytest.raises(WorkerLost):
            await crew.do("a", die, None)
        await crew.stop()
        return result

    assert run(scene()) == "done"


def test_a_job_that_finds_nothing_ends(tmp_path: Path):
    """A future cannot hold StopIteration: whoever waited for it would wait for ever."""

    async def scene() -> None:
        crew = Crew(1, 0)
        crew.start()
        with pytest.raises(RuntimeError, match="found nothing"):
            await crew.do("a", find_nothing, None)
        await crew.do("a", note, (str(tmp_path / "next"), "done"))
        await crew.stop()

    run(scene())
    assert (tmp_path / "next").read_text() == "done\n"


def test_a_job_that_does_not_end_is_ended_and_the_next_is_done(tmp_path: Path):
    async def scene() -> None:
        crew = Crew(1, 0, most_s=1.5)
        crew.start()
        with pytest.raises(WorkerLost, match="stop took over"):
            await crew.do("a", stop, None)
        await crew.do("a", note, (str(tmp_path / "next"), "done"))
        await crew.stop()

    run(scene())
    assert (tmp_path / "next").read_text() == "done\n"


def test_a_phone_is_told_that_a_job_was_given_up() -> None:
    app = FastAPI()
    add_refusals(app)

    @app.get("/count")
    async def count() -> None:
        raise WorkerLost("count_job took over 300 s")

    answer = TestClient(app).get("/count")

    assert answer.status_code == 503
    assert "it took too long" in answer.json()["problem"]


def test_a_worker_whose_server_was_gone_before_it_began_ends():
    script = "import time; from desk.web.work import warm; warm(0, 2**30); time.sleep(60)"
    root = Path(__file__).parents[3]
    ended = subprocess.run([sys.executable, "-c", script], cwd=root, timeout=50, check=False)

    assert ended.returncode == 1
