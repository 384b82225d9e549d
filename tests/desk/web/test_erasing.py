"""Someone who asks to be erased is gone from the web desk's own folder too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from desk.archive import Archive
from desk.web.crew import Crew
from desk.web.evening import Evening, Shot, fold
from desk.web.files import Files, reading_key
from desk.web.journal import Event, Journal
from desk.web.office import Office
from tests.desk.practice import Run
from tests.desk.saving import game, photo

THURSDAY, FRIDAY, TABLE = "evening/aa", "evening/bb", "calibration/cc"
PLAYERS = ["Ana", "Jo Marsh", "Cleo"]


class Folder:
    """A desk's folder: two evenings, one of them Jo Marsh's, with photos and their readings."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.files = Files(folder)
        self.journal = Journal(folder / "evenings.sqlite")
        self.photos = [self.files.keep_photo(photo(seed)) for seed in range(6)]
        ana, jo, mistaken, retaken, other, empty = self.photos
        self.add(THURSDAY, "opened", name="Jo Marsh\u2019s birthday", table="t", players=PLAYERS)
        self.add(THURSDAY, "snapped", game=1, seat=0, photo=ana, name="ana.jpg")
        self.add(THURSDAY, "snapped", game=1, seat=2, photo=jo, name="Jo Marsh.jpg")
        self.add(THURSDAY, "snapped", game=1, seat=1, photo=mistaken, name="3.jpg")
        self.add(THURSDAY, "swapped", game=1, seats=[1, 2])
        self.add(THURSDAY, "cornered", game=1, seat=1, corners_px=[[0, 0]] * 4)
        self.add(THURSDAY, "answered", game=1, seat=1, cell="A1", colour="moss")
        self.add(THURSDAY, "kept", game=1, number=7)
        self.add(THURSDAY, "next game")
        self.add(THURSDAY, "snapped", game=2, seat=1, photo=retaken, name="4.jpg")
        self.add(THURSDAY, "snapped", game=2, seat=1, photo=jo, name="5.jpg")
        self.add(FRIDAY, "opened", name="Friday", table="t", players=["Ana", "Cleo"])
        self.add(FRIDAY, "snapped", by="Jo Marsh", game=1, seat=None, photo=other, name="6.jpg")
        self.add(TABLE, "begun", name="Hall", sheet="s", plan="")
        self.add(TABLE, "photo", by="Jo Marsh", kind="empty", photo=empty, name="Jo Marsh.jpg")
        self.readings = [self.reading(one) for one in (ana, jo, mistaken, retaken)]
        self.shown = self.reading(jo, corners=((0, 0),) * 4)

    def add(self, log: str, event: str, by: str = "Ana", **body: Any) -> None:
        self.journal.add(log, Event(0, event, body, by, "2026-11-25T20:00:00+00:00"))

    def reading(self, digest: str, corners: Any = ()) -> Path:
        """A reading's files, as the reader leaves them."""
        key = reading_key(digest, "t", Shot(digest, "", "", "", corners_px=corners))
        for ending in (".json", ".jpg", "-0.pickle"):
            path = self.files.reading(key)
            path.parent.mkdir(exist_ok=True)
            path.with_name(path.name + ending).write_bytes(b"read")
        return self.files.reading(key)

    def evening(self, log: str) -> Evening:
        return fold(log, self.journal.events(log))

    def there(self) -> list[bool]:
        return [self.files.photo(digest).exists() for digest in self.photos]

    def everything(self) -> bytes:
        return b"".join(p.read_bytes() for p in self.folder.rglob("*") if p.is_file())


@pytest.fixture
def desk(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "data")


def test_an_erased_person_is_nowhere_in_the_desks_folder(
    desk: Folder, tmp_path: Path, tallyglass: Run
):
    """The name, the photos that were last known as theirs, and what was read of them."""
    Archive(tmp_path / "archive").save(game(1, ("Ana", "Jo Marsh")))
    assert b"Jo Marsh" in desk.everything()

    ended = tallyglass("archive", "erase-person", "Jo Marsh", *places(desk, tmp_path))

    assert (ended.code, ended.err) == (0, "")
    assert "1 entry has the name erased" in ended.out
    assert "At the web desk 3 evenings or calibrations changed; 2 photos are gone." in ended.out
    assert b"Jo Marsh" not in desk.everything()
    assert desk.there() == [True, False, True, False, True, True]
    assert list(desk.folder.glob(f"readings/{desk.shown.name}*")) == []
    assert [one.with_suffix(".json").exists() for one in desk.readings] == [
        True,
        False,
        True,
        False,
    ]
    erased = next(iter(set(desk.evening(THURSDAY).players) - set(PLAYERS)))
    assert f"has the name {erased} now;" in ended.out
    first, second = desk.evening(THURSDAY).rounds
    assert {seat: shot.photo for seat, shot in first.shots.items()} == {
        0: desk.photos[0],
        2: desk.photos[2],
    }
    assert (first.kept, first.as_kept, second.erased) == (7, True, (1, 1))
    assert desk.evening(FRIDAY).rounds[0].shots[0].by == erased


def test_a_running_desk_sees_at_once_that_somebody_is_gone(
    desk: Folder, tmp_path: Path, tallyglass: Run
):
    office = Office(desk.files, desk.journal, tmp_path / "archive", Crew(1, 0), Crew(1, 0))
    before = office.stamp(THURSDAY)
    assert "Jo Marsh" in office.evening("aa").players

    tallyglass("archive", "erase-person", "Jo Marsh", *places(desk, tmp_path))

    assert office.stamp(THURSDAY) != before
    assert "Jo Marsh" not in office.evening("aa").players


def test_who_only_the_desk_knows_is_erased_there_and_a_stranger_is_refused(
    desk: Folder, tmp_path: Path, tallyglass: Run
):
    assert tallyglass("archive", "erase-person", "Cleo", *places(desk, tmp_path)).code == 0
    assert b"Cleo" not in desk.everything()

    refused = tallyglass("archive", "erase-person", "Nobody", *places(desk, tmp_path))
    assert refused.code == 2
    assert "does not exist yet" in refused.err


def test_another_name_takes_no_photo_and_never_makes_two_people_one(
    desk: Folder, tmp_path: Path, tallyglass: Run
):
    def called(name: str) -> Any:
        words = ("archive", "pseudonymise", "Jo Marsh", name)
        return tallyglass(*words, *places(desk, tmp_path))

    refused = called("Ana")
    assert refused.code == 2
    assert "has a Ana in an evening with Jo Marsh" in refused.err
    assert called("Player 7").code == 0
    assert b"Jo Marsh" not in desk.everything()
    assert all(desk.there())
    assert desk.evening(THURSDAY).players == ("Ana", "Player 7", "Cleo")


def test_an_evenings_photos_go_from_the_desk_too(desk: Folder, tmp_path: Path, tallyglass: Run):
    Archive(tmp_path / "archive").save(game(1, evening="Friday"))

    ended = tallyglass("archive", "erase-photos", "Friday", *places(desk, tmp_path))

    assert "2 photos of 1 entry taken away." in ended.out
    assert "At the web desk 1 evening or calibration changed; 1 photo is gone." in ended.out
    assert desk.there() == [True, True, True, True, False, True]
    assert desk.evening(FRIDAY).rounds[0].erased == (0, 1)


def test_a_second_photo_of_a_board_goes_with_its_player(
    desk: Folder, tmp_path: Path, tallyglass: Run
):
    again = desk.files.keep_photo(photo(6))
    second = desk.reading(again)
    desk.add(THURSDAY, "snapped again", game=1, seat=1, photo=again, name="Jo Marsh, again.jpg")
    desk.add(THURSDAY, "snapped again", game=1, seat=0, photo=desk.photos[4], name="7.jpg")
    assert [shot.second is not None for shot in shots(desk)] == [True, True, False]

    tallyglass("archive", "erase-person", "Jo Marsh", *places(desk, tmp_path))

    assert b"Jo Marsh" not in desk.everything()
    assert not desk.files.photo(again).exists()
    assert not second.with_suffix(".json").exists()
    ana, cleo = shots(desk)
    assert (ana.second is not None, cleo.second) == (True, None)


def shots(desk: Folder) -> list[Shot]:
    """The photos of Thursday's first game, by seat."""
    return [shot for _, shot in sorted(desk.evening(THURSDAY).rounds[0].shots.items())]


def test_with_another_archive_the_desk_must_be_named(desk: Folder, tmp_path: Path, tallyglass: Run):
    """A folder that nobody named is never changed, but that is said."""
    Archive(tmp_path / "archive").save(game(1))

    ended = tallyglass("archive", "erase-person", "Ana", "--archive", tmp_path / "archive")

    assert "The web desk's folder was not looked at" in ended.out
    assert b"Ana" in desk.everything()


def places(desk: Folder, tmp_path: Path) -> tuple[str | Path, ...]:
    return "--data", desk.folder, "--archive", tmp_path / "archive"
