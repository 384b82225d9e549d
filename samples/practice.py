"""Practice folders, made from a seed.

``python -m samples.practice OUT --seed 7 --tables 4`` writes four invented tables for the
accuracy bench; ``python -m samples.practice OUT --sheet game.toml`` photographs one whole game
of a sheet.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from samples.bench_folder import Plan, write_bench_folder
from samples.board import Board
from samples.conditions import Conditions, HandShadow, Lamp
from samples.game import Game, draw_game
from samples.grids import full_box, random_board
from samples.kits import invent_kit, sheet_kit, with_strip
from samples.photographer import Shot, Truth, empty_grid, take_photo
from scoring.grid import format_grid
from scoring.sheet import GameSheet, load_sheet

CAFE = Conditions(
    size_px=(1200, 900),
    lamps=(
        Lamp("daylight", 0.42, (-900.0, -300.0, 700.0), 260.0),
        Lamp("bulb", 0.3, (260.0, -330.0, 620.0), 55.0),
    ),
    ambient=("led-warm", 0.28),
    gloss=0.45,
    wear=0.035,
    tabletop="wood",
    tabletop_seed=5,
    phone_nm=2.0,
    jpeg_quality=85,
)
"""A window on the left, a pendant lamp near the board on the right, warm lamps all round."""

PENMARROW_PRINT = 110
"""Seed of the art that is printed on Penmarrow's board: brick, with slates in the cells."""

PLAYERS = ("Isla", "Joss", "Wren")


@dataclass(frozen=True)
class Stand:
    """How one photo of a practice game differs from the next: tilt, turn, roll (deg) and reach."""

    tilt_deg: float
    turn_deg: float
    roll_deg: float
    reach: float
    k1: float = 0.012


STANDS: Mapping[str, Stand] = {
    "empty-1": Stand(4.0, 2.0, -1.0, 0.9),
    "empty-2": Stand(19.0, -6.0, 2.0, 0.88),
    "layout-1": Stand(6.0, -3.0, 1.0, 0.9),
    "layout-2": Stand(22.0, 8.0, -2.0, 0.86),
}


def write_practice(
    folder: Path,
    sheet: GameSheet,
    seed: int,
    *,
    players: Sequence[str] = PLAYERS,
    marks: bool | None = None,
    light: Conditions = CAFE,
    print_seed: int = PENMARROW_PRINT,
) -> None:
    """Photograph one whole game: the empty board, a known layout, and every player's final board.

    Writes ``empty-N.jpg``, ``layout-N.jpg``, ``layout.txt``, ``game/<player>.jpg``,
    ``mid-game.jpg`` (a board half laid), ``claims.toml`` and ``truth.json``.
    ``marks`` is False for the printing without corner marks.
    """
    for_layout, for_game, rng = (np.random.default_rng([seed, part]) for part in range(3))
    kit = sheet_kit(sheet, print_seed, marks)
    layout = kit.layout(for_layout)
    game = draw_game(sheet, for_game, players)
    grids = {"empty": empty_grid(kit.board), "layout": layout}
    shots: dict[str, Shot] = {}
    for name, stand in STANDS.items():
        conditions = replace(light, **asdict(stand))
        shots[f"{name}.jpg"] = take_photo(kit.board, grids[name.split("-")[0]], conditions, rng)
    shots["mid-game.jpg"] = mid_game(sheet, kit.board, light, np.random.default_rng([seed, 3]))
    for number, (player, grid) in enumerate(game.grids.items()):
        conditions = game_conditions(light, number, rng)
        shots[f"game/{player.lower()}.jpg"] = take_photo(kit.board, grid, conditions, rng)
    save_practice(folder, sheet, shots, game, format_grid(layout, sheet))


def mid_game(sheet: GameSheet, board: Board, light: Conditions, rng: np.random.Generator) -> Shot:
    """Photograph a board that is half laid, as a host does who explains the game."""
    cells = len(sheet.lattice.cells)
    grid = random_board(
        sheet.lattice, full_box(sheet), rng, pieces=cells // 2, support=sheet.support, clump=0.42
    )
    conditions = replace(light, tilt_deg=15.0, turn_deg=9.0, roll_deg=-2.0, reach=0.9)
    return take_photo(board, grid, conditions, rng)


def game_conditions(light: Conditions, number: int, rng: np.random.Generator) -> Conditions:
    """Return how the photo of the player in this seat is taken: in haste, with an arm in the light.

    In every third photo from the second on, a die lies on the board.
    """
    shadow = HandShadow(
        tip_mm=(float(rng.uniform(-20, 50)), float(rng.uniform(-10, 40))),
        from_deg=float(rng.uniform(-30, 70)),
        half_width_mm=float(rng.uniform(24, 34)),
        softness_mm=float(rng.uniform(10, 22)),
        depth=float(rng.uniform(0.5, 0.68)),
    )
    return replace(
        light,
        tilt_deg=float(rng.uniform(14, 30)),
        turn_deg=float(rng.uniform(-18, 18)),
        roll_deg=float(rng.normal(0, 3)),
        reach=float(rng.uniform(0.86, 0.94)),
        k1=float(rng.normal(0.0, 0.02)),
        shadows=(shadow,) if number % 3 != 0 else (),
        dice=int(number % 3 == 1),
        loose=int(rng.integers(1, 4)),
        exposure_ev=float(rng.normal(0, 0.2)),
        noise=0.009,
        blur_px=float(rng.uniform(0.6, 0.9)),
    )


def save_practice(
    folder: Path, sheet: GameSheet, shots: Mapping[str, Shot], game: Game, layout: str
) -> None:
    """Write the photos and what is true of them."""
    (folder / "game").mkdir(parents=True, exist_ok=True)
    for name, shot in shots.items():
        (folder / name).write_bytes(shot.jpeg())
    truth = {
        "sheet": sheet.name,
        "photos": {name: truth_record(shot.truth) for name, shot in shots.items()},
        "grids": {player: format_grid(grid, sheet) for player, grid in game.grids.items()},
    }
    (folder / "layout.txt").write_text(layout, "utf-8")
    (folder / "claims.toml").write_text(claims_text(game), "utf-8")
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", "utf-8")


def truth_record(truth: Truth) -> dict[str, object]:
    """Return a photo's truth as it stands in ``truth.json``."""
    return asdict(truth)


def claims_text(game: Game) -> str:
    """Return the claims as TOML, a line a player."""
    lines = [f"{player} = {json.dumps(list(cards))}" for player, cards in game.claims.items()]
    return "# The cards that each player says are complete.\n" + "\n".join(lines) + "\n"


def main(arguments: Sequence[str] | None = None) -> None:
    """Write practice folders as asked on the command line."""
    parser = argparse.ArgumentParser(prog="python -m samples.practice", description=__doc__)
    parser.add_argument("out", type=Path, help="folder to write")
    parser.add_argument("--seed", type=int, default=7, help="same seed, same photos")
    parser.add_argument("--tables", type=int, default=4, help="invented tables for the bench")
    parser.add_argument("--games", type=int, default=10, help="game photos of each, same light")
    parser.add_argument(
        "--difficulty", type=float, default=0.6, help="0 (kind) to 1 (a bad evening)"
    )
    parser.add_argument("--long-side", type=int, default=1600, help="long side of a photo in px")
    parser.add_argument("--sheet", type=Path, help="photograph one game of this sheet instead")
    parser.add_argument("--strip", action="store_true", help="a key strip beside each made board")
    parser.add_argument("--no-marks", action="store_true", help="the printing without corner marks")
    asked = parser.parse_args(arguments)
    if asked.sheet:
        sheet = load_sheet(asked.sheet)
        write_practice(asked.out, sheet, asked.seed, marks=False if asked.no_marks else None)
        return
    plan = Plan(
        games=asked.games,
        moved_games=max(1, asked.games * 2 // 5),
        difficulty=asked.difficulty,
        long_side_px=asked.long_side,
    )
    for number in range(asked.tables):
        seed = 1000 * asked.seed + number
        kit = with_strip(invent_kit(seed), seed) if asked.strip else invent_kit(seed)
        write_bench_folder(asked.out / f"made-{seed}-{kit.lattice.kind}", kit, seed, plan)


if __name__ == "__main__":
    main()
