"""How the table's samples explain the cells of a photo under one shift of the light.

A cell's distance to a label is the mean cost over the ``NEIGHBOURS`` samples of it that explain the
cell best, or the cost of its own empty self.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette
from vision.colour import FROM_INTENSITY_CHROMA
from vision.explain import Expected, Explained, explain, whitening_at
from vision.mixing import unmixed

Array = NDArray[np.float64]

NEIGHBOURS = 3

NEVER = 1e6
"""Distance to what cannot be: empty, at a cell that was never seen empty."""

LIGHT_SD = 0.08
"""How far today's light may be off what the board tells: log chromaticity, green and yellow."""

SHIFTS = 7
"""What may be unknown of the light, in standard deviations: the lamp greener and yellower, two of
the glare's colour, three ways of mixing channels (``vision.mixing``)."""

LAMP, GLARE, MIXED = slice(0, 2), slice(2, 4), slice(4, SHIFTS)
"""Which of the shifts are which."""

FAR = 50.0
"""How much farther than the likeliest label another is no candidate under any shift."""

STILL = np.zeros(SHIFTS)
"""No shift of the light."""


@dataclass(frozen=True, eq=False)
class Learned:
    """Samples (J, 3) of pieces with their label's index (J,) and own veil (J,); empty cells (N, 3)
    and which of them were never seen empty (N,)."""

    names: tuple[str, ...]
    samples: Array
    labels: NDArray[np.int64]
    veils: Array
    empty: Array
    never: NDArray[np.bool_]


def learned_of(palette: Palette) -> Learned:
    """The samples and empty cells of a palette, labels in the order of their names."""
    names = tuple(sorted(set(palette.colours)))
    never = np.isnan(palette.empty[:, 0])
    return Learned(
        names=names,
        samples=palette.samples,
        labels=np.array([names.index(name) for name in palette.colours]),
        veils=palette.veils,
        empty=np.where(never[:, None], 1.0, palette.empty),
        never=never,
    )


@dataclass(frozen=True, eq=False)
class Scene:
    """The cells as pieces and as empty (N, 3), relative colour; what is expected of each; their
    own noise in CIELAB units, and that of the light's log chromaticities (or (1, 1, 2)); the veil's
    log colour (N, 2) and a root of its covariance (N, 2, 2)."""

    top: Array
    board: Array
    piece: Expected
    empty: Expected
    noise: tuple[float, Array | float]
    veil: Array
    veil_root: Array

    @cached_property
    def both(self) -> Array:
        """Every cell as a piece, then every cell as empty (2N, 3)."""
        return np.vstack([self.top, self.board])

    @cached_property
    def expected(self) -> Expected:
        """What is expected of them (2N)."""
        return self.piece.beside(self.empty)

    @cached_property
    def whitening(self) -> Array:
        """Whitening (2N, 3, 3) at each of them; it serves every shift."""
        return whitening_at(self.both, *self.noise)


@dataclass(frozen=True, eq=False)
class Pairs:
    """P pairs of a cell and a sample by index, with the sample's label; those of one cell and label
    stand side by side."""

    cell: NDArray[np.int64]
    sample: NDArray[np.int64]
    label: NDArray[np.int64]

    @cached_property
    def first(self) -> NDArray[np.int64]:
        """Where each of the G groups of one cell and label begins."""
        changes = (np.diff(self.cell, prepend=-1) != 0) | (np.diff(self.label, prepend=-1) != 0)
        return np.flatnonzero(changes)

    def means(self, cost: Array) -> Array:
        """Mean cost (S, G) of the pairs (S, P) in each group."""
        number = np.diff(self.first, append=len(self.cell))
        return np.add.reduceat(cost, self.first, axis=1) / number


@dataclass(frozen=True, eq=False)
class Fit:
    """How the learned samples explain every cell under one shift of the light: distances (N, C);
    the ``nearest`` samples of each label and their explanations (1, P); those of the empty cells
    (1, N)."""

    scene: Scene
    learned: Learned
    distances: Array
    nearest: Pairs
    piece: Explained
    empty: Explained

    @cached_property
    def near(self) -> Pairs:
        """The nearest samples but for labels that no likely shift brings near."""
        of = self.nearest
        near = self.distances[of.cell, of.label] <= self.distances.min(axis=1)[of.cell] + FAR
        return Pairs(of.cell[near], of.sample[near], of.label[near])

    def own_colours(self, labels: NDArray[np.int64]) -> Array:
        """Shaded colour (N, 3) of the nearest sample of each cell's label."""
        pair = self._nearest(labels)
        shading = np.exp(self.piece.shading[0, pair, None])
        return self.learned.samples[self.nearest.sample[pair]] * shading

    def explained(self, labels: NDArray[np.int64]) -> Array:
        """Colour (N, 3) of each cell as the nearest sample of its label explains it, in a light
        that did not shift."""
        pair = self._nearest(labels)
        lamp, _ = lights_under(self.scene, STILL[None])
        more = self.piece.veil[0, pair] - self.learned.veils[self.nearest.sample[pair]]
        return self.own_colours(labels) + more[:, None] * lamp[0]

    def shading_at(self, labels: NDArray[np.int64]) -> Array:
        """Log shading (N,) in the nearest explanation by each cell's label."""
        return self._at(self.piece.shading, self.empty.shading, labels)

    def veil_at(self, labels: NDArray[np.int64]) -> Array:
        """Veil (N,) in the nearest explanation by each cell's label."""
        return self._at(self.piece.veil, self.empty.veil, labels)

    def _at(self, piece: Array, empty: Array, labels: NDArray[np.int64]) -> Array:
        is_empty = labels == len(self.learned.names)
        return np.where(is_empty, empty[0], piece[0, self._nearest(np.where(is_empty, 0, labels))])

    def _nearest(self, labels: NDArray[np.int64]) -> NDArray[np.int64]:
        """The pair (N,) of each cell with the nearest sample of its label, or of any where no
        sample of that label came near."""
        cell = self.nearest.cell
        other = self.nearest.label != labels[cell]
        order = np.lexsort((self.piece.cost[0], other, cell))
        return order[np.unique(cell[order], return_index=True)[1]]


def fit_to(scene: Scene, learned: Learned, shift: Array = STILL, before: Fit | None = None) -> Fit:
    """The fit of the samples to every cell under ``shift`` (7,).

    Labels that were far behind the likeliest in the fit ``before`` are left as far behind.
    """
    cells, labels = len(scene.top), len(learned.names)
    near = np.ones((cells, labels), bool)
    if before is not None:
        pieces = before.distances[:, :-1]
        near = pieces <= np.maximum(before.distances.min(axis=1) + FAR, pieces.min(axis=1))[:, None]
    cell, sample = np.nonzero(near[:, learned.labels])
    every, empty = _explained(scene, learned, cell, sample, shift[None])
    label = learned.labels[sample]
    group = cell * labels + label
    order = np.lexsort((every.cost[0], group))
    first = np.flatnonzero(np.diff(group[order], prepend=-1))
    rank = np.arange(len(order)) - np.repeat(first, np.diff(first, append=len(order)))
    best = order[rank < NEIGHBOURS]
    piece = Explained(every.cost[:, best], every.shading[:, best], every.veil[:, best])
    distances = np.full((cells, labels + 1), np.inf)
    nearest = Pairs(cell[best], sample[best], label[best])
    distances[:, :-1][near] = nearest.means(piece.cost)[0]
    distances[:, -1] = np.where(learned.never, NEVER, empty.cost[0])
    if before is not None:
        more = np.maximum(distances.min(axis=1) - before.distances.min(axis=1), 0.0)
        distances[:, :-1][~near] = (pieces + more[:, None])[~near]
    return Fit(scene, learned, distances, nearest, piece, empty)


def shifted(fit: Fit, shifts: Array) -> Array:
    """Distances (S, N, C) under ``shifts`` (S, 7), by the samples that were nearest in ``fit``.

    What is far off there stays as far off: no likely shift brings it near.
    """
    near, learned = fit.near, fit.learned
    piece, empty = _explained(fit.scene, learned, near.cell, near.sample, shifts)
    distances = np.tile(fit.distances, (len(shifts), 1, 1))
    distances[:, near.cell[near.first], near.label[near.first]] = near.means(piece.cost)
    distances[:, :, -1] = np.where(learned.never, NEVER, empty.cost)
    return distances


def _explained(
    scene: Scene,
    learned: Learned,
    cell: NDArray[np.int64],
    sample: NDArray[np.int64],
    shifts: Array,
) -> tuple[Explained, Explained]:
    """Each of the cells (P,) explained by its sample (P,), and every cell by its own empty self,
    under ``shifts`` (S, 7)."""
    count, pairs = len(scene.top), len(cell)
    lamp, seen = lights_under(scene, shifts)
    both = explain(
        seen,
        scene.whitening,
        np.vstack([learned.samples[sample], learned.empty]),
        np.concatenate([learned.veils[sample], np.zeros(count)]),
        np.concatenate([cell, np.arange(count, 2 * count)]),
        np.concatenate([lamp, lamp], axis=1),
        scene.expected,
        scene.noise[0],
    )
    parts = (both.cost, both.shading, both.veil)
    return (
        Explained(*(part[:, :pairs] for part in parts)),
        Explained(*(part[:, pairs:] for part in parts)),
    )


def lights_under(scene: Scene, shifts: Array) -> tuple[Array, Array]:
    """Colour of the veil (S, N, 3), and all cells as pieces and as empty (S, 2N, 3) as they would
    look in the calibration's light, if today's were off by ``shifts`` (S, 7)."""
    lamp = np.exp(LIGHT_SD * shifts[:, LAMP] @ FROM_INTENSITY_CHROMA[:, 1:].T)
    tone = scene.veil + np.einsum("nij,sj->sni", scene.veil_root, shifts[:, GLARE])
    veil = np.exp(np.stack([tone[..., 0], np.zeros(tone.shape[:2]), tone[..., 1]], axis=2))
    back = unmixed(shifts[:, MIXED]) / lamp[:, None, :]
    return veil, scene.both @ back.transpose(0, 2, 1)
