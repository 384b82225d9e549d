"""Tables on the shelf: versions, names, one file to share, and what is refused of strangers."""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from calibrate.errors import TableError
from calibrate.store import load_table, table_bytes
from calibrate.types import Table
from desk.aside import move_aside
from desk.calibrating import put_on_shelf
from desk.given import GivenError
from desk.sheet_cards import Typed, with_card
from desk.shelf import Shelf, ShelfError
from desk.table_file import MANIFEST, packed_table, take_in, unpacked_table
from desk.table_sheet import fits, with_sheet
from scoring.sheet import parse_sheet
from tests.desk.practice import PRACTICE, Run

Parts = dict[str, bytes]


@pytest.fixture(scope="module")
def known(table: Path) -> Table:
    return replace(load_table(table), name="Kitchen")


@pytest.fixture(scope="module")
def packed(known: Table) -> bytes:
    return packed_table(known, "Kitchen")


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path / "tables")


def brighter(table: Table) -> Table:
    """Another calibration of the same table."""
    return replace(table, palette=replace(table.palette, exposure=table.palette.exposure * 1.1))


def parts_of(data: bytes) -> Parts:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(parts: Parts) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def test_a_new_calibration_of_a_name_keeps_the_older_one(shelf: Shelf, known: Table) -> None:
    first = shelf.put(known)
    second = shelf.put(replace(brighter(known), name="kitchen"))

    assert (first.number, second.number) == (1, 2)
    assert [one.path for one in shelf.tables()] == [second.path]
    assert first.path.read_bytes() == table_bytes(known)
    assert shelf.latest("KITCHEN").sha256 == second.sha256


def test_an_older_version_is_brought_back_and_none_is_lost(shelf: Shelf, known: Table) -> None:
    first, second = shelf.put(known), shelf.put(brighter(known))
    third = shelf.bring_back("Kitchen", 1)

    assert [one.sha256 for one in shelf.history("Kitchen")] == [
        first.sha256,
        second.sha256,
        first.sha256,
    ]
    assert third.number == 3
    with pytest.raises(ShelfError, match="version 3 is the one that is used already"):
        shelf.bring_back("Kitchen", 3)
    with pytest.raises(ShelfError, match="has versions 1 to 3, not 9"):
        shelf.bring_back("Kitchen", 9)


def test_a_renamed_table_keeps_its_versions_and_its_files(shelf: Shelf, known: Table) -> None:
    before = [shelf.put(known), shelf.put(brighter(known))]
    shelf.rename("kitchen", "Café upstairs")
    after = shelf.history("café upstairs")

    assert [one.path for one in after] == [one.path for one in before]
    assert [one.sha256 for one in after] == [one.sha256 for one in before]
    assert shelf.bring_back("Café upstairs", 1).name == "Café upstairs"
    with pytest.raises(ShelfError, match=r"no table of this name on the shelf \(Café upstairs\)"):
        shelf.latest("Kitchen")


def test_two_tables_never_bear_one_name(shelf: Shelf, known: Table) -> None:
    shelf.put(known)
    shelf.put(replace(known, name="Hall"))

    with pytest.raises(ShelfError, match="kitchen: another table has this name"):
        shelf.rename("Hall", "kitchen")


def test_a_damaged_file_is_told_and_hides_no_other(shelf: Shelf, known: Table) -> None:
    shelf.put(known)
    (shelf.folder / "broken.table").write_bytes(b"PK nothing")

    assert [one.name for one in shelf.tables()] == ["Kitchen"]
    assert "broken.table" in shelf.damaged()[0]


def test_a_shared_table_comes_back_equal(known: Table, packed: bytes, shelf: Shelf) -> None:
    one = take_in(shelf, packed, "gift.table")

    assert packed == packed_table(known, "Kitchen")
    assert one.path.read_bytes() == table_bytes(known)
    assert sorted(json.loads(parts_of(packed)[MANIFEST])["sha256"]) == [
        "artwork.png",
        "known.png",
        "sheet.toml",
        "table.json",
    ]


def test_a_strangers_table_never_takes_a_names_place(
    known: Table, packed: bytes, shelf: Shelf
) -> None:
    shelf.put(brighter(known))

    with pytest.raises(ShelfError, match="you have a table Kitchen already"):
        take_in(shelf, packed, "gift.table")
    assert take_in(shelf, packed, "gift.table", "Gift").name == "Gift"
    with pytest.raises(ShelfError, match="is here already, as Gift, version 1"):
        take_in(shelf, packed, "gift.table", "Gift")


def huge_png() -> bytes:
    """A PNG of a few hundred bytes that claims 60,000 x 60,000 pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(99)))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda p: p | {"../../evil.sh": b"x"}, "has a part '../../evil.sh' that no table has"),
        (lambda p: p | {"/etc/passwd": b"x"}, "that no table has"),
        (lambda p: p | {"run.exe": b"MZ"}, "that no table has"),
        (lambda p: p | {"known.png": bytes(50_000_000)}, "packed too tightly to be ours"),
        (lambda p: p | {"known.png": bytes(60_000_001)}, "unpacks to too much"),
        (lambda p: p | {"artwork.png": huge_png()}, r"damaged on its way \(artwork.png\)"),
        (lambda p: p | {"sheet.toml": p["sheet.toml"] + b"\n"}, r"on its way \(sheet.toml\)"),
        (lambda p: p | {MANIFEST: b"[]"}, "has a manifest that cannot be read"),
        (lambda p: {k: v for k, v in p.items() if k != "known.png"}, "lacks its part known.png"),
        (lambda p: {"artwork.png": huge_png()} | {k: v for k, v in p.items() if k not in (
            MANIFEST, "artwork.png")}, "is not a table file, or is damaged"),
    ],
)  # fmt: skip
def test_hostile_files_are_refused_and_leave_nothing(
    change: Callable[[Parts], Parts], said: str, packed: bytes, shelf: Shelf, tmp_path: Path
) -> None:
    data = zipped(change(parts_of(packed)))
    with pytest.raises(TableError, match=said):
        take_in(shelf, data, "gift.table")

    assert list(tmp_path.rglob("*")) == []


@pytest.mark.parametrize("figure", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_figure_that_is_no_number_is_refused(figure: str, packed: bytes) -> None:
    parts = parts_of(packed)
    del parts[MANIFEST]
    text = parts["table.json"].decode()
    parts["table.json"] = re.sub(r'"unrest": [\d.e-]+', f'"unrest": {figure}', text).encode()
    with pytest.raises(TableError, match=r"a number that is none \(-?(nan|inf) in palette.unrest"):
        unpacked_table(zipped(parts), "gift.table")


def test_other_files_are_no_tables(shelf: Shelf) -> None:
    for data in (b"", b"PK\x03\x04", (PRACTICE / "empty-1.jpg").read_bytes()):
        with pytest.raises(TableError, match="is no table file, or is damaged"):
            take_in(shelf, data, "gift.table")


def test_the_commands_do_it_all(
    tallyglass: Run, table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    data = ("--data", tmp_path / "home" / "tallyglass" / "desk")
    assert "There is no table" in tallyglass("table", "list").out
    taken = tallyglass("table", "import", table, "--name", "Kitchen", *data)
    assert (taken.code, "learned with its maker's phone" in taken.out) == (0, True)
    assert tallyglass("table", "rename", "kitchen", "Hall").code == 0
    assert tallyglass("table", "list").out.startswith("Hall: The Roof at Penmarrow (version 1")
    assert "sha256" in tallyglass("table", "history", "hall").out
    assert "is the one that is used" in tallyglass("table", "back", "Hall", "1").err
    shared = tallyglass("table", "export", "Hall", tmp_path / "hall.table")
    assert re.search(r"sha256 [0-9a-f]{64}", shared.out)
    read = tallyglass("read", "hall", PRACTICE / "game" / "joss.jpg")
    assert read.code == 0, read.err
    nowhere = tallyglass("read", "cellar", PRACTICE / "game" / "joss.jpg")
    assert nowhere.err == "cellar: there is no table of this name on the shelf (Hall).\n"


def test_calibrating_again_to_a_file_keeps_the_older_file(known: Table, tmp_path: Path) -> None:
    path = tmp_path / "roof.table"
    assert move_aside(path) is None
    for number in (1, 2):
        path.write_bytes(table_bytes(known))
        older = move_aside(path)

        assert older == tmp_path / f"roof.older-{number}.table"
        assert load_table(older).name == "Kitchen"


def test_calibrate_puts_a_name_on_the_shelf(
    known: Table, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    first, second = put_on_shelf(known), put_on_shelf(brighter(known))

    assert first == "Kitchen: the table for The Roof at Penmarrow is learned and on the shelf."
    assert second.endswith("Version 1 is kept; `table back` uses it again.")
    assert len(Shelf(tmp_path / "tallyglass" / "desk" / "tables").history("kitchen")) == 2


def test_a_table_is_given_new_cards_and_keeps_what_it_learned(
    tallyglass: Run, known: Table, tmp_path: Path
) -> None:
    shelf = Shelf(tmp_path / "tables")
    shelf.put(known)
    sheet = tmp_path / "game.toml"
    sheet.write_text(with_card(known.sheet.text, Typed("Long Row", 4, "M M M M")))
    ended = tallyglass("table", "sheet", "Kitchen", sheet, "--data", tmp_path)
    now = shelf.table("Kitchen")

    assert ended.code == 0, ended.err
    assert "as version 2" in ended.out
    assert now.sheet.cards[-1].name == "Long Row"
    assert now.palette.samples.tolist() == known.palette.samples.tolist()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("gap_mm = 1.0", "gap_mm = 1.5", "another board"),
        ('name = "moss"', 'name = "mud"', "other colours"),
        ("piece_height_mm = 2.8", "piece_height_mm = 9.0", "another board"),
    ],
)
def test_a_table_of_other_things_is_not_given_a_sheet(
    known: Table, old: str, new: str, said: str
) -> None:
    sheet = parse_sheet(known.sheet.text.replace(old, new))

    assert not fits(known.sheet, sheet)
    with pytest.raises(GivenError, match=f"was learned for {said}"):
        with_sheet(known, sheet)
