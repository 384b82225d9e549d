"""The command ``sheet colours``: names and letters from single pieces in a row."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

from desk.colour_naming import likenesses, names_for
from samples.finish import encode
from tests.desk.practice import Run
from tests.vision.test_spread import spread_of
from vision.colour import lab_from_linear, linear_from_srgb

SHEET = Path("samples/sheets/penmarrow.toml")
ROW = ["moss", "plum", "slate", "lichen"]


def test_single_pieces_are_lettered_from_left_to_right(tallyglass: Run, tmp_path: Path) -> None:
    shot = spread_of(ROW, "plain", 3)
    photo, out = tmp_path / "row.jpg", tmp_path / "row.png"
    photo.write_bytes(encode(shot.pixels, 92))
    order = np.argsort([x for x, _ in shot.spots_px])
    names = [shot.colours[k] for k in order]
    ended = tallyglass("sheet", "colours", SHEET, photo, "--names", ",".join(names), "--out", out)
    told = tomllib.loads(ended.out[ended.out.index("[[colours]]") :])["colours"]

    assert ended.code == 0, ended.err
    assert [one["name"] for one in told] == names
    assert len({one["letter"] for one in told}) == len(names)
    assert out.stat().st_size > 10_000


def test_too_few_names_are_refused_with_the_number_seen(tallyglass: Run, tmp_path: Path) -> None:
    photo = tmp_path / "row.jpg"
    photo.write_bytes(encode(spread_of(ROW, "plain", 3).pixels, 92))
    ended = tallyglass(
        "sheet", "colours", SHEET, photo, "--names", "moss,rust", "--out", tmp_path / "row.png"
    )

    assert ended.code == 2
    assert "names 2 colours; 4 pieces are seen" in ended.err


def test_names_proposed_differ_and_near_pairs_are_told() -> None:
    greens = np.array([[111, 130, 72], [113, 131, 74], [106, 58, 90]], np.uint8)
    lab = lab_from_linear(linear_from_srgb(greens))
    names = names_for(lab)

    assert names[0] == "moss"
    assert names[2] == "plum"
    assert len(set(names)) == 3
    assert [line.split(" look")[0] for line in likenesses(names, lab)] == [f"moss and {names[1]}"]
