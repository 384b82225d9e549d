"""Kept photos of the practice game read again: by one, by many, by a cluster, after a stop."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from desk.archive import Archive
from desk.keeping.pack import export
from desk.keeping.reread import Reread, Workers, reread, tasks_of
from desk.keeping.search import ANYTHING
from desk.keeping.store import table_file
from desk.keeping.unpack import import_zip
from desk.keeping.verify import verify
from tests.desk.kills import Place
from tests.desk.practice import PRACTICE, Run


@pytest.fixture(scope="module")
def kept(table: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with the practice game, kept by the command itself."""
    from tests.desk.practice import run_main

    folder = tmp_path_factory.mktemp("kept")
    boards = [f"{name}={PRACTICE / 'game' / name}.jpg" for name in ("isla", "joss", "wren")]
    words = ["tally", table, *boards, "--no-questions", "--league", "Practice"]
    assert run_main(*words, "--out", folder / "out", "--archive", folder / "archive") == 0
    return folder / "archive"


@pytest.fixture
def archive(kept: Path, place: Place, tmp_path: Path) -> Archive:
    """A copy that a test may change, in a folder and on a server."""
    where, photos = place
    if isinstance(where, Path):
        return Archive(Path(shutil.copytree(kept, where)))
    archive = Archive(where, photos=photos)
    export(Archive(kept), tmp_path / "kept.zip")
    import_zip(archive, tmp_path / "kept.zip")
    return archive


def test_a_kept_game_is_proven_and_read_again_as_it_was(archive: Archive, table: Path) -> None:
    results = reread(archive, tasks_of(archive, ANYTHING), Workers(1))

    proof = verify(archive)
    assert (proof.photos, proof.tables, proof.wrong) == (3, 1, [])
    assert archive.store.get(table_file(archive.game(1)["table_sha256"])) == table.read_bytes()
    assert [result.player for result in results] == ["isla", "joss", "wren"]
    assert [result.words for result in results if result.differs] == []


def test_two_processes_read_the_same_as_one(archive: Archive) -> None:
    tasks = tasks_of(archive, ANYTHING)

    assert reread(archive, tasks, Workers(2)) == reread(archive, tasks, Workers(1))


def test_a_dask_cluster_reads_the_same(archive: Archive) -> None:
    distributed = pytest.importorskip("distributed", reason="Dask is not installed")
    tasks = tasks_of(archive, ANYTHING)
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        by_cluster = reread(archive, tasks, Workers(dask=cluster.scheduler_address))

    assert by_cluster == reread(archive, tasks, Workers(1))


def test_a_reread_goes_on_where_it_stopped(archive: Archive, tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    tasks = tasks_of(archive, ANYTHING)
    reread(archive, tasks[:2], Workers(1), log)
    with log.open("a") as file:
        file.write('{"made_by": "cut o')
    seen: list[tuple[int, int]] = []

    results = reread(archive, tasks, Workers(1), log, lambda *done: seen.append(done))

    assert seen == [(2, 3), (3, 3)]
    assert len(results) == 3
    lines = log.read_text().splitlines()
    assert sum(line.endswith("}") for line in lines) == 3


def test_results_of_another_version_are_not_believed(archive: Archive, tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    (task, *_) = tasks_of(archive, ANYTHING)
    old = vars(Reread(task.key, 1, task.player, {"A1": ("moss", "slate")}))
    log.write_text(json.dumps({"made_by": "an older program", **old}) + "\n")

    (result,) = reread(archive, [task], Workers(1), log)

    assert not result.differs


def test_a_photo_without_its_table_is_named(archive: Archive) -> None:
    archive.store.remove(table_file(archive.game(1)["table_sha256"]))

    (result, *_) = reread(archive, tasks_of(archive, ANYTHING)[:1], Workers(1))

    assert result.words == ("Game 1, isla: its table (archive keep-table adds it) is not kept")


def test_the_commands_say_it_all(
    archive: Archive, table: Path, tallyglass: Run, tmp_path: Path
) -> None:
    def ran(*words: str | Path) -> str:
        ended = tallyglass("archive", *words, "--archive", named(archive))
        assert (ended.code, ended.err) == (0, "")
        return ended.out

    assert "isla" in ran("list")
    assert "Practice" in ran("search", "wren", "--league", "practice")
    assert "+" in ran("show", "1")
    assert "All of it is proven." in ran("verify", "--reread", "--jobs", "1")
    assert "3 photos read again, 0 differently." in ran("reread", "--jobs", "1")
    assert "1 game of The Roof at Penmarrow counted again, 0 differently" in ran(
        "rescore", table_sheet()
    )
    renamed = table_sheet().read_text().replace('"copper"', '"bronze"')
    (tmp_path / "renamed.toml").write_text(renamed)
    told = ran("rescore", tmp_path / "renamed.toml")
    assert "0 games of The Roof at Penmarrow counted again, 0 differently" in told
    assert "1 game could not be counted under this sheet." in told
    assert "Written" in ran("standings", "--league", "practice", "--plot", tmp_path / "s.svg")
    ran("standings", "--plot", tmp_path / "s.png")
    assert (tmp_path / "s.svg").read_text().lstrip().startswith("<?xml")
    assert (tmp_path / "s.png").read_bytes().startswith(b"\x89PNG")
    ran("export", tmp_path / "all.zip")
    assert "0 games added, 1 here already." in ran("import", tmp_path / "all.zip")
    ran("csv", tmp_path / "all.csv")
    assert "1 entry copied" in ran("backup", tmp_path / "copy")
    assert "0 games added" in ran("merge", tmp_path / "copy")
    assert "is kept" in ran("keep-table", table)
    (tmp_path / "said.toml").write_text('[isla]\nA1 = "empty"\n')
    said = ("--answers", tmp_path / "said.toml", "--by", "Jo")
    ran("correct", "1", "--reason", "seen", *said, "--league", "B")
    shown = ran("show", "2")
    assert "A correction: seen" in shown
    assert "Jo said of isla's A1: empty" in shown
    assert "Player 7" in ran("pseudonymise", "isla", "Player 7")
    ran("erase-person", "joss")
    ran("erase-photos", archive.game(1)["evening"])
    assert "0 files taken away." in ran("tidy")
    assert "All of it is proven." in ran("verify")


def named(archive: Archive) -> str | Path:
    """What a person writes after --archive."""
    if isinstance(archive.where, Path):
        return archive.where
    return archive.database.engine.url.render_as_string(hide_password=False)


def table_sheet() -> Path:
    return PRACTICE.parents[1] / "sheets" / "penmarrow.toml"


def test_an_archive_that_does_not_hold_ends_with_its_own_code(
    archive: Archive, tallyglass: Run
) -> None:
    (archive.folder / archive.game(1)["boards"][0]["photo_file"]).unlink()

    ended = tallyglass("archive", "verify", "--archive", named(archive))

    assert ended.code == 4
    assert "Wrong: Game 1, photo of isla" in ended.err
    assert ended.out.endswith("Not proven.\n")
