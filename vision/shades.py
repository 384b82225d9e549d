"""How a learned colour may look today: darker, brighter, veiled by a warmer or cooler lamp's glare.

A glossy surface under light of colour v shows m * c + s * v: its own colour c, shaded by m, under
a veil s of mirrored light. Source: Shafer, "Using color to separate reflection components", Color
Research and Application 10(4), 1985 (the dichromatic reflection model).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Small = NDArray[np.float32]

VEIL = np.array([1.04, 1.0, 0.93])
"""Relative colour of mirrored light: near neutral, for cameras balance on the lamp (by hand)."""

LAMPS = (-2.0, -1.0, 0.0, 1.0, 2.0)
LAMP_CHROMA = np.array([0.15, 0.0, -0.22])
"""Log factors by which a warmer (+1) or cooler (-1) lamp than the balance's tints the veil.

Twice this is half the way from D65 to CIE illuminant A: a bulb's glare in a photo balanced between
bulb and window.
"""

SHADINGS = np.exp(np.linspace(-1.1, 1.1, 15))
VEILS = np.concatenate([[-0.05, -0.025, -0.01, 0.0], np.geomspace(0.008, 0.9, 13)])

NOISE_LAB = 2.0
"""Standard deviation of a cell's colour, CIELAB units per axis, unveiled and unshaded."""

NOISE_PER_VEIL = 12.0
NOISE_PER_SHADING = 3.0


@dataclass(frozen=True, eq=False)
class Shades:
    """Variants of one colour, K of them.

    ``linear`` (K, 3) relative colour; ``shading`` (K,) log m; ``veil`` (K,) s; ``spread`` (K,)
    noise in units of ``NOISE_LAB``; ``penalty`` (K,) minus twice the log density that does not
    hang on the cell.
    """

    linear: Small
    shading: Small
    veil: Small
    spread: Small
    penalty: Small


def glossy_shades(samples: Array, veils: Array) -> Shades:
    """Variants of pieces of shape (M, 3) relative colour that carry ``veils`` (M,) already."""
    return _joined(
        [
            _shades(samples, veils, VEILS if lamp == 0 else VEILS[VEILS > 0.03], lamp)
            for lamp in LAMPS
        ]
    )


def _shades(samples: Array, own_veils: Array, veils: Array, lamp: float) -> Shades:
    light = VEIL * np.exp(lamp * LAMP_CHROMA)
    shown = (
        SHADINGS[None, :, None, None] * samples[:, None, None, :]
        + veils[None, None, :, None] * light
    )
    possible = (shown > 1e-4).all(axis=-1)
    shading = np.broadcast_to(np.log(SHADINGS)[None, :, None], possible.shape)[possible]
    total = np.maximum(own_veils[:, None, None] + veils[None, None, :], 0)
    veil = np.broadcast_to(total, possible.shape)[possible]
    spread = np.sqrt(
        1
        + (NOISE_PER_VEIL / NOISE_LAB * veil) ** 2
        + (NOISE_PER_SHADING / NOISE_LAB * shading) ** 2
    )
    return Shades(
        linear=shown[possible].astype(np.float32),
        shading=shading.astype(np.float32),
        veil=veil.astype(np.float32),
        spread=spread.astype(np.float32),
        penalty=(6 * np.log(spread) + lamp**2 / 2).astype(np.float32),
    )


def _joined(parts: list[Shades]) -> Shades:
    return Shades(*(np.concatenate([getattr(p, f) for p in parts]) for f in Shades.__annotations__))


def veils_of(samples: Array) -> Array:
    """Veil (M,) that each sample (M, 3) of one colour carries, against its least veiled third.

    Least squares of m * c + s * v with a prior of 1 +- 0.25 on m.
    """
    order = np.argsort(samples.min(axis=1))
    clear = np.median(samples[order[: max(2, len(samples) // 3)]], axis=0)
    weight = 0.06
    design = np.vstack([np.column_stack([clear, VEIL]), [weight, 0]])
    targets = np.vstack([samples.T, np.full(len(samples), weight)])
    solved = np.linalg.lstsq(design, targets, rcond=None)[0]
    return np.maximum(solved[1], 0)
