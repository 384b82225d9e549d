import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from samples.bench_folder import Plan, write_bench_folder
from samples.invent import sheet_marks
from samples.kits import invent_kit, sheet_kit
from samples.penmarrow import PHOTOS, load_penmarrow
from samples.practice import CAFE, main, write_practice
from scoring.grid import parse_grid
from scoring.legality import check_supply, floating_pieces
from scoring.tally import tally

SMALL = replace(CAFE, size_px=(320, 240), supersample=1.0)
NAMES = [
    "claims.toml", "empty-1.jpg", "empty-2.jpg", "game/isla.jpg", "game/joss.jpg", "game/wren.jpg",
    "layout-1.jpg", "layout-2.jpg", "layout.txt", "mid-game.jpg", "truth.json",
]  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("practice")
    write_practice(made, load_penmarrow(), 12, light=SMALL)
    return made


def names_in(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.*"))


def test_a_practice_folder_is_complete(folder: Path) -> None:
    assert names_in(folder) == NAMES


def test_the_committed_photos_are_there_and_small() -> None:
    sizes = [path.stat().st_size for path in PHOTOS.rglob("*.jpg")]

    assert names_in(PHOTOS) == sorted([*NAMES, "README.md"])
    assert sum(sizes) < 1_500_000
    assert {_stored(path)[0] for path in PHOTOS.rglob("*.jpg")} == {(1200, 900)}


def test_the_committed_game_is_the_one_its_seed_still_draws(folder: Path) -> None:
    made, kept = (json.loads((f / "truth.json").read_text()) for f in (folder, PHOTOS))

    assert made["grids"] == kept["grids"]
    assert (folder / "layout.txt").read_text() == (PHOTOS / "layout.txt").read_text()
    assert (folder / "claims.toml").read_text() == (PHOTOS / "claims.toml").read_text()


def test_the_committed_game_is_close_and_one_claim_in_it_is_false() -> None:
    sheet = load_penmarrow()
    texts = json.loads((PHOTOS / "truth.json").read_text())["grids"]
    grids = {player: parse_grid(text, sheet) for player, text in texts.items()}
    claims = tomllib.loads((PHOTOS / "claims.toml").read_text())
    result = tally(sheet, grids, claims)
    totals = [player.total for player in result.players]
    missed = [line for p in result.players for line in p.lines if line.note == "not complete"]

    assert max(totals) - min(totals) <= 2
    assert len(result.winners) == 1
    assert len(missed) == 1
    assert check_supply(sheet, grids) == []
    assert [floating_pieces(sheet, grid) for grid in grids.values()] == [(), (), ()]


def test_the_committed_photos_show_something_to_ask_about() -> None:
    photos = json.loads((PHOTOS / "truth.json").read_text())["photos"]
    shaded = {photos[name]["labels"][cell] for name in photos for cell in photos[name]["shaded"]}

    assert photos["game/joss.jpg"]["under_cover"]
    assert {"rust", "copper"} <= shaded


def test_layout_text_and_truth_agree(folder: Path) -> None:
    layout = parse_grid((folder / "layout.txt").read_text(), load_penmarrow())
    photos = json.loads((folder / "truth.json").read_text())["photos"]

    assert photos["layout-1.jpg"]["labels"] == photos["layout-2.jpg"]["labels"] == dict(layout)
    assert set(photos["empty-1.jpg"]["labels"].values()) == {"empty"}


def test_a_bench_folder_has_what_the_bench_reads(tmp_path: Path) -> None:
    plan = Plan(empties=1, layouts=1, games=1, moved_games=1, long_side_px=320)
    kit = invent_kit(5)
    write_bench_folder(tmp_path / "made", kit, 5, plan)
    table, colours, photos = (
        json.loads((tmp_path / "made" / f"{name}.json").read_text())
        for name in ("table", "components", "photos")
    )

    assert [p["role"] for p in photos] == ["empty", "layout", "game", "game"]
    assert [p["split"] for p in photos] == ["same-light"] * 3 + ["moved-light"]
    assert photos[1]["cells"] == table["layout"]
    assert colours == {"table": "made", "colours": table["colours"]}
    for photo in photos:
        assert sorted(photo["cell_centres_px"]) == sorted(cell["id"] for cell in table["cells"])
        assert _upright_size(tmp_path / "made" / "photos" / photo["file"]) == photo["size_px"]
        assert _inside(np.array(photo["board_corners_px"]), photo["size_px"])


def _upright_size(path: Path) -> list[int]:
    (width, height), orientation = _stored(path)
    return [height, width] if orientation in (6, 8) else [width, height]


def _stored(path: Path) -> tuple[tuple[int, int], int]:
    """Size of the picture as it is stored, and its EXIF orientation."""
    with Image.open(path) as image:
        return image.size, image.getexif().get(0x0112, 1)


def _inside(points: np.ndarray, size: list[int]) -> bool:
    return bool((points > 0).all() and (points < np.array(size)).all())


def test_the_command_writes_as_many_tables_as_asked(tmp_path: Path) -> None:
    main([str(tmp_path), "--seed", "2", "--tables", "1", "--games", "1", "--long-side", "160"])

    assert len(list(tmp_path.glob("made-2000-*/photos.json"))) == 1


def test_a_game_can_be_photographed_on_the_printing_without_marks() -> None:
    sheet = load_penmarrow()

    assert [mark.id for mark in sheet_marks(sheet)] == [4, 5, 6, 7]
    assert sheet_kit(sheet, 1, False).board.marks == ()
