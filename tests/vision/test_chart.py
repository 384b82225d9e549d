"""A published colour set as pieces: the 24-patch chart under CIE illuminants, seen by a measured
camera, through the classifier; no line of this comes from our own photographer.

Sources, all as colour-science ships them: reflectances of the chart (BabelColor average of 30
charts), Nikon D5100 sensitivities (NPL), illuminants A, D65, FL2, FL11, LED-B3 (CIE 015:2018).
"""

from __future__ import annotations

from functools import cache
from types import ModuleType

import numpy as np
import pytest

from calibrate.types import Palette
from scoring.types import EMPTY
from vision.classify import believe
from vision.doubt import name_cells
from vision.shades import veils_of
from vision.types import Light, Samples

CHART = "BabelColor Average"
CAMERA = "Nikon 5100 (NPL)"
LIGHTS = ("A", "D65", "FL2", "FL11", "LED-B3")
PIECES = (
    "orange", "purplish blue", "moderate red", "purple", "yellow green", "blue", "green", "red",
    "yellow", "cyan",
)  # fmt: skip
"""Ten patches: moderate red lies near red, purplish blue near blue."""

PAPER = "white 9.5 (.05 D)"
BOARDS = 1
CELLS = 60
NOISE = 0.02
"""Relative noise of a cell's colour, and the shading that a lamp beside the board gives, 0.15."""


def responses(colour: ModuleType, light: str) -> dict[str, np.ndarray]:
    """Linear sRGB of every patch: the camera balanced on the light, then a 3 x 3 matrix to sRGB
    fitted by least squares on all 24 patches under D65, as a camera's maker would.
    """
    raw, _ = _raw_and_xyz(colour, light)
    matrix = _to_srgb(colour)
    return {name: np.maximum(rgb @ matrix, 1e-4) for name, rgb in raw.items()}


def _raw_and_xyz(colour: ModuleType, light: str) -> tuple[dict, dict]:
    shape = colour.SpectralShape(400, 700, 10)
    lamp = colour.SDS_ILLUMINANTS[light].copy().align(shape).values
    eyes = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    camera = colour.MSDS_CAMERA_SENSITIVITIES[CAMERA].copy().align(shape).values
    raw, xyz = {}, {}
    for name, patch in colour.SDS_COLOURCHECKERS[CHART].items():
        shown = patch.copy().align(shape).values * lamp
        raw[name] = (shown @ camera) / (lamp @ camera)
        xyz[name] = (shown @ eyes) / (lamp @ eyes[:, 1])
    return raw, xyz


@cache
def _to_srgb(colour: ModuleType) -> np.ndarray:
    raw, xyz = _raw_and_xyz(colour, "D65")
    to_srgb = np.linalg.inv(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)
    srgb = np.array(list(xyz.values())) @ to_srgb.T
    return np.linalg.lstsq(np.array(list(raw.values())), srgb, rcond=None)[0]


def palette_of(colours: dict[str, np.ndarray], rng: np.random.Generator) -> Palette:
    """Twelve samples of every piece in the calibration's light; all cells alike when empty."""
    names = tuple(name for name in PIECES for _ in range(12))
    samples = np.array([colours[name] * _wobble(rng) for name in names])
    veils = np.concatenate([veils_of(samples[i : i + 12]) for i in range(0, len(samples), 12)])
    return Palette(
        exposure=np.ones(CELLS),
        empty=np.tile(colours[PAPER], (CELLS, 1)),
        colours=names,
        samples=samples,
        veils=veils,
        veil_scale=0.03,
        structure=np.zeros((len(PIECES), 4)),
        unrest=0.4,
    )


def _wobble(rng: np.random.Generator) -> np.ndarray:
    return np.exp(rng.normal(0, 0.15) + rng.normal(0, NOISE, 3))


def read(palette: Palette, colours: dict[str, np.ndarray], rng: np.random.Generator):
    """What is read of a board of random pieces, a tenth of it empty, and what is true."""
    truth = [EMPTY if rng.random() < 0.1 else str(rng.choice(PIECES)) for _ in range(CELLS)]
    shown = np.array([colours[PAPER if name == EMPTY else name] * _wobble(rng) for name in truth])
    none, still = np.zeros(CELLS), np.zeros((CELLS, 3))
    samples = Samples(shown, shown, still, np.full(CELLS, 0.1), none, none, still, still)
    light = Light(np.ones((CELLS, 3)), np.zeros(2))
    places = np.array([(20.0 * (i % 10), 20.0 * (i // 10)) for i in range(CELLS)])
    belief = believe(samples, light, palette, places, {})
    cells = name_cells(belief, samples, tuple(str(i) for i in range(CELLS)), palette.unrest)
    return list(cells.values()), truth


def silent_and_asked(colour: ModuleType, calibrated: str, lit: str) -> tuple[int, int]:
    """Cells silently wrong, and asked, of one board of 60."""
    rng = np.random.default_rng(1)
    palette = palette_of(responses(colour, calibrated), rng)
    silent = asked = 0
    for _ in range(BOARDS):
        cells, truth = read(palette, responses(colour, lit), rng)
        asked += sum(cell.doubt is not None for cell in cells)
        silent += sum(
            cell.doubt is None and cell.colour != true
            for cell, true in zip(cells, truth, strict=True)
        )
    return silent, asked


@pytest.mark.parametrize("light", LIGHTS)
def test_in_the_light_of_calibration_no_patch_is_silently_taken_for_another(
    light: str, colour_science: ModuleType
) -> None:
    silent, asked = silent_and_asked(colour_science, light, light)

    assert silent == 0
    assert asked <= 0.4 * BOARDS * CELLS


@pytest.mark.parametrize("light", [light for light in LIGHTS if light != "D65"])
def test_under_another_lamp_than_daylight_few_patches_are_silently_wrong(
    light: str, colour_science: ModuleType
) -> None:
    """A bound, not a promise: measured 0 to 2 of 60 when it was written.

    The camera balances every lamp on white, so nothing on the board tells that the patches have
    moved: two paints that a lamp brings to one colour cannot be told apart by their colour.
    """
    silent, _ = silent_and_asked(colour_science, "D65", light)

    assert silent <= 0.05 * BOARDS * CELLS
