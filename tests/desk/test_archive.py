from __future__ import annotations

import hashlib
import random
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from desk.archive import Archive, ArchiveError
from tests.desk import kills
from tests.desk.saving import game, photo

KILLS = 25


def database(folder: Path) -> closing[sqlite3.Connection]:
    return closing(sqlite3.connect(folder / "archive.sqlite"))


def test_a_game_comes_back_as_it_was_saved(archive: Archive) -> None:
    kept = archive.game(archive.save(game(7)))

    assert kept["saved_at"] == "2026-11-25T12:00:00+00:00"
    assert kept["tally"] == game(7).tally
    assert kept["claims"] == {"cards": {"Ana": ["Stile"]}, "facts": {}}
    assert [board["player"] for board in kept["boards"]] == ["Ana", "Ben"]
    assert kept["answers"][0]["by"] == "host"
    assert kept["answers"][0]["at"] == "2026-11-25T18:00:00+00:00"


def test_the_list_shows_the_latest_game_first(archive: Archive) -> None:
    archive.save(game(1))
    archive.save(game(2))

    listed = archive.games()

    assert [entry.totals for entry in listed] == [{"Ana": 16, "Ben": 10}, {"Ana": 15, "Ben": 10}]
    assert [entry.id for entry in listed] == [2, 1]


def test_a_photo_is_stored_once_under_the_hash_of_its_bytes(archive: Archive) -> None:
    first = archive.game(archive.save(game(1)))
    second = archive.game(archive.save(game(1)))

    files = [path for path in (archive.folder / "photos").rglob("*") if path.is_file()]
    assert [b["photo_file"] for b in first["boards"]] == [b["photo_file"] for b in second["boards"]]
    assert len(files) == 2  # two photos
    assert all(hashlib.sha256(path.read_bytes()).hexdigest() == path.stem for path in files)


@pytest.mark.parametrize(
    "change", ["UPDATE games SET tally = '{}'", "DELETE FROM answers", "DELETE FROM words"]
)
def test_what_was_saved_cannot_be_changed(archive: Archive, change: str) -> None:
    archive.save(game(1))

    with pytest.raises(ArchiveError, match="append-only"), archive.writing() as db:
        db.exec_driver_sql(change)


def test_a_missing_game_is_named(archive: Archive) -> None:
    with pytest.raises(ArchiveError) as caught:
        archive.game(12)

    assert str(caught.value) == (
        f"The archive in {archive.where} has no game 12. `tallyglass archive list` shows them."
    )


def test_a_damaged_archive_is_named(tmp_path: Path) -> None:
    (tmp_path / "archive.sqlite").write_text("no database at all, only words " * 40)

    with pytest.raises(ArchiveError, match="is damaged or is no archive of this program"):
        Archive(tmp_path)


def test_an_archive_of_a_later_program_is_left_alone(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    with database(archive.folder) as db:
        db.execute("PRAGMA user_version = 99")

    with pytest.raises(ArchiveError, match="newer Tallyglass"):
        Archive(archive.folder)


def test_a_place_that_is_no_folder_is_named(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")

    with pytest.raises(ArchiveError, match="cannot be written"):
        Archive(tmp_path / "taken")


def test_a_photo_that_cannot_be_kept_leaves_no_half_game(archive: Archive) -> None:
    spoiled = game(1)
    object.__setattr__(spoiled.boards[1], "photo", b"no photo")

    with pytest.raises(Exception, match="not a JPEG"):
        archive.save(spoiled)

    assert archive.games() == []


def test_a_kill_at_any_moment_loses_nothing_that_was_acknowledged(place: kills.Place) -> None:
    """The same with 1,000 kills: tests/bench/archive.py kills."""
    kills.check(place, kills=KILLS, rng=random.Random(20261125))


def test_programs_that_open_a_new_archive_at_once_wait_for_each_other(tmp_path: Path) -> None:
    """SQLite's own waiting does not cover turning the write-ahead log on; it once failed here."""
    script = (
        "import sys; from pathlib import Path; from desk.archive import Archive;"
        "print('ready', flush=True); sys.stdin.read(1);"
        "[Archive(Path(sys.argv[1]) / str(k)) for k in range(20)]"
    )
    openers = [
        subprocess.Popen(
            [sys.executable, "-c", script, str(tmp_path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        for _ in range(4)
    ]
    for opener in openers:
        assert opener.stdout is not None
        opener.stdout.readline()
    for opener in openers:
        assert opener.stdin is not None
        opener.stdin.write(b"!")
        opener.stdin.flush()
    for opener in openers:
        opener.communicate(timeout=60)

    assert [opener.returncode for opener in openers] == [0, 0, 0, 0]


def test_two_programs_may_save_at_once(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from desk.archive import Archive;"
        "from tests.desk.saving import game; a = Archive(Path(sys.argv[1]));"
        "[a.save(game(seed)) for seed in range(5)]"
    )
    savers = [subprocess.Popen([sys.executable, "-c", script, str(tmp_path)]) for _ in range(2)]

    assert [saver.wait(timeout=60) for saver in savers] == [0, 0]
    assert len(Archive(tmp_path).games()) == 10
    assert photo(0) != photo(1)
