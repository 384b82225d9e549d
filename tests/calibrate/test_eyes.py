"""Colours to other eyes: the published matrices, and pairs that are known to fall together."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from calibrate.eyes import MACHADO, SAME, as_seen, eyes_advice, fall_together
from calibrate.types import Table
from vision.colour import linear_from_srgb

NAMES = {"protan": "Protanomaly", "deutan": "Deuteranomaly", "tritan": "Tritanomaly"}


def of(hex_code: str) -> np.ndarray:
    return linear_from_srgb(np.array(list(bytes.fromhex(hex_code)), np.uint8))


BOX = {"red": of("c03a2b"), "olive": of("6b6b1e"), "blue": of("2c5fb0"), "white": of("f2f2f2")}


@pytest.mark.parametrize("deficiency", MACHADO)
def test_matrices_are_the_published_ones(deficiency: str, colour_science: ModuleType) -> None:
    published = colour_science.blindness.CVD_MATRICES_MACHADO2010[NAMES[deficiency]][1.0]

    np.testing.assert_allclose(MACHADO[deficiency], published, atol=1e-6)


@pytest.mark.parametrize("deficiency", MACHADO)
def test_greys_look_the_same_to_all_eyes(deficiency: str) -> None:
    greys = np.linspace(0, 1, 5)[:, None].repeat(3, axis=1)

    np.testing.assert_allclose(as_seen(greys, deficiency), greys, atol=2e-6)


def test_red_and_olive_fall_together_to_some_eyes_only() -> None:
    assert ("red", "olive") in {*fall_together(BOX, "protan"), *fall_together(BOX, "deutan")}
    assert fall_together(BOX, "tritan") == ()


def test_a_pair_that_is_near_to_usual_eyes_already_is_not_told_again() -> None:
    near = {"red": BOX["red"], "brick": BOX["red"] * 1.05}

    assert SAME > 0
    assert all(fall_together(near, deficiency) == () for deficiency in MACHADO)


def test_the_advice_names_the_pairs_and_sends_to_the_letters(penmarrow_table: Table) -> None:
    palette = penmarrow_table.palette
    names = sorted(set(palette.colours))
    swapped = dict(zip(names, list(BOX.values()) * 3, strict=False))
    painted = np.array([swapped[name] for name in palette.colours])
    table = replace(penmarrow_table, palette=replace(palette, samples=painted))
    lines = list(eyes_advice(table))

    assert lines
    assert any(f"{names[0]} and {names[1]}" in line for line in lines)
    assert all("letters" in line for line in lines)
