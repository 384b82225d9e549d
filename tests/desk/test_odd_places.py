"""Disks that are full, streams that are closed, readers that leave, names that are no text."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from desk.archive import Archive
from tests.desk.practice import PRACTICE, SHEET, bell_rope_photo
from tests.desk.saving import game

ROOT = Path(__file__).parents[2]
BOARDS = [f"{name}={PRACTICE / 'game' / f'{name.lower()}.jpg'}" for name in ("Joss", "Wren")]
SQUARES = ["--colour", "moss", "--kind", "square", "--rows", "4,4,4", "--pitch", "20"]
ROOM_BYTES = 30_000
SOON_S = 30


def ended(
    words: list[str | bytes | Path], *, how: str = "", room: int | None = None, **more: str
) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own: its streams as a shell has them after ``how``, and, with
    ``room``, no file longer than that."""

    def no_more() -> None:
        if room is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    return subprocess.run(
        ["sh", "-c", f'exec "$@" {how}', "sh", sys.executable, "-m", "desk.start", *words],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), **more},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=SOON_S,
        preexec_fn=no_more,
    )


@pytest.mark.parametrize("how", ["", "<&-"])
def test_where_nobody_can_answer_the_rest_stays_open(how: str, table: Path, tmp_path: Path) -> None:
    kept = ["--out", tmp_path / "out", "--archive", tmp_path / "kept"]

    told = ended(["tally", table, *BOARDS, *kept], how=how)

    assert told.stderr == ""
    assert "No more answers; what is left stays open." in told.stdout
    assert told.returncode == 0


@pytest.mark.parametrize("how", ["", "<&-"])
def test_where_nobody_can_answer_no_card_is_made(how: str, tmp_path: Path) -> None:
    told = ended(["sheet", "card", SHEET, bell_rope_photo(tmp_path), "--out", tmp_path], how=how)

    assert told.stderr == ""
    assert "not settled; no card is made of it." in told.stdout
    assert told.returncode == 1


@pytest.mark.parametrize("how", ["", "<&-"])
def test_where_nobody_can_name_a_game_it_gets_the_proposed_name(how: str, tmp_path: Path) -> None:
    told = ended(["sheet", "new", tmp_path / "new.toml", *SQUARES], how=how)

    assert told.stderr == ""
    assert told.returncode == 0
    assert 'name = "My game"' in (tmp_path / "new.toml").read_text()


@pytest.mark.parametrize("how", [">&-", "2>&-", ">&- 2>&- <&-"])
def test_a_closed_stream_changes_no_exit_code_and_no_file(
    how: str, table: Path, tmp_path: Path
) -> None:
    seen = ["--overlay", tmp_path / "seen"]
    photos = [PRACTICE / "game" / "joss.jpg", tmp_path / "none.jpg"]

    told = ended(["read", table, *photos, *seen], how=how)

    assert told.returncode == 2
    assert "Traceback" not in told.stderr
    (picture,) = (tmp_path / "seen").iterdir()
    assert picture.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("words", [["--help"], ["sheet", "check", SHEET], ["archive", "list"]])
def test_a_reader_that_leaves_ends_the_command_as_the_system_would(
    words: list[str | Path], tmp_path: Path
) -> None:
    Archive(tmp_path / "kept").save(game(1))
    place = ["--archive", tmp_path / "kept"] if words[0] == "archive" else []
    reader, writer = os.pipe()
    os.close(reader)
    told = subprocess.run(
        [sys.executable, "-m", "desk.start", *words, *place],
        cwd=ROOT,
        stdout=writer,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
    )
    os.close(writer)

    assert told.stderr == ""
    assert told.returncode == 141


def test_a_table_that_does_not_fit_is_named_and_leaves_nothing(tmp_path: Path) -> None:
    known = ["--layout", PRACTICE / "layout-1.jpg", "--empty", PRACTICE / "empty-1.jpg"]
    words = ["calibrate", "--sheet", SHEET, *known, "--plan", PRACTICE / "layout.txt"]

    told = ended([*words, "--out", tmp_path / "k.table"], room=ROOM_BYTES)

    assert told.stderr.strip() == f"{tmp_path / 'k.table'}: file too large."
    assert told.returncode == 2
    assert list(tmp_path.iterdir()) == []


def test_a_desk_whose_folder_is_full_or_spoilt_says_so(tmp_path: Path) -> None:
    full = ended(["serve", "--port", "0", "--data", tmp_path / "full"], room=ROOM_BYTES)
    (tmp_path / "spoilt").mkdir()
    (tmp_path / "spoilt" / "evenings.sqlite").write_bytes(b"no database" * 1000)
    spoilt = ended(["serve", "--port", "0", "--data", tmp_path / "spoilt"])

    for told, folder in ((full, "full"), (spoilt, "spoilt")):
        assert told.returncode == 2, told.stderr
        (line,) = told.stderr.splitlines()
        assert line.startswith(f"{tmp_path / folder / 'evenings.sqlite'}: ")


def test_a_backup_that_does_not_fit_leaves_nothing_in_the_way(tmp_path: Path) -> None:
    kept = Archive(tmp_path / "kept")
    kept.save(game(1))
    words = ["archive", "backup", tmp_path / "copy", "--archive", tmp_path / "kept"]

    told = ended(words, room=ROOM_BYTES)

    assert told.returncode == 2
    assert len(told.stderr.splitlines()) == 1
    assert ended(words).returncode == 0


@pytest.mark.parametrize("content", [b"PK\x03\x04 \xff\xfe", b"", None])
def test_a_log_that_is_none_is_refused_and_not_written_to(
    content: bytes | None, tmp_path: Path
) -> None:
    Archive(tmp_path / "kept").save(game(1))
    log = tmp_path / "log"
    log.write_bytes(content) if content is not None else os.mkfifo(log)

    told = ended(["archive", "reread", "--log", log, "--archive", tmp_path / "kept"])

    assert told.returncode == (0 if content == b"" else 2), told.stderr
    assert len(told.stderr.splitlines()) == (0 if content == b"" else 1)
    if content:
        assert log.read_bytes() == content


@pytest.mark.parametrize("league", [b"Winter", b"caf\xe9"])
def test_a_name_that_is_no_text_is_refused_in_a_sentence(
    league: bytes, table: Path, tmp_path: Path
) -> None:
    kept = ["--out", tmp_path / "out", "--archive", tmp_path / "kept", "--no-questions"]
    name = b"Isla" if league == b"caf\xe9" else b"caf\xe9"
    board = name + b"=" + bytes(PRACTICE / "game" / "joss.jpg")

    told = ended(["tally", table, board, *kept, "--league", league])

    assert told.returncode == 2
    assert told.stderr == "'caf\\udce9' is no text in UTF-8; write it in letters that are.\n"
    assert Archive(tmp_path / "kept").games() == []


def test_a_home_that_cannot_be_written_is_no_matter_for_a_picture(tmp_path: Path) -> None:
    Archive(tmp_path / "kept").save(game(1))
    words = ["archive", "standings", "--plot", tmp_path / "s.png", "--archive", tmp_path / "kept"]

    told = ended(words, HOME="/dev/null/none")

    assert told.stderr == ""
    assert told.returncode == 0
