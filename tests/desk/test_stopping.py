"""Commands stopped by Ctrl-C or by the system: a sentence, an honest code, no traceback."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from desk.answers import load_answers
from desk.start import STOPPED
from scoring.sheet import load_sheet
from tests.desk.practice import PRACTICE, SHEET
from tests.desk.web.served import served

ROOT = Path(__file__).parents[2]
PHOTO = PRACTICE / "game" / "joss.jpg"
SOON_S = 60

AT_IMPORT = """
import os, sys
class Stop:
    def find_spec(self, name, *_):
        if name == {module!r}:
            os.kill(os.getpid(), {number:d})
sys.meta_path.insert(0, Stop())
sys.argv[1:] = {words!r}
from desk.start import main
main()
"""
"""The program, with a signal sent to it at the moment when it first needs a module."""


@pytest.fixture(autouse=True)
def ctrl_c_is_heard() -> Iterator[None]:
    """Undo for what the tests start that a shell ignores Ctrl-C for what runs in the background."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def started(*words: str | Path, stdin: int = subprocess.DEVNULL) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "desk.start", *map(str, words)]
    return subprocess.Popen(
        command,
        cwd=ROOT,
        stdin=stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize(
    ("words", "module"),
    {
        "read": "typer",
        "archive verify": "desk.keeping.verify",
        "archive import none.zip": "desk.keeping.unpack",
        "calibrate --sheet a --layout b --plan c --out d.table": "calibrate.learn",
        "serve": "uvicorn",
    }.items(),
)
def test_a_stop_while_a_command_begins_is_told(
    words: str, module: str, number: int, tmp_path: Path
) -> None:
    script = AT_IMPORT.format(module=module, number=number, words=words.split())
    place = {"HOME": str(tmp_path), "PYTHONPATH": str(ROOT)}
    ended = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env=os.environ | place,
        capture_output=True,
        text=True,
        timeout=SOON_S,
    )

    assert ended.stderr.splitlines()[-1:] == [STOPPED]
    assert "Traceback" not in ended.stderr
    assert ended.returncode == 128 + number


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stop_while_photos_are_read_is_told(table: Path, number: int) -> None:
    reading = started("read", table, *[PHOTO] * 30, "--json")
    assert reading.stdout is not None
    assert reading.stdout.readline().startswith("{")

    os.killpg(reading.pid, number)
    out, err = reading.communicate(timeout=SOON_S)

    assert err == f"{STOPPED}\n"
    assert reading.returncode == 128 + number
    assert len(out.splitlines()) < 29


def test_a_stop_at_a_question_keeps_the_answers_given(table: Path, tmp_path: Path) -> None:
    boards = [f"{name}={PRACTICE / 'game' / f'{name.lower()}.jpg'}" for name in ("Joss", "Wren")]
    kept = ["--out", tmp_path / "out", "--archive", tmp_path / "kept"]
    asking = started("tally", table, *boards, *kept, stdin=subprocess.PIPE)
    assert asking.stdin is not None
    assert asking.stdout is not None
    asking.stdin.write("slate\n")
    asking.stdin.flush()
    while "Question 2" not in (line := asking.stdout.readline()):
        assert line

    os.killpg(asking.pid, signal.SIGINT)
    _, err = asking.communicate(timeout=SOON_S)

    noted = tmp_path / "out" / "answers.toml"
    assert err.strip().splitlines()[-2:] == [f"Go on with --answers {noted}", STOPPED]
    assert asking.returncode == 130
    assert len(load_answers(noted, load_sheet(SHEET), ["Joss", "Wren"], "").cells) == 1


def children(process: int) -> list[str]:
    return Path(f"/proc/{process}/task/{process}/children").read_text().split()


@pytest.mark.parametrize("after_s", [0, 0.3, 3])
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_desk_that_is_stopped_says_so_and_its_workers_nothing(
    number: int, after_s: float, tmp_path: Path
) -> None:
    with served(tmp_path / "desk", tmp_path / "kept") as desk:
        while len(children(desk.process.pid)) < 2:
            time.sleep(0.01)
        time.sleep(after_s)  # workers are starting, or wait for work

        os.killpg(desk.process.pid, number)
        code = desk.process.wait(SOON_S)

        assert desk.log.read_text() == f"{STOPPED}\n"
        assert code == 128 + number


@pytest.mark.parametrize("after_s", [0.03, 0.06, 0.1])
def test_whoever_presses_ctrl_c_twice_sees_no_traceback(after_s: float, tmp_path: Path) -> None:
    with served(tmp_path / "desk", tmp_path / "kept") as desk:
        time.sleep(2)
        os.killpg(desk.process.pid, signal.SIGINT)
        time.sleep(after_s)
        os.killpg(desk.process.pid, signal.SIGINT)
        desk.process.wait(SOON_S)

        assert "Traceback" not in desk.log.read_text()
