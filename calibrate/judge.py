"""Whether a table can be trusted: which colours this light cannot tell apart, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000

from calibrate.types import Palette, Table
from scoring.types import EMPTY
from vision.colour import lab_from_linear
from vision.shades import VEIL, VEILS

Array = NDArray[np.float64]

CLOSE = 12.0
"""CIEDE2000 below which two colours are hard to tell on worn pieces in bad light (by hand)."""

FEW = 6
"""Samples of a colour below which its spread is hardly known."""


@dataclass(frozen=True)
class Pair:
    """Two labels and how far apart they lie in this light, CIEDE2000.

    ``clear`` compares them without glare; ``veiled`` as close as some glare on one brings them.
    """

    first: str
    second: str
    clear: float
    veiled: float


def pairs(table: Table) -> tuple[Pair, ...]:
    """Every two labels of a table, the closest first.

    Source: CIEDE2000 as scikit-image has it; Sharma, Wu, Dalal, Color Research and Application
    30(1), 2005.
    """
    colours = _clear_colours(table.palette)
    found = [
        Pair(a, b, _difference(colours[a], colours[b]), _veiled(colours[a], colours[b]))
        for a, b in combinations(colours, 2)
    ]
    return tuple(sorted(found, key=lambda pair: (pair.clear, pair.first, pair.second)))


def judge(table: Table, *, figures: bool = False) -> tuple[str, ...]:
    """What the host should know of a new table before trusting it, one sentence each.

    ``figures``: say of near colours how far apart they lie, for who compares two lamps.
    """
    advice = [_advice(pair, figures) for pair in pairs(table) if pair.clear < CLOSE]
    for name in sorted(set(table.palette.colours)):
        count = table.palette.colours.count(name)
        if count < FEW:
            advice.append(
                f"{name} was seen only {count} times: lay three or more of it, "
                "and take a second photo of the layout."
            )
    if np.isnan(table.palette.empty).all():
        advice.append(
            "The board was never seen empty, so a missing piece is found only by its strange look."
        )
    return tuple(advice)


def trust(table: Table, *, figures: bool = False) -> tuple[str, ...]:
    """All that the host should know: how near colours lie, and what was left unchecked."""
    return (*judge(table, figures=figures), *table.limits)


def _advice(pair: Pair, figures: bool) -> str:
    how = "can hardly be told apart" if pair.clear < CLOSE / 2 else "lie close together"
    how += " in this light"
    if figures:
        how += f" (difference {pair.clear:.1f}, where {CLOSE:.0f} is enough)"
    if EMPTY in (pair.first, pair.second):
        piece = pair.first if pair.second == EMPTY else pair.second
        return (
            f"{piece} and the empty cell {how}: expect questions; "
            "light from the side shows a piece by its edge."
        )
    return (
        f"{pair.first} and {pair.second} {how}: expect questions; "
        "a whiter lamp, or daylight, helps most."
    )


def _clear_colours(palette: Palette) -> dict[str, Array]:
    """Relative colour (3,) of every label where it carries least glare."""
    names = np.array(palette.colours)
    found = {}
    for name in sorted(set(palette.colours)):
        samples, veils = palette.samples[names == name], palette.veils[names == name]
        found[name] = np.median(samples[veils <= np.median(veils)], axis=0)
    if not np.isnan(palette.empty).all():
        found[EMPTY] = np.nanmedian(palette.empty, axis=0)
    return found


def _difference(a: Array, b: Array) -> float:
    return float(deltaE_ciede2000(lab_from_linear(a), lab_from_linear(b)))


def _veiled(a: Array, b: Array) -> float:
    """Least difference once glare of up to 0.3 lies on either."""
    veils = VEILS[(VEILS >= 0) & (VEILS <= 0.3)]
    return min(min(_difference(a + s * VEIL, b), _difference(a, b + s * VEIL)) for s in veils)
