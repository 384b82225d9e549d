"""Games leave an archive, come back, merge and are erased; nothing is lost, nothing believed."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from desk.archive import Archive, ArchiveError
from desk.keeping.backup import backup
from desk.keeping.correct import Correction, correct
from desk.keeping.erase import erase_person, erase_photos, name_for_erased, pseudonymise
from desk.keeping.pack import export, export_csv
from desk.keeping.search import ANYTHING
from desk.keeping.unpack import ImportRefused, import_zip
from desk.keeping.verify import tidy, verify
from desk.records import Answer
from tests.desk.saving import game, photo

SAID = [Answer("Ana", "A2", "slate", "Jo Marsh", "2026-11-25T19:00:00+00:00")]


@pytest.fixture
def filled(archive: Archive) -> Archive:
    archive.save(game(1, evening="first", league="Winter"))
    archive.save(game(2, ("Ana", "Jo Marsh"), evening="second"))
    correct(archive, 1, Correction("Jo Marsh saw it", answers=SAID))
    return archive


def new(tmp_path: Path, name: str = "other") -> Archive:
    return Archive(tmp_path / name)


def test_what_is_exported_and_imported_exports_to_the_same_bytes(
    filled: Archive, tmp_path: Path
) -> None:
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    export(filled, first)
    other = new(tmp_path)

    result = import_zip(other, first)

    assert (result.new, result.known, result.apart) == (3, 0, ())
    export(other, second)
    assert second.read_bytes() == first.read_bytes()
    assert verify(other).holds
    assert verify(other).explained == []


def test_an_archive_that_had_an_erasure_moves_as_well(filled: Archive, tmp_path: Path) -> None:
    erase_person(filled, "Jo Marsh", "host", name_for_erased())
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    export(filled, first)
    other = new(tmp_path)
    import_zip(other, first)

    export(other, second)

    assert second.read_bytes() == first.read_bytes()
    assert verify(other).holds


def test_two_archives_merge_without_duplicates(filled: Archive, tmp_path: Path) -> None:
    other = new(tmp_path)
    other.save(game(5))
    packed, back = tmp_path / "one.zip", tmp_path / "two.zip"
    export(filled, packed)
    import_zip(other, packed)
    import_zip(other, packed)
    export(other, back)

    result = import_zip(filled, back)

    assert (result.new, result.known) == (1, 3)
    assert {g.uid for g in filled.games()} == {g.uid for g in other.games()}
    assert filled.standings()[0].players == other.standings()[0].players
    assert verify(filled).holds


def test_totals_go_to_a_spreadsheet_that_cannot_be_made_to_run_them(tmp_path: Path) -> None:
    archive = new(tmp_path)
    archive.save(game(1, ("=cmd()", "Ben")))

    assert export_csv(archive, tmp_path / "totals.csv", ANYTHING) == 1

    lines = (tmp_path / "totals.csv").read_text().splitlines()
    assert len(lines) == 3
    assert ",1,'=cmd()," in lines[1]


# What a stranger's ZIP may hold ----------------------------------------------------------------

Parts = dict[str, bytes]


def packed_parts(archive: Archive, path: Path) -> Parts:
    export(archive, path)
    with zipfile.ZipFile(path) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def pack(parts: Parts, path: Path) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in parts.items():
            out.writestr(name, data)
    return path


def first_of(parts: Parts, kind: str) -> str:
    return next(name for name in parts if name.startswith(kind))


def climb_out(parts: Parts) -> None:
    parts["photos/../../escaped.jpg"] = b"x"


def absolute(parts: Parts) -> None:
    parts["/etc/cron.d/x"] = b"x"


def bomb(parts: Parts) -> None:
    parts[first_of(parts, "photos/")] = bytes(50_000_000)


def huge(parts: Parts) -> None:
    parts[first_of(parts, "games/")] = bytes(21_000_000)


def other_photo(parts: Parts) -> None:
    parts[first_of(parts, "photos/")] = photo(99)


def no_photo(parts: Parts) -> None:
    del parts[first_of(parts, "photos/")]


def more_points(parts: Parts) -> None:
    name = first_of(parts, "games/")
    changed = json.loads(parts[name])
    changed["tally"]["players"][0]["total"] += 50
    parts[name] = json.dumps(changed).encode()


def wrong_tally(parts: Parts) -> None:
    name = first_of(parts, "games/")
    changed = json.loads(parts[name]) | {"nonce": ""}
    changed["tally"]["players"][0]["total"] += 50
    parts[name] = json.dumps(changed).encode()


def other_form(parts: Parts) -> None:
    parts[first_of(parts, "games/")] = b"[1, 2]"


def deep(parts: Parts) -> None:
    parts[first_of(parts, "games/")] = b"[" * 200_000


def no_manifest(parts: Parts) -> None:
    del parts["manifest.json"]


def other_manifest(parts: Parts) -> None:
    parts["manifest.json"] = b'{"format": "other"}'


TRICKS: dict[Callable[[Parts], None], str] = {
    climb_out: "has a part 'photos/../../escaped.jpg' that no export makes",
    absolute: "has a part '/etc/cron.d/x' that no export makes",
    bomb: "packed too tightly to be ours",
    huge: "unpacks to too much",
    other_photo: "is not what its name says",
    no_photo: "lacks the photo",
    more_points: "was changed since it was saved",
    wrong_tally: "its tally does not follow from its grids",
    other_form: "of another form",
    deep: "is no JSON",
    no_manifest: "is no archive that Tallyglass exported",
    other_manifest: "is no archive that Tallyglass exported",
}


@pytest.mark.parametrize("trick", TRICKS, ids=lambda trick: trick.__name__)
def test_a_zip_that_was_tampered_with_is_refused_whole(
    trick: Callable[[Parts], None], tmp_path: Path
) -> None:
    source, target = new(tmp_path, "source"), new(tmp_path, "target")
    source.save(game(1))
    target.save(game(2))
    parts = packed_parts(source, tmp_path / "good.zip")
    trick(parts)

    with pytest.raises(ImportRefused) as caught:
        import_zip(target, pack(parts, tmp_path / "bad.zip"))

    assert TRICKS[trick] in str(caught.value)
    assert str(caught.value).endswith("Nothing was imported.")
    assert len(target.games()) == 1
    assert verify(target).explained == []
    assert not list(tmp_path.rglob("escaped*"))


@pytest.mark.parametrize("data", [b"", b"PK\3\4 and no more", b"words"])
def test_what_is_no_zip_is_refused(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "x.zip").write_bytes(data)

    with pytest.raises(ImportRefused, match="is no ZIP that can be read"):
        import_zip(new(tmp_path), tmp_path / "x.zip")


def test_a_zip_that_was_cut_off_is_refused(tmp_path: Path) -> None:
    source = new(tmp_path, "source")
    source.save(game(1))
    export(source, tmp_path / "good.zip")
    whole = (tmp_path / "good.zip").read_bytes()

    for end in range(0, len(whole), len(whole) // 9):
        (tmp_path / "cut.zip").write_bytes(whole[:end])
        with pytest.raises(ImportRefused):
            import_zip(new(tmp_path), tmp_path / "cut.zip")


def test_a_zip_with_two_parts_of_one_name_is_refused(tmp_path: Path) -> None:
    source = new(tmp_path, "source")
    source.save(game(1))
    parts = packed_parts(source, tmp_path / "good.zip")
    data = io.BytesIO(pack(parts, tmp_path / "twice.zip").read_bytes())
    with zipfile.ZipFile(data, "a") as out, pytest.warns(UserWarning, match="Duplicate name"):
        out.writestr("manifest.json", b"{}")
    (tmp_path / "twice.zip").write_bytes(data.getvalue())

    with pytest.raises(ImportRefused, match="two parts of one name"):
        import_zip(new(tmp_path), tmp_path / "twice.zip")


# Erasing ---------------------------------------------------------------------------------------


def everything(archive: Archive) -> bytes:
    """All bytes of the archive's folder, or all text of a server's tables."""
    if archive.database.is_sqlite:
        files = [path for path in archive.folder.rglob("*") if path.is_file()]
        return b"".join(path.read_bytes() for path in files)
    with archive.reading() as db:
        tables = ("games", "boards", "answers", "scores", "words", "erasures", "standings", "duels")
        rows = [db.exec_driver_sql(f"SELECT * FROM {table}").all() for table in tables]
    return repr(rows).encode()


def test_an_erased_person_is_nowhere_any_more_and_games_still_hold(filled: Archive) -> None:
    filled.standings()
    assert b"Jo Marsh" in everything(filled)
    photos = [board["photo_file"] for board in filled.game(2)["boards"]]

    done = erase_person(filled, "Jo Marsh", "host", name_for_erased())

    assert (done.games, done.photos) == (2, 1)
    left = everything(filled)
    assert b"Jo Marsh" not in left
    assert b"marsh" not in left
    assert [filled.store.has(name) for name in photos] == [True, False]
    kept = filled.game(2)
    assert [board["player"] for board in kept["boards"]] == ["Ana", done.name]
    assert filled.game(3)["reason"] == f"{done.name} saw it"
    assert verify(filled).holds
    assert verify(filled).explained == []


def test_a_person_may_get_another_name_and_keep_the_photos(filled: Archive) -> None:
    done = pseudonymise(filled, "Jo Marsh", "Player 7", "host")

    assert (done.games, done.photos) == (2, 0)
    assert b"Jo Marsh" not in everything(filled)
    assert [line.totals for line in filled.games()][1] == {"Ana": 16, "Player 7": 10}
    assert verify(filled).photos == 4
    assert verify(filled).holds


def test_two_people_never_become_one(filled: Archive) -> None:
    with pytest.raises(ArchiveError, match="has a Ana in the same games"):
        pseudonymise(filled, "Jo Marsh", "Ana", "host")
    with pytest.raises(ArchiveError, match="knows nobody called Jo"):
        erase_person(filled, "Jo", "host", name_for_erased())
    assert verify(filled).holds


def test_an_evenings_photos_go_and_what_was_read_of_them_stays(filled: Archive) -> None:
    grid = filled.game(2)["boards"][0]["grid"]

    done = erase_photos(filled, "second", "host")

    kept = filled.game(2)
    assert (done.games, done.photos) == (1, 2)
    assert kept["boards"][0]["grid"] == grid
    assert all(board["erased"] for board in kept["boards"])
    proof = verify(filled)
    assert (proof.photos, proof.wrong, proof.explained) == (2, [], [])


def test_a_photo_that_another_evening_needs_stays(tmp_path: Path) -> None:
    archive = new(tmp_path)
    archive.save(game(1, evening="first"))
    archive.save(game(1, evening="second"))

    erase_photos(archive, "first", "host")

    assert verify(archive).photos == 2
    assert verify(archive).holds


def test_an_erasure_that_was_stopped_is_explained_and_can_be_finished(filled: Archive) -> None:
    name = filled.game(2)["boards"][1]["photo_file"]
    data = filled.photo(name)
    erase_photos(filled, "second", "host")
    filled.store.put(name, data)  # as if the program had been killed before it took it away

    assert verify(filled).explained == [
        f"{name}: an erasure was stopped before it took this file away."
    ]
    assert tidy(filled) == [name]


# Backup ----------------------------------------------------------------------------------------


def test_a_backup_is_an_archive_of_its_own(filled: Archive, tmp_path: Path) -> None:
    assert backup(filled, tmp_path / "copy") == 3

    copy = Archive(tmp_path / "copy")
    assert [g.uid for g in copy.games()]
    assert verify(copy).holds
    assert verify(copy).photos == verify(filled).photos
    with pytest.raises(ArchiveError, match="is there already"):
        backup(filled, tmp_path / "copy")
