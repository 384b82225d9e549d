"""Every way in by the command line: odd files are refused soon, in a sentence, leaving nothing."""

from __future__ import annotations

import errno
import os
import resource
import signal
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from desk.durable import whole_file, write_whole
from desk.say import os_error_in_words
from tests.desk.practice import PRACTICE, SHEET, Run

ROOT = Path(__file__).parents[2]
PHOTO = PRACTICE / "game" / "isla.jpg"
PLAN = PRACTICE / "layout.txt"
SOON_S = 20
MEMORY = 4_000_000_000
"""Bytes of addresses that a command may take; OpenCV and NumPy reserve about half of them."""

Words = list[str | Path]


def tally_words(table: Path, out: Path, *more: str | Path) -> Words:
    return ["tally", table, f"Ana={PHOTO}", "--archive", out / "kept", "--out", out / "o", *more]


WAYS_IN: dict[str, Callable[[Path, Path, Path], Words]] = {
    "read a photo": lambda odd, table, out: ["read", table, odd, "--overlay", out],
    "tally a photo": lambda odd, table, out: (
        ["tally", table, f"Ana={odd}", "--archive", out / "kept", "--out", out / "o"]
    ),
    "a second photo": lambda odd, table, out: tally_words(table, out, "--again", f"Ana={odd}"),
    "claims": lambda odd, table, out: tally_words(table, out, "--claims", odd),
    "answers": lambda odd, table, out: tally_words(table, out, "--answers", odd),
    "calibrate": lambda odd, _, out: (
        ["calibrate", "--sheet", SHEET, "--layout", odd, "--plan", PLAN, "--out", out / "t.table"]
    ),
    "a plan": lambda odd, _, out: (
        ["calibrate", "--sheet", SHEET, "--layout", PHOTO, "--plan", odd, "--out", out / "t.table"]
    ),
    "a trial": lambda odd, table, _: ["trial", table, odd, "--plan", PLAN],
    "count": lambda odd, table, out: ["count", table, odd, "--out", out],
    "a card": lambda odd, _, out: ["sheet", "card", SHEET, odd, "--out", out],
    "colours": lambda odd, _, out: ["sheet", "colours", SHEET, odd, "--out", out / "c.png"],
    "an empty board": lambda odd, _, out: (
        ["sheet", "new", out / "n.toml", "--name", "N", "--colour", "moss", "--photo", odd]
    ),
    "a drawing": lambda odd, _, out: (
        ["sheet", "new", out / "n.toml", "--name", "N", "--colour", "moss", "--svg", odd]
    ),
    "a sheet": lambda odd, *_: ["sheet", "check", odd],
    "a table": lambda odd, *_: ["read", odd, PHOTO],
    "a shared table": lambda odd, _, out: ["table", "import", odd, "--data", out / "shelf"],
    "a ZIP": lambda odd, _, out: ["archive", "import", odd, "--archive", out / "kept"],
}


def pipe(folder: Path) -> Path:
    os.mkfifo(folder / "pipe")
    return folder / "pipe"


def endless(folder: Path) -> Path:
    """A file of zeros that says it has 200 GB, and takes no room."""
    with open(folder / "endless", "wb") as file:
        file.truncate(200_000_000_000)
    return folder / "endless"


def with_bytes(data: bytes) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        (folder / "odd").write_bytes(data)
        return folder / "odd"

    return make


ODD: dict[str, Callable[[Path], Path]] = {
    "a pipe": pipe,
    "a device": lambda _: Path("/dev/zero"),
    "a folder": lambda folder: folder,
    "missing": lambda folder: folder / "none",
    "endless": endless,
    "zeros": with_bytes(bytes(300_000)),
    "bytes": with_bytes(bytes(range(256)) * 40),
}
"""What no way in can use. An empty file may be empty claims, and is not among them."""


@pytest.fixture
def soon() -> Iterator[None]:
    """Ends a test that waits for what never comes."""
    signal.alarm(SOON_S)
    yield
    signal.alarm(0)


@pytest.mark.usefixtures("soon")
@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("way", WAYS_IN)
def test_what_cannot_be_used_is_refused_in_a_sentence_and_leaves_nothing(
    way: str, odd: str, tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    (tmp_path / "in").mkdir()
    path = ODD[odd](tmp_path / "in")

    ended = tallyglass(*WAYS_IN[way](path, table, tmp_path / "out"))

    assert ended.code == 2, ended.out
    assert len(ended.err.strip().splitlines()) == 1, ended.err
    assert "Traceback" not in ended.err
    made = {file for file in (tmp_path / "out").rglob("*") if file.is_file()}
    assert {file for file in made if "kept" not in file.parts} == set()


@pytest.mark.parametrize("name", ["two\nlines.jpg", "..jpg", "\x1b[31mred.jpg", "'; rm -rf x.jpg"])
def test_a_name_is_only_a_name(name: str, tallyglass: Run, table: Path, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(PHOTO.read_bytes())

    ended = tallyglass("read", table, tmp_path / name, "--overlay", tmp_path / "seen")

    assert ended.code == 0, ended.err
    assert "\x1b" not in ended.out
    assert ended.out.splitlines()[0].endswith("mm")
    (seen,) = (tmp_path / "seen").iterdir()
    assert seen.parent == tmp_path / "seen"


def test_a_name_that_is_no_text_is_read_kept_and_shown(table: Path, tmp_path: Path) -> None:
    photo = os.fsencode(tmp_path) + b"/caf\xe9.jpg"
    with open(photo, "wb") as file:
        file.write(PHOTO.read_bytes())
    kept = ["--archive", tmp_path / "kept", "--out", tmp_path / "out", "--no-questions"]

    ended = limited("tally", table, b"Ana=" + photo, *kept)
    listed = limited("archive", "show", "1", "--archive", tmp_path / "kept", "--json")

    assert ended.returncode == 0, ended.stderr
    assert "caf?.jpg" in listed.stdout


def limited(*words: str | bytes | Path) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own, with so much memory and no more."""
    command = [sys.executable, "-c", "from desk.start import main; main()", *words]
    return subprocess.run(
        command,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=SOON_S,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY)),
    )


BOMBS_IN_TOML = {
    "key": "a." * 200_000 + "a = 1",
    "quoted key": '\'a!\'."b\\"".' * 50_000 + "a = 1",
    "header": "[" + "a . " * 100_000 + "a]",
    "nest": "a = " + "[" * 100_000,
    "number": "a = " + "9" * 100_000,
}


@pytest.mark.parametrize("bomb", BOMBS_IN_TOML)
def test_toml_that_would_take_all_memory_is_refused(bomb: str, tmp_path: Path) -> None:
    (tmp_path / "bomb.toml").write_text(BOMBS_IN_TOML[bomb], "utf-8")

    ended = limited("sheet", "check", tmp_path / "bomb.toml")

    assert ended.returncode == 2, ended.stderr
    assert ended.stderr.startswith(f"{tmp_path / 'bomb.toml'}: ")
    assert len(ended.stderr.splitlines()) == 1


DRAWN = '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="90mm" viewBox="0 0 90 90">'
CELL = '<path d="M0 0h5v5h-5z"/>'
BOMBS_IN_SVG = {
    "copies of copies": (
        f'<g id="a0">{CELL}</g>'
        + "".join(
            f'<g id="a{n}"><use href="#a{n - 1}"/><use href="#a{n - 1}"/></g>' for n in range(1, 40)
        )
        + '<use href="#a39"/>'
    ),
    "a copy of itself": f'<g id="a"><use href="#a"/>{CELL}</g>',
    "too many": CELL * 20_001,
    "deep": "<g>" * 20_000 + CELL + "</g>" * 20_000,
    "transform": '<path transform="rotate(x)" d="M0 0h5v5h-5z"/>',
}


@pytest.mark.parametrize("bomb", BOMBS_IN_SVG)
def test_a_drawing_that_would_never_end_is_refused(bomb: str, tmp_path: Path) -> None:
    (tmp_path / "bomb.svg").write_text(f"{DRAWN}{BOMBS_IN_SVG[bomb]}</svg>", "utf-8")
    words = ["--name", "N", "--colour", "moss", "--svg", tmp_path / "bomb.svg"]

    ended = limited("sheet", "new", tmp_path / "new.toml", *words)

    assert ended.returncode == 2, ended.stderr
    assert len(ended.stderr.splitlines()) == 1
    assert not (tmp_path / "new.toml").exists()


def test_parts_packed_in_another_way_than_ours_are_never_unpacked(
    table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    """Python's zipfile unpacks bzip2 whole, however few bytes the part says that it holds."""
    other = tmp_path / "other.table"
    with zipfile.ZipFile(table) as own, zipfile.ZipFile(other, "w", zipfile.ZIP_BZIP2) as out:
        for part in own.namelist():
            out.writestr(part, own.read(part))

    read = tallyglass("read", other, PHOTO)
    taken = tallyglass("table", "import", other, "--data", tmp_path / "shelf")

    assert read.code == taken.code == 2
    assert "packed in a way that no table is" in read.err
    assert "packed too tightly to be ours" in taken.err


@pytest.mark.usefixtures("soon")
def test_what_was_given_is_never_written_over(tallyglass: Run, tmp_path: Path) -> None:
    photo = tmp_path / "row.jpg"
    photo.write_bytes(PHOTO.read_bytes())
    new = ["sheet", "new", tmp_path / "n.toml", "--name", "N", "--colour", "moss"]
    for words in (
        ["sheet", "colours", SHEET, photo, "--out", photo],
        [*new, "--photo", photo, "--overlay", photo],
    ):
        ended = tallyglass(*words)

        assert ended.code == 2
        assert "is what you gave; choose another name" in ended.err
    assert photo.read_bytes() == PHOTO.read_bytes()


def test_a_file_written_anew_replaces_the_older_whole_and_leaves_nothing_beside_it(
    tmp_path: Path,
) -> None:
    path = tmp_path / "roof.table"
    path.write_bytes(b"an older one, and longer")
    write_whole(path, b"whole")

    assert path.read_bytes() == b"whole"
    assert list(tmp_path.iterdir()) == [path]


def test_a_full_disk_says_what_it_had_no_room_for(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No space") as told, whole_file(tmp_path / "tally.csv"):
        raise OSError(errno.ENOSPC, "No space left on device")

    assert os_error_in_words(told.value) == (
        f"{tmp_path / 'tally.csv'}: the disk is full. Make room and run the command again."
    )
    assert list(tmp_path.iterdir()) == []


def test_a_pipe_or_a_device_is_not_written_over(tmp_path: Path) -> None:
    path = pipe(tmp_path)

    with pytest.raises(FileExistsError):
        write_whole(path, b"whole")
    assert path.is_fifo()
    assert [file.name for file in tmp_path.iterdir()] == ["pipe"]
