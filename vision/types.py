"""The value types that cross the walls of vision.

Pixel coordinates are (x, y) in the oriented full-size photo, (0, 0) at the centre of its top left
pixel; board coordinates are (x, y) in mm from the board's top left corner, z in mm upward.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from vision.greys import Grey, grey_of, halved

ODD = "odd"
"""What a reading says of a cell that resembles nothing learned: a hand, a die, a strange piece."""


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photo.

    ``pixels`` is of shape (H, W, 3), uint8, sRGB, channel order RGB, orientation applied.
    ``scale`` is full-size px per decoded px (1, 2, 4 or 8); ``full_size_px`` is (width, height).
    """

    name: str
    pixels: NDArray[np.uint8]
    scale: int
    full_size_px: tuple[int, int]
    sha256: str
    decode_ms: float

    @cached_property
    def greys(self) -> tuple[Grey, ...]:
        """The pixels in grey (H, W), and their halvings; all that seek something look at them."""
        return halved(grey_of(self.pixels))


@dataclass(frozen=True, eq=False)
class Registration:
    """Where the board lies in a photo: board mm -> photo px, with its own error.

    A point (x, y, z) mm goes to ``homography @ (x, y, 1) + z * lift`` (homogeneous undistorted px),
    then through one radial term ``k1`` about ``centre_px`` with radii in units of ``radius_px``.
    ``error_mm`` is the half width of a 95 % interval of a cell centre's position; ``method`` names
    the finder; ``evidence`` holds the figures that proved it.
    """

    homography: NDArray[np.float64]
    lift: NDArray[np.float64]
    k1: float
    centre_px: tuple[float, float]
    radius_px: float
    error_mm: float
    method: str
    evidence: Mapping[str, float] = field(default_factory=dict)

    def project(self, points_mm: NDArray[np.float64], z_mm: float = 0.0) -> NDArray[np.float64]:
        """Photo px of board points of shape (N, 2) mm at height ``z_mm``; returns shape (N, 2)."""
        xy1 = np.column_stack([points_mm, np.ones(len(points_mm))])
        w = xy1 @ self.homography.T + z_mm * self.lift
        flat = w[:, :2] / w[:, 2:]
        d = (flat - self.centre_px) / self.radius_px
        return self.centre_px + (flat - self.centre_px) * (
            1 + self.k1 * (d**2).sum(axis=1, keepdims=True)
        )


@dataclass(frozen=True)
class CellReading:
    """What is believed of one cell.

    ``colour`` is the likeliest colour name, ``empty`` or ``odd``; ``candidates`` all that cannot
    be ruled out, likeliest first; ``doubt`` the reason to ask, or None where the cell is certain.
    """

    colour: str
    candidates: tuple[str, ...]
    doubt: str | None = None


@dataclass(frozen=True, eq=False)
class Samples:
    """Per cell, in the lattice's order, N cells.

    ``top``: (N, 3) linear RGB at the height of the pieces' tops; ``board``: (N, 3) the same on the
    board's surface; ``structure``: (N, 3) likeness to the empty cell: normalised cross-correlation
    inside the motif, over the outline, and log ratio of their contrasts; ``unrest``: (N,) spread
    of the core's luminance over its mean; ``burnt``, ``clipped``: (N,) share of its pixels with
    all channels, or any, at full scale; ``brightening``, ``brightening_noise``: (N, 3) change of
    linear RGB from the dull to the bright side of the core at the pieces' tops, and its noise.
    """

    top: NDArray[np.float64]
    board: NDArray[np.float64]
    structure: NDArray[np.float64]
    unrest: NDArray[np.float64]
    burnt: NDArray[np.float64]
    clipped: NDArray[np.float64]
    brightening: NDArray[np.float64]
    brightening_noise: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Light:
    """How much brighter a photo shows the bare board than the calibration did.

    ``gain``: (N, 3), factors on linear RGB at each cell. ``chroma_spread``: (2,), how far the
    light's two log chromas vary over the board (half the 16-84 % span): mixed lights vary most.
    """

    gain: NDArray[np.float64]
    chroma_spread: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Spares:
    """Pieces of known colours beside the board: K ``names`` of colours, what each piece shows,
    linear RGB (K, 3), and where it lies, board mm (K, 2); in words, a ``mistake`` that explains all
    much better than that each lies on its own name."""

    names: tuple[str, ...]
    colours: NDArray[np.float64]
    places_mm: NDArray[np.float64]
    mistake: str | None = None


@dataclass(frozen=True, eq=False)
class Evidence:
    """What a reading rests on, kept so that answers can refit the light without the photo.

    ``spares``: the pieces on a key strip beside the board, where one lies there.
    """

    samples: Samples
    light: Light
    spares: Spares | None = None


@dataclass(frozen=True)
class StripSeen:
    """What came of a key strip: whether its pieces fit their names, and what that does, in
    words."""

    used: bool
    words: str


@dataclass(frozen=True, eq=False)
class Reading:
    """What is believed of one photo: the registration and every cell, with the time it took.

    ``board_corners_px`` is of shape (4, 2), top left of the board first, clockwise;
    ``milliseconds`` has the stages ``decode``, ``find``, ``sample`` and ``classify``. ``alarm``
    says what is wrong with the photo as a whole, or is None; ``strip`` is None where no key
    strip is seen beside the board.
    """

    photo: str
    registration: Registration
    board_corners_px: NDArray[np.float64]
    cells: Mapping[str, CellReading]
    evidence: Evidence
    milliseconds: Mapping[str, float]
    alarm: str | None = None
    strip: StripSeen | None = None
