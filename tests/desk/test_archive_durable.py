"""Full disks and many writers: what was acknowledged is there, what was not is not half there."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from desk.archive import Archive, ArchiveError
from desk.keeping.verify import verify
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


def test_a_full_disk_loses_nothing_that_was_acknowledged(small_disk: Path) -> None:
    archive = Archive(small_disk / "archive")
    acknowledged = save_until_full(archive)
    refused = [failure_of(archive, seed) for seed in range(500, 505)]
    assert all("full" in words or "No space left" in words for words in refused)
    (small_disk / "archive" / "room").unlink()

    proof = verify(Archive(small_disk / "archive"))
    assert proof.wrong == []
    assert all("never acknowledged" in words for words in proof.explained)
    for number, seed in acknowledged.items():
        assert archive.game(number)["tally"] == game(seed).tally
    assert archive.save(game(1)) == len(acknowledged) + 1


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


def test_four_programs_may_save_at_once(place: tuple[Path | str, str | None]) -> None:
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
