"""What the stages cost as photo, board and colours grow; `speed.py --picture` draws it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import matplotlib as mpl
import numpy as np

mpl.use("Agg")

from matplotlib import pyplot as plt

from calibrate.learn import calibrate
from samples.conditions import Conditions
from samples.kits import Kit, sheet_kit
from samples.photographer import take_photo
from samples.practice import CAFE
from scoring.sheet import GameSheet, parse_sheet
from tests.bench.speed import medians_s, stages
from vision.decode import load_photo

COLOURS = ("moss", "rust", "slate", "bone", "plum", "sky", "indigo", "sun", "rose", "mint")
MEGAPIXELS = (1, 3, 6, 12, 24, 48)
SIDES = (4, 6, 8, 11, 15)
"""Cells along each side of a square board."""

NUMBERS = (2, 4, 6, 8, 10)
ROUNDS = 9
USUAL = (12.0, 7, 5)
"""Megapixels, side, colours of what stays the same."""


@dataclass(frozen=True)
class Case:
    """One photo's size, its board's side in cells, and how many colours there are."""

    megapixels: float = USUAL[0]
    side: int = USUAL[1]
    colours: int = USUAL[2]


def sheet_of(case: Case) -> GameSheet:
    """A plain square board with corner marks on it."""
    far = 2 * 20.0 + 22.0 * case.side
    near, wide = 3.0, 12.5
    places = [(near, near), (far - near - wide, near), (far - near - wide, far - near - wide)]
    lines = [
        'name = "Plain"',
        "[board]",
        'kind = "square"',
        f"rows = {case.side}\ncolumns = {case.side}",
        "pitch_mm = 22.0\ngap_mm = 1.0\nmargin_mm = 20.0\npiece_height_mm = 2.8",
        "anchors = { all = true }",
    ]
    for number, (x, y) in enumerate([*places, (near, far - near - wide)]):
        corners = [[x, y], [x + wide, y], [x + wide, y + wide], [x, y + wide]]
        lines.append(f"[[marks]]\nid = {number}\ncorners_mm = {corners}")
    for number, name in enumerate(COLOURS[: case.colours]):
        letter = "ABCDEFGHIJ"[number]
        lines.append(f'[[colours]]\nname = "{name}"\nletter = "{letter}"\nsupply = 300')
    lines.append('[[rules]]\nkind = "groups"\nlabel = "groups"\nmin_size = 2\neach = 1')
    return parse_sheet("\n".join(lines))


def shot(kit: Kit, grid: Mapping[str, str], light: Conditions, seed: int) -> bytes:
    """A photo file."""
    return take_photo(kit.board, grid, light, np.random.default_rng(seed)).jpeg()


def cost(case: Case) -> dict[str, float]:
    """Median ms of each stage on one photo, warm, of a table that was learned from two."""
    sheet = sheet_of(case)
    kit = sheet_kit(sheet, 5)
    width = round((case.megapixels * 1e6 * 4 / 3) ** 0.5)
    light = replace(CAFE, tilt_deg=8.0, supersample=1.0)
    small = replace(light, size_px=(2016, 1512))
    rng = np.random.default_rng(1)
    layout, final = kit.layout(rng), kit.layout(rng)
    empty = dict.fromkeys(sheet.lattice.neighbours, "empty")
    photos = [load_photo(shot(kit, grid, small, 2), "known") for grid in (empty, layout)]
    table = calibrate("plain", sheet, photos[:1], [(photos[1], layout)], trust_plan=True)
    photo = shot(kit, final, replace(light, size_px=(width, width * 3 // 4)), 3)
    return {stage: 1000 * s for stage, s in medians_s(stages(photo, table), ROUNDS, False).items()}


def draw_costs(path: Path) -> None:
    """Three plots side by side, one for each thing that grows; the figures are printed as well."""
    plots: list[tuple[str, Sequence[float], list[dict[str, float]]]] = [
        ("megapixels", MEGAPIXELS, [cost(Case(megapixels=mp)) for mp in MEGAPIXELS]),
        ("cells", [side**2 for side in SIDES], [cost(Case(side=side)) for side in SIDES]),
        ("colours", NUMBERS, [cost(Case(colours=number)) for number in NUMBERS]),
    ]
    figure, axes = plt.subplots(1, 3, figsize=(13, 4.2), constrained_layout=True)
    for axis, (name, values, costs) in zip(axes, plots, strict=True):
        for stage in costs[0]:
            took = [one[stage] for one in costs]
            print(name, stage, *(f"{v}: {ms:.1f} ms" for v, ms in zip(values, took, strict=True)))
            axis.plot(values, took, "o-", label=stage.replace("_", " "), linewidth=1.2)
        axis.set(xlabel=name, ylabel="ms, median of 9", ylim=(0, None))
        axis.grid(alpha=0.3)
    axes[0].legend(fontsize=8)
    figure.savefig(path, dpi=130)
