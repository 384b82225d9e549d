"""The program run as a person runs it, on the practice photos of one game."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import redirect_stdout
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from PIL import Image

from desk.archive import Archive
from tests.desk import servers
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


@pytest.fixture(scope="session")
def twice(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Isla's board from two stands: something dark lies over another corner in each."""
    folder = tmp_path_factory.mktemp("twice")
    one, other = folder / "isla-1.png", folder / "isla-2.png"
    save_covered(one, 0.33)
    save_covered(other, 0.56)
    return one, other


def save_covered(path: Path, left: float) -> None:
    """Save Isla's board with something over a tenth of its width, from the share ``left`` on."""
    pixels = np.array(Image.open(PRACTICE / "game" / "isla.jpg"))
    height, width = pixels.shape[:2]
    part = pixels[int(0.42 * height) : int(0.55 * height), int(left * width) :]
    part = part[:, : int(0.1 * width)]
    part[:] = np.random.default_rng(round(100 * left)).integers(0, 256, part.shape)
    Image.fromarray(pixels).save(path)


NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
NUMBERS = count(1)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """A PostgreSQL server of our own; what needs it is skipped, with the reason, where none is."""
    try:
        running = servers.server()
        url = running.__enter__()
    except servers.NoServer as why:
        pytest.skip(str(why))
    yield url
    running.__exit__(None, None, None)


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path | str, str | None]:
    """Where an archive that does not exist yet may be made, and where its photos are to lie."""
    if request.param == "sqlite":
        return tmp_path / "archive", None
    return new_database(request.getfixturevalue("postgresql")), str(tmp_path / "files")


def new_database(url: str) -> str:
    """An empty schema on the tests' server (quicker than a database); returns its URL."""
    name = f"archive_{next(NUMBERS)}"
    server = sa.make_url(url).set(drivername="postgresql+psycopg")
    with sa.create_engine(server, poolclass=sa.NullPool).begin() as db:
        db.exec_driver_sql(f"CREATE SCHEMA {name}")
    return f"{url}&options=-csearch_path%3D{name}"


@pytest.fixture
def archive(place: tuple[Path | str, str | None]) -> Archive:
    """An empty archive in a folder, and one on a server; its clock stands at noon."""
    where, photos = place
    return Archive(where, clock=lambda: NOON, photos=photos)
