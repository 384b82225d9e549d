"""Under what conditions a photo is taken: light, phone, table, and what people leave lying
about.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from samples.spectra import LAMPS
from samples.tabletop import TABLETOPS


@dataclass(frozen=True)
class Lamp:
    """A lamp: kind (a name in ``spectra.LAMPS``), its share of the light at the middle of the
    board, where it is (x, y, height in mm from the middle of the board) and its radius in mm.
    """

    kind: str = "daylight"
    share: float = 0.7
    position_mm: tuple[float, float, float] = (-420.0, -520.0, 900.0)
    radius_mm: float = 120.0


@dataclass(frozen=True)
class HandShadow:
    """The shadow of an arm: its tip (mm from the middle of the board), the way it comes from
    (deg), half its width, the softness of its rim (mm), and the share of the lamps' light that
    it takes.
    """

    tip_mm: tuple[float, float] = (30.0, 30.0)
    from_deg: float = 45.0
    half_width_mm: float = 38.0
    softness_mm: float = 14.0
    depth: float = 0.6


@dataclass(frozen=True)
class Conditions:
    """Everything about one photo but the board and the pieces on it.

    Where it is taken from: ``tilt_deg`` off the board's normal, ``turn_deg`` of the board on the
    table, ``roll_deg`` of the phone, ``fov_deg`` along the long side, ``reach`` (how far the
    outermost board corner comes, 1.0 being the edge of the picture), ``shift`` of the middle
    (shares of the focal length), ``k1``. The light: ``lamps``, the ``ambient`` kind and share,
    ``shadows``. The things: ``gloss`` 0 to 1, ``wear`` (spread of a paint), jitter of the
    pieces, ``tabletop`` and its seed, ``loose`` pieces, ``dice``, ``fingers``. The phone:
    ``blur_px``, ``motion_px`` (x, y), ``noise`` (in linear light, of white), ``exposure_ev``,
    ``balance_error`` (gains), ``phone_nm`` (shift of its sensitivities), ``contrast``,
    ``sharpen``, ``vignette``, ``jpeg_quality``, ``exif_orientation`` (how the file stores the
    picture).
    """

    size_px: tuple[int, int] = (1600, 1200)
    tilt_deg: float = 12.0
    turn_deg: float = 0.0
    roll_deg: float = 0.0
    fov_deg: float = 66.0
    reach: float = 0.82
    shift: tuple[float, float] = (0.0, 0.0)
    k1: float = 0.0
    lamps: tuple[Lamp, ...] = (Lamp(),)
    ambient: tuple[str, float] = ("daylight", 0.3)
    shadows: tuple[HandShadow, ...] = ()
    gloss: float = 0.25
    wear: float = 0.03
    jitter_mm: float = 0.25
    jitter_deg: float = 1.0
    tabletop: str = "wood"
    tabletop_seed: int = 0
    loose: int = 2
    dice: int = 0
    fingers: int = 0
    blur_px: float = 0.6
    motion_px: tuple[float, float] = (0.0, 0.0)
    noise: float = 0.006
    exposure_ev: float = 0.0
    balance_error: tuple[float, float, float] = (1.0, 1.0, 1.0)
    phone_nm: float = 0.0
    contrast: float = 0.25
    sharpen: float = 0.4
    vignette: float = 0.25
    jpeg_quality: int = 88
    exif_orientation: int = 1
    supersample: float = 1.5

    @classmethod
    def clean(cls, size_px: tuple[int, int] = (800, 600)) -> Conditions:
        """Return the kindest photo there is: straight above, even daylight, nothing in the way."""
        return cls(
            size_px=size_px, tilt_deg=0.0, lamps=(Lamp(position_mm=(-300, -400, 3000)),),
            gloss=0.0, wear=0.0, jitter_mm=0.0, jitter_deg=0.0, tabletop="plain", loose=0,
            blur_px=0.3, noise=0.0, contrast=0.0, sharpen=0.0, vignette=0.0, jpeg_quality=95,
            supersample=1.0,
        )  # fmt: skip

    @classmethod
    def random(cls, rng: np.random.Generator, difficulty: float = 0.5) -> Conditions:
        """Return a photo as hard as ``difficulty`` (0: kind, 1: a bad evening) on average."""
        return replace(cls().in_light(rng, difficulty), **_table(rng)).snapped(rng, difficulty)

    def in_light(self, rng: np.random.Generator, difficulty: float) -> Conditions:
        """Return the same under a newly drawn light: one or two lamps of one or two kinds, and
        ambient.
        """
        kinds = [str(kind) for kind in rng.choice(list(LAMPS), 2)]
        ambient = float(rng.uniform(0.2, 0.45))
        second = float(rng.uniform(0.15, 0.4)) if rng.uniform() < 0.3 + 0.5 * difficulty else 0.0
        lamps = [random_lamp(rng, kinds[0], (1.0 - ambient) * (1.0 - second), difficulty)]
        if second:
            lamps.append(random_lamp(rng, kinds[1], (1.0 - ambient) * second, difficulty))
        surround = (str(rng.choice(kinds)), ambient)
        return replace(self, lamps=tuple(lamps), ambient=surround)

    def snapped(self, rng: np.random.Generator, difficulty: float) -> Conditions:
        """Return the same table and light, snapped anew: another stand, hand, focus and
        exposure.
        """
        return replace(
            self,
            **_stand(rng, difficulty),
            **_accidents(rng, difficulty),
            **_develop(rng, difficulty),
        )


def random_lamp(rng: np.random.Generator, kind: str, share: float, difficulty: float) -> Lamp:
    """Draw where one lamp stands: the harder, the nearer (steeper gradients) and the smaller."""
    height = float(rng.uniform(1500, 2200) * (1 - difficulty) + rng.uniform(350, 1300) * difficulty)
    angle, out = rng.uniform(0, 2 * np.pi), height * rng.uniform(0.25, 1.0)
    spot = (float(out * np.cos(angle)), float(out * np.sin(angle)), height)
    return Lamp(kind, share, spot, float(height * rng.uniform(0.06, 0.3)))


def _table(rng: np.random.Generator) -> dict[str, Any]:
    """What stays the same for all photos of one table."""
    return {
        "tabletop": str(rng.choice(list(TABLETOPS))),
        "tabletop_seed": int(rng.integers(1_000)),
        "gloss": float(rng.uniform(0.05, 0.8)),
        "wear": float(rng.uniform(0.01, 0.06)),
        "phone_nm": float(rng.uniform(-6, 6)),
    }


def _stand(rng: np.random.Generator, difficulty: float) -> dict[str, Any]:
    """Where the phone is held."""
    upright = rng.uniform() < 0.4
    return {
        "size_px": (1200, 1600) if upright else (1600, 1200),
        "exif_orientation": int(rng.choice([6, 8])) if upright and rng.uniform() < 0.6 else 1,
        "tilt_deg": float(rng.uniform(0, 14 + 31 * difficulty)),
        "turn_deg": random_turn(rng, difficulty),
        "roll_deg": float(rng.normal(0, 3 + 6 * difficulty)),
        "fov_deg": float(rng.uniform(55, 75)),
        "reach": float(rng.uniform(0.82, 0.98)),
        "shift": (float(rng.normal(0, 0.02)), float(rng.normal(0, 0.02))),
        "k1": float(rng.normal(0, 0.012 + 0.025 * difficulty)),
    }


def random_turn(rng: np.random.Generator, difficulty: float) -> float:
    """Draw how the board lies before the phone: nearly square to it, from any side, or askew."""
    if rng.uniform() < 0.3 * difficulty:
        return float(rng.uniform(-180, 180))
    side = int(rng.integers(4)) if rng.uniform() < difficulty else 0
    return float(90 * side + rng.normal(0, 12))


def _accidents(rng: np.random.Generator, difficulty: float) -> dict[str, Any]:
    """What lies or reaches where it should not."""
    number = int(rng.poisson(0.2 + 0.9 * difficulty))
    return {
        "shadows": tuple(random_shadow(rng, difficulty) for _ in range(min(number, 2))),
        "loose": int(rng.integers(0, 5)),
        "dice": int(rng.uniform() < 0.15 * difficulty),
        "fingers": int(rng.uniform() < 0.1 * difficulty),
        "jitter_mm": float(rng.uniform(0.1, 0.2 + 0.35 * difficulty)),
        "jitter_deg": float(rng.uniform(0.3, 0.8 + 1.6 * difficulty)),
    }


def random_shadow(rng: np.random.Generator, difficulty: float) -> HandShadow:
    """Draw one arm's shadow whose tip lies somewhere on or near the board."""
    tip = (float(rng.uniform(-80, 80)), float(rng.uniform(-80, 80)))
    return HandShadow(
        tip,
        float(rng.uniform(0, 360)),
        float(rng.uniform(20, 55)),
        float(rng.uniform(4, 30)),
        float(rng.uniform(0.25, 0.45 + 0.4 * difficulty)),
    )


def _develop(rng: np.random.Generator, difficulty: float) -> dict[str, Any]:
    """What lens, sensor and the phone's own software do."""
    shaken = rng.uniform() < 0.25 * difficulty
    warm, magenta = rng.normal(0, 0.025 + 0.035 * difficulty), rng.normal(0, 0.02)
    red, blue = float(np.exp(warm + magenta)), float(np.exp(magenta - warm))
    return {
        "blur_px": float(rng.uniform(0.5, 0.8 + 0.7 * difficulty)),
        "motion_px": (float(rng.normal(0, 2.0)), float(rng.normal(0, 2.0)))
        if shaken
        else (0.0, 0.0),
        "noise": float(rng.uniform(0.003, 0.006 + 0.012 * difficulty)),
        "exposure_ev": float(rng.normal(0, 0.12 + 0.45 * difficulty)),
        "balance_error": (red, 1.0, blue),
        "contrast": float(rng.uniform(0.1, 0.45)),
        "sharpen": float(rng.uniform(0.1, 0.7)),
        "vignette": float(rng.uniform(0.1, 0.5)),
        "jpeg_quality": int(rng.integers(78, 94)),
    }
