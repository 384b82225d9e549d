"""A table's file: the same table back, the same bytes again, and no damage goes unnoticed."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from calibrate.errors import TableError
from calibrate.judge import trust
from calibrate.store import load_table, table_bytes, table_from_bytes
from calibrate.types import Table
from scoring.errors import TallyglassError
from vision.read import read_photo
from vision.report import reading_json
from vision.types import Photo

Parts = dict[str, bytes]


@pytest.fixture(scope="module")
def data(penmarrow_table: Table) -> bytes:
    return table_bytes(penmarrow_table)


def parts_of(data: bytes) -> Parts:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(parts: Parts) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def with_json(data: bytes, change: Callable[[dict[str, Any]], object]) -> bytes:
    """The file with something changed in its table.json."""
    parts = parts_of(data)
    plain = json.loads(parts["table.json"])
    change(plain)
    return zipped(parts | {"table.json": json.dumps(plain).encode()})


def assert_refused(data: bytes, where: str = "roof.table") -> TableError:
    with pytest.raises(TableError) as refused:
        table_from_bytes(data, where)

    assert str(refused.value) == f"{where}: {refused.value.reason}"
    assert refused.value.reason.endswith(".")
    return refused.value


def test_a_saved_table_comes_back_equal(
    penmarrow_table: Table, data: bytes, tmp_path: Path
) -> None:
    (tmp_path / "roof.table").write_bytes(data)
    back = load_table(tmp_path / "roof.table")

    assert back.name == penmarrow_table.name
    assert back.sheet.text == penmarrow_table.sheet.text
    assert back.sheet.colours == penmarrow_table.sheet.colours
    assert sorted(back.marks) == sorted(penmarrow_table.marks)
    for mark, corners in penmarrow_table.marks.items():
        np.testing.assert_array_equal(back.marks[mark], corners)
    _assert_same(vars(back.artwork), vars(penmarrow_table.artwork))
    _assert_same(vars(back.palette), vars(penmarrow_table.palette))


def _assert_same(one: dict[str, Any], other: dict[str, Any]) -> None:
    assert one.keys() == other.keys()
    for name, value in other.items():
        np.testing.assert_array_equal(one[name], value, err_msg=name)


def test_a_table_packed_twice_or_loaded_and_packed_again_gives_the_same_bytes(
    penmarrow_table: Table, data: bytes
) -> None:
    assert table_bytes(penmarrow_table) == data
    assert table_bytes(table_from_bytes(data, "roof.table")) == data


def test_what_a_table_could_not_check_comes_back(penmarrow_table: Table) -> None:
    told = replace(penmarrow_table, limits=("Compare A1 and B2 by eye.",))
    back = table_from_bytes(table_bytes(told), "roof.table")

    assert back.limits == told.limits
    assert trust(back)[-1] == "Compare A1 and B2 by eye."


def test_a_loaded_table_reads_like_the_one_that_was_saved(
    penmarrow_table: Table, data: bytes, penmarrow_games: dict[str, Photo]
) -> None:
    photo = penmarrow_games["game/joss.jpg"]
    once = reading_json(read_photo(photo, penmarrow_table))
    again = reading_json(read_photo(photo, table_from_bytes(data, "roof.table")))

    assert once["cells"] == again["cells"]
    assert once["board_corners_px"] == again["board_corners_px"]


def test_a_table_file_is_open_formats_only(data: bytes) -> None:
    parts = parts_of(data)

    assert sorted(parts) == ["artwork.png", "known.png", "sheet.toml", "table.json"]
    assert cv2.imdecode(np.frombuffer(parts["artwork.png"], np.uint8), 1) is not None
    assert b"The Roof at Penmarrow" in parts["sheet.toml"]
    assert json.loads(parts["table.json"])["format"] == 1


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"missing\.table: cannot be read \(No such file"):
        load_table(tmp_path / "missing.table")


def test_a_folder_is_no_table(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="cannot be read"):
        load_table(tmp_path)


@pytest.mark.parametrize(
    "other", [b"", b"PK", b"name = 'a sheet'\n", b"\xff\xd8\xff\xe0" * 20, bytes(1000)]
)
def test_another_kind_of_file_is_no_table(other: bytes) -> None:
    refused = assert_refused(other)

    assert refused.reason == "is not a table file, or is damaged; calibrate again."


@pytest.mark.parametrize("tenth", range(10))
def test_a_table_cut_short_is_refused(tenth: int, data: bytes) -> None:
    assert_refused(data[: len(data) * tenth // 10])


@pytest.mark.parametrize("part", ["table.json", "sheet.toml", "artwork.png", "known.png"])
def test_a_table_without_one_of_its_parts_is_refused(part: str, data: bytes) -> None:
    parts = parts_of(data)
    del parts[part]

    assert_refused(zipped(parts))


@pytest.mark.parametrize("part", ["table.json", "artwork.png", "known.png"])
@pytest.mark.parametrize("content", [b"", b"\0" * 64, b"[1, 2]", b"null", b"\xff\xfe"])
def test_a_table_with_a_spoilt_part_is_refused(part: str, content: bytes, data: bytes) -> None:
    assert_refused(zipped(parts_of(data) | {part: content}))


def test_a_table_of_another_format_says_to_calibrate_again(data: bytes) -> None:
    refused = assert_refused(with_json(data, lambda plain: plain.update(format=99)))

    assert refused.reason == "is of format 99; calibrate the table again."


@pytest.mark.parametrize(
    "change",
    [
        lambda plain: plain.pop("palette"),
        lambda plain: plain.pop("artwork"),
        lambda plain: plain.update(limits=7),
        lambda plain: plain["palette"].update(unrest=float("nan")),
        lambda plain: plain["palette"]["samples"][0].__setitem__(1, float("inf")),
        lambda plain: plain["palette"]["exposure"].__setitem__(0, -1.0),
        lambda plain: plain.update(marks=[1, 2]),
        lambda plain: plain.update(marks={"one": [[0, 0]]}),
        lambda plain: plain.update(marks={"1": [[0, 0], [1, 0]]}),
        lambda plain: plain.update(palette="red"),
        lambda plain: plain.update(palette=None),
        lambda plain: plain["palette"].update(colours=7),
        lambda plain: plain["palette"].update(samples=[[1, 2]]),
        lambda plain: plain["palette"].update(samples="none"),
        lambda plain: plain["palette"].update(structure=[1.0]),
        lambda plain: plain["palette"].update(unrest="calm"),
        lambda plain: plain["palette"].update(veil_scale=None),
        lambda plain: plain["palette"]["exposure"].pop(),
        lambda plain: plain["palette"]["empty"].pop(),
        lambda plain: plain["palette"]["veils"].pop(),
        lambda plain: plain["palette"]["colours"].pop(),
        lambda plain: plain["palette"]["colours"].__setitem__(0, "ultraviolet"),
        lambda plain: plain["artwork"].update(px_per_mm="many"),
        lambda plain: plain["artwork"].update(origin_mm=[0.0]),
        lambda plain: plain["artwork"].pop("frame_error_mm"),
    ],
)
def test_figures_that_do_not_fit_together_are_refused(
    change: Callable[[dict[str, Any]], object], data: bytes
) -> None:
    assert_refused(with_json(data, change))


def test_artwork_whose_two_pictures_differ_in_size_is_refused(data: bytes) -> None:
    small = cv2.imencode(".png", np.full((40, 50), 255, np.uint8))[1].tobytes()

    assert_refused(zipped(parts_of(data) | {"known.png": small}))


def test_a_sheet_of_another_board_is_refused(data: bytes) -> None:
    parts = parts_of(data)
    sheet = parts["sheet.toml"].replace(
        b"rows = [6, 7, 6, 7, 6, 7, 6]", b"rows = [6, 7, 6, 7, 6, 7]"
    )

    assert sheet != parts["sheet.toml"]
    assert_refused(zipped(parts | {"sheet.toml": sheet}))


def test_a_spoilt_sheet_is_refused_naming_file_and_part(data: bytes) -> None:
    parts = parts_of(data)
    with pytest.raises(TallyglassError, match=r"^roof\.table: sheet\.toml"):
        table_from_bytes(zipped(parts | {"sheet.toml": b"colours = 3"}), "roof.table")


def test_a_part_that_unpacks_to_a_flood_is_refused(data: bytes) -> None:
    flood = zipped(parts_of(data) | {"known.png": bytes(60_000_001)})
    refused = assert_refused(flood)

    assert len(flood) < 2 * len(data)
    assert refused.reason == "holds a known.png too large to be a table's."


def test_whichever_byte_is_damaged_it_is_refused_or_harmless(data: bytes) -> None:
    """Thirty places all over the file, and every third byte of its directory at the end."""
    size = len(data)
    for place in [*range(0, size - 300, size // 30), *range(size - 300, size, 3)]:
        spoilt = bytearray(data)
        spoilt[place] ^= 0x5A
        try:
            table = table_from_bytes(bytes(spoilt), "roof.table")
        except TableError:
            continue

        assert table_bytes(table) == data, place
