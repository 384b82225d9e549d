"""The program run as a person runs it, on the practice photos of one game."""

from __future__ import annotations

import io
from contextlib import redirect_stdout
from pathlib import Path

import pytest

from tests.desk.practice import PRACTICE, SHEET, Ended, Run, run_main


@pytest.fixture
def tallyglass(capfd: pytest.CaptureFixture[str]) -> Run:
    """Run the command in this process."""

    def run(*words: str | Path) -> Ended:
        code = run_main(*words)
        out, err = capfd.readouterr()
        return Ended(code, out, err)

    return run


@pytest.fixture(scope="session")
def calibrated(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The practice table, learned by the command itself, and what the command printed."""
    out = tmp_path_factory.mktemp("table") / "penmarrow.table"
    words = ["calibrate", "--sheet", SHEET, "--plan", PRACTICE / "layout.txt", "--out", out]
    for kind in ("empty", "layout"):
        for number in (1, 2):
            words += [f"--{kind}", PRACTICE / f"{kind}-{number}.jpg"]
    with redirect_stdout(io.StringIO()) as printed:
        assert run_main(*words) == 0
    return out, printed.getvalue()


@pytest.fixture(scope="session")
def table(calibrated: tuple[Path, str]) -> Path:
    """The practice table."""
    return calibrated[0]
