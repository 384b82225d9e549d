"""How a table's colours look to people with colour-vision deficiencies, and which fall together.

Source of the simulation: Machado, Oliveira, Fernandes, "A physiologically-based model for
simulation of color vision deficiency", IEEE Transactions on Visualization and Computer Graphics
15(6), 2009; matrices of its table 1 at severity 1.0, applied to linear RGB.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000

from calibrate.types import Table
from vision.colour import lab_from_linear

Array = NDArray[np.float64]

MACHADO: Mapping[str, Array] = {
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}

SAME = 8.0
"""CIEDE2000 under which two pieces side by side are taken for one colour (by hand)."""


def as_seen(linear: Array, deficiency: str) -> Array:
    """Linear RGB (..., 3) as ``protan``, ``deutan`` or ``tritan`` eyes see it, clipped at black."""
    return np.maximum(linear @ MACHADO[deficiency].T, 0)


def fall_together(colours: Mapping[str, Array], deficiency: str) -> tuple[tuple[str, str], ...]:
    """Pairs of ``colours`` (name -> linear RGB (3,)) that usual eyes part and these do not."""
    usual = {name: lab_from_linear(colour) for name, colour in colours.items()}
    seen = {name: lab_from_linear(as_seen(colour, deficiency)) for name, colour in colours.items()}
    return tuple(
        (a, b)
        for a, b in combinations(colours, 2)
        if deltaE_ciede2000(seen[a], seen[b]) < SAME <= deltaE_ciede2000(usual[a], usual[b])
    )


def eyes_advice(table: Table) -> Iterator[str]:
    """What the host should know when people with other eyes sit at the table, a sentence each."""
    colours = _usual_colours(table)
    for deficiency in MACHADO:
        pairs = fall_together(colours, deficiency)
        if pairs:
            named = ", ".join(f"{a} and {b}" for a, b in pairs)
            yield (
                f"To {deficiency} eyes {named} look alike: go by the letters on the screen "
                "and in print, never by colour alone."
            )


def _usual_colours(table: Table) -> dict[str, Array]:
    """Median relative colour (3,) of every colour's samples, which is close to its own."""
    names = np.array(table.palette.colours)
    return {
        str(name): np.median(table.palette.samples[names == name], axis=0)
        for name in sorted(set(names))
    }
