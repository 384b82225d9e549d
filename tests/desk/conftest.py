"""The program run as a person runs it, on the practice photos of one game."""

from __future__ import annotations

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
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The practice table, learned by the command itself."""
    out = tmp_path_factory.mktemp("table") / "penmarrow.table"
    words = ["calibrate", "--sheet", SHEET, "--plan", PRACTICE / "layout.txt", "--out", out]
    for kind in ("empty", "layout"):
        for number in (1, 2):
            words += [f"--{kind}", PRACTICE / f"{kind}-{number}.jpg"]
    assert run_main(*words) == 0
    return out
