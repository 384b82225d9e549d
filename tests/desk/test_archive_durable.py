"""Full disks and many writers: what was acknowledged is there, what was not is not half there."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from desk.archive import Archive, ArchiveError
from desk.keeping.verify import verify
from tests.desk.conftest import new_database
from tests.desk.kills import Place
from tests.desk.saving import game

WRITERS = 4
EACH = 6
SCRIPT = (
    "import sys; from pathlib import Path; from desk.archive import Archive;"
    "from tests.desk.saving import game;"
    "a = Archive(sys.argv[1], photos=sys.argv[2] or None); first = int(sys.argv[3]);"
    f"[print(a.save(game(first + k)), flush=True) for k in range({EACH})]"
)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 2 MB."""
    if os.geteuid() != 0 or not sys.platform.startswith("linux"):
        pytest.skip("only root on Linux can mount a small disk of its own")
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)]
    mounted = subprocess.run(mount, capture_output=True, text=True)
    if mounted.returncode:
        pytest.skip(f"a small disk cannot be mounted here: {mounted.stderr.strip()}")
    yield disk
    subprocess.run(["umount", "--lazy", str(disk)], check=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def full_place(request: pytest.FixtureRequest, small_disk: Path) -> Place:
    """Where an archive may be made whose folder lies on the small disk."""
    if request.param == "sqlite":
        return small_disk / "archive", None
    return new_database(request.getfixturevalue("postgresql")), str(small_disk / "archive")


def test_a_full_disk_loses_nothing_that_was_acknowledged(full_place: Place) -> None:
    where, photos = full_place
    archive = Archive(where, photos=photos)
    acknowledged = save_until_full(archive)
    refused = [failure_of(archive, seed) for seed in range(500, 505)]
    assert all("full" in words or "No space left" in words for words in refused)
    (archive.folder / "room").unlink()

    proof = verify(Archive(where))
    assert proof.wrong == []
    assert all("never acknowledged" in words for words in proof.explained)
    for number, seed in acknowledged.items():
        assert archive.game(number)["tally"] == game(seed).tally
    assert archive.save(game(1)) == len(acknowledged) + 1


@pytest.fixture
def drive(small_disk: Path, tmp_path: Path) -> Iterator[Drive]:
    """A drive that can be pulled: the small disk, seen at a second place too."""
    drive = Drive(small_disk, tmp_path / "drive")
    drive.place.mkdir()
    drive.plug_in()
    yield drive
    drive.pull()


@dataclass(frozen=True)
class Drive:
    """A disk and the place in the tree where it can be plugged in."""

    disk: Path
    place: Path

    def plug_in(self) -> None:
        subprocess.run(["mount", "--bind", str(self.disk), str(self.place)], check=True)

    def pull(self) -> None:
        subprocess.run(["umount", "--lazy", str(self.place)], check=True)


def test_a_game_is_not_acknowledged_once_the_drive_is_pulled(drive: Drive) -> None:
    archive = Archive(drive.place / "archive")
    assert archive.save(game(1)) == 1

    drive.pull()
    with pytest.raises(ArchiveError, match="was its drive pulled"):
        archive.save(game(2))
    assert list(drive.place.iterdir()) == []

    drive.plug_in()
    proof = verify(Archive(drive.place / "archive"))
    assert (proof.games, proof.wrong, proof.explained) == (1, [], [])
    assert archive.save(game(2)) == 2


def test_a_drive_pulled_in_the_middle_of_a_save_leaves_nothing_half_acknowledged(
    drive: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = Archive(drive.place / "archive")
    archive.save(game(1))
    put_files = archive.put_files

    def pull_then_put(files: Mapping[str, bytes]) -> None:
        drive.pull()
        monkeypatch.setattr(archive, "put_files", put_files)
        put_files(files)

    monkeypatch.setattr(archive, "put_files", pull_then_put)
    with pytest.raises(ArchiveError, match="was its drive pulled"):
        archive.save(game(2))
    drive.plug_in()
    assert archive.game(1)["tally"] == game(1).tally


def test_an_archive_is_not_begun_where_its_drive_is_missing(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="Is its drive plugged in"):
        Archive(tmp_path / "media" / "archive")
    assert list(tmp_path.iterdir()) == []


def save_until_full(archive: Archive) -> dict[int, int]:
    """Seeds by number of what was acknowledged before the disk was full."""
    ballast = archive.folder / "room"
    acknowledged = {}
    for seed in range(500):
        try:
            acknowledged[archive.save(game(seed))] = seed
        except ArchiveError:
            break
        if seed == 5:  # so that the database, not only a photo, meets the end of the disk
            fill(ballast)
    assert len(acknowledged) > 5
    fill(ballast)
    return acknowledged


def fill(path: Path) -> None:
    """Take the rest of the disk but for some pages."""
    with contextlib.suppress(OSError), path.open("ab", buffering=0) as file:
        while os.statvfs(path.parent).f_bavail > 12:
            file.write(bytes(4096))


def failure_of(archive: Archive, seed: int) -> str:
    """The sentence with which a save is refused."""
    try:
        for turn in range(20):
            archive.save(game(seed + turn))
    except ArchiveError as error:
        return str(error)
    return "nothing was refused"


def test_four_programs_may_save_at_once(place: Place) -> None:
    where, photos = place
    savers = [
        subprocess.Popen(
            [sys.executable, "-c", SCRIPT, str(where), photos or "", str(100 * writer)],
            stdout=subprocess.PIPE,
            text=True,
        )
        for writer in range(WRITERS)
    ]
    told = [saver.communicate(timeout=120)[0].split() for saver in savers]

    assert [saver.returncode for saver in savers] == [0] * WRITERS
    numbers = sorted(int(number) for numbers in told for number in numbers)
    assert numbers == list(range(1, WRITERS * EACH + 1))
    archive = Archive(where)
    proof = verify(archive)
    assert (proof.games, proof.wrong, proof.explained) == (WRITERS * EACH, [], [])
    assert archive.standings()[0].games == WRITERS * EACH
