"""What the program tells a host of a new table: which colours this light cannot tell apart."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from calibrate import judge as room
from calibrate.judge import judge, pairs
from calibrate.types import Palette, Table
from scoring.types import EMPTY
from tests.vision.practice import practice
from vision.colour import lab_from_linear

PAIRS = np.loadtxt(Path(__file__).with_name("ciede2000_pairs.txt"))
"""Sharma, Wu, Dalal 2005; the file's head says all."""

ON_THE_JUMP = 13
PRINTED = 1e-4
"""The table gives four decimals."""


def test_the_published_table_is_whole() -> None:
    assert PAIRS.shape == (34, 7)


@pytest.mark.parametrize("row", [i for i in range(34) if i != ON_THE_JUMP])
def test_colour_differences_are_those_of_the_published_table(row: int) -> None:
    *colours, expected = PAIRS[row]
    one, other = np.array(colours[:3]), np.array(colours[3:])

    assert float(room.deltaE_ciede2000(one, other)) == pytest.approx(expected, abs=PRINTED)
    assert float(room.deltaE_ciede2000(other, one)) == pytest.approx(expected, abs=PRINTED)


def test_on_the_jump_between_two_hues_either_side_is_right() -> None:
    *colours, printed = PAIRS[ON_THE_JUMP]
    found = float(room.deltaE_ciede2000(np.array(colours[:3]), np.array(colours[3:])))

    assert min(abs(found - printed), abs(found - 4.7461)) < PRINTED


def palette_of(table: Table, **colours: tuple[float, float, float]) -> Palette:
    """The table's palette with these colours, of ten samples each that hardly differ."""
    rng = np.random.default_rng(2)
    names = tuple(name for name in colours for _ in range(10))
    exact = np.array([colours[name] for name in names])
    return replace(
        table.palette,
        colours=names,
        samples=exact * rng.normal(1, 0.004, exact.shape),
        veils=np.zeros(len(names)),
    )


def judged(table: Table, **colours: tuple[float, float, float]) -> Table:
    return replace(table, palette=palette_of(table, **colours))


RUST, NEARLY_RUST, SKY, MOSS = (
    (0.2, 0.05, 0.03),
    (0.21, 0.053, 0.03),
    (0.1, 0.3, 0.7),
    (0.1, 0.2, 0.04),
)


def test_a_near_pair_is_named_and_a_far_one_is_not(penmarrow_table: Table) -> None:
    made = judged(penmarrow_table, rust=RUST, copper=NEARLY_RUST, slate=SKY, moss=MOSS)

    assert judge(made) == (
        "copper and rust can hardly be told apart in this light: "
        "expect questions; a whiter lamp, or daylight, helps most.",
    )


def test_how_near_two_colours_look_is_said_with_what_would_be_enough(
    penmarrow_table: Table,
) -> None:
    made = judged(penmarrow_table, rust=RUST, copper=NEARLY_RUST)
    distance = next(p.clear for p in pairs(made) if {p.first, p.second} == {"copper", "rust"})

    assert judge(made, figures=True)[0].startswith(
        "copper and rust can hardly be told apart in this light "
        f"(difference {distance:.1f}, where 12 is enough): expect questions;"
    )


def test_a_colour_like_the_empty_board_is_named_as_that(penmarrow_table: Table) -> None:
    bare = tuple(np.nanmedian(penmarrow_table.palette.empty, axis=0))
    advice = judge(judged(penmarrow_table, lichen=bare, slate=SKY))

    assert len(advice) == 1
    assert advice[0].startswith("lichen and the empty cell can hardly be told apart")


def test_colours_far_apart_need_no_advice(penmarrow_table: Table) -> None:
    assert judge(judged(penmarrow_table, rust=RUST, slate=SKY, moss=MOSS)) == ()


def test_distances_are_those_of_colour_science(
    penmarrow_table: Table, colour_science: ModuleType
) -> None:
    """Each colour stands for itself where samples carry no glare: its median, in CIELAB."""
    made = judged(penmarrow_table, rust=RUST, slate=SKY, moss=MOSS)
    names = np.array(made.palette.colours)
    lab = {
        name: lab_from_linear(np.median(made.palette.samples[names == name], axis=0))
        for name in ("rust", "slate", "moss")
    }
    lab[EMPTY] = lab_from_linear(np.nanmedian(made.palette.empty, axis=0))
    for pair in pairs(made):
        expected = colour_science.delta_E(lab[pair.first], lab[pair.second], method="CIE 2000")

        assert pair.clear == pytest.approx(float(expected), abs=PRINTED)


def test_every_two_labels_are_compared_the_nearest_first(penmarrow_table: Table) -> None:
    found = pairs(penmarrow_table)
    labels = {*penmarrow_table.palette.colours, EMPTY}

    assert len({frozenset((p.first, p.second)) for p in found}) == len(found)
    assert len(found) == len(labels) * (len(labels) - 1) // 2
    assert [p.clear for p in found] == sorted(p.clear for p in found)


def test_glare_only_brings_colours_nearer(penmarrow_table: Table) -> None:
    assert all(0 <= p.veiled <= p.clear + 1e-9 for p in pairs(penmarrow_table))


def test_at_penmarrow_rust_and_copper_are_the_nearest_colours(penmarrow_table: Table) -> None:
    """The photos' README says so: the near pair is there on purpose."""
    colours = [p for p in pairs(penmarrow_table) if EMPTY not in (p.first, p.second)]
    advice = " ".join(judge(penmarrow_table))

    assert {colours[0].first, colours[0].second} == {"rust", "copper"}
    assert colours[0].clear < 0.7 * colours[1].clear
    assert not any(name in advice for name in ("slate", "moss", "plum"))


def test_a_table_of_five_plain_colours_is_praised_by_silence() -> None:
    assert judge(practice("square").table) == ()


def test_a_colour_seen_too_seldom_is_named(penmarrow_table: Table) -> None:
    palette = palette_of(penmarrow_table, rust=RUST, slate=SKY)
    fewer = replace(
        palette,
        colours=palette.colours[8:],
        samples=palette.samples[8:],
        veils=palette.veils[8:],
    )

    assert judge(replace(penmarrow_table, palette=fewer)) == (
        "rust was seen only 2 times: lay three or more of it, "
        "and take a second photo of the layout.",
    )


def test_a_board_never_seen_empty_is_said(penmarrow_table: Table) -> None:
    palette = palette_of(penmarrow_table, rust=RUST, slate=SKY)
    full = replace(palette, empty=np.full_like(palette.empty, np.nan))
    advice = judge(replace(penmarrow_table, palette=full))

    assert advice == (
        "The board was never seen empty, so a missing piece is found only by its strange look.",
    )
