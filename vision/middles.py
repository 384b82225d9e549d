"""The middle of each label's samples, and where cells lie on the line between two of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.explain import Explained, explain
from vision.fit import Fit, lights_under
from vision.pairs import Between

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

CLEAR = 0.05
"""Veil, share of white, over which a sample counts less for its label's middle."""

LEAST_APART = 0.2
"""Two labels count as so far apart at least, in standard deviations of a cell's noise."""


@dataclass(frozen=True, eq=False)
class _Middles:
    """Every label's middle (C, 3), shaded alike, with its veil (C,), and the explanations (N, C)
    by them of every cell, the last one by its empty self."""

    colours: Array
    explained: Explained


def _middles(fit: Fit, lights: tuple[Array, Array]) -> _Middles:
    """The middle of each label's samples, those with the least glare counting most."""
    scene, learned = fit.scene, fit.learned
    colours, veils = [], []
    for label in range(len(learned.names)):
        own = learned.labels == label
        samples, veil = np.maximum(learned.samples[own], 1e-4), learned.veils[own]
        weight = np.exp(-(veil - veil.min()) / CLEAR)
        weight /= weight.sum()
        level = np.log(samples).mean(axis=1)
        colours.append(weight @ (samples * np.exp(weight @ level - level)[:, None]))
        veils.append(weight @ veil)
    cells, labels = len(scene.top), len(learned.names)
    cell = np.repeat(np.arange(cells), labels)
    piece = explain(
        scene.top,
        scene.top_whitening,
        np.tile(colours, (cells, 1)),
        np.tile(veils, cells),
        cell,
        *lights,
        scene.piece,
        scene.noise[0],
    )

    def joined(of_pieces: Array, of_empty: Array) -> Array:
        return np.column_stack([of_pieces[0].reshape(cells, labels), of_empty[0]])

    explained = Explained(
        joined(piece.cost, fit.empty.cost),
        joined(piece.shading, fit.empty.shading),
        joined(piece.veil, fit.empty.veil),
    )
    return _Middles(np.array(colours), explained)


def line_between(fit: Fit, shift: Array, added: Array) -> Callable[[int, int, Indices], Between]:
    """What places cells on the line between two labels under ``shift`` (4,).

    How far the two are apart at a cell is measured against its noise and against what shading and
    veil may do there (generalised least squares).
    """
    scene, empty = fit.scene, len(fit.learned.names)
    lamp, light = lights_under(scene, shift[None])
    middles = _middles(fit, (lamp, light))
    cost, shading = middles.explained.cost, middles.explained.shading

    def colour(label: int, cells: Indices) -> Array:
        return fit.learned.empty[cells] if label == empty else middles.colours[[label]]

    def between(first: int, second: int, cells: Indices) -> Between:
        likelier = np.where(cost[cells, first] < cost[cells, second], first, second)
        shade = (light.mean() * np.exp(shading[cells, likelier]))[:, None]
        one, other = shade * colour(first, cells), shade * colour(second, cells)
        expected = scene.piece.at(cells)
        veil_sd = 0.0 if expected.veil_sd is None else expected.veil_sd[:, None]
        free = [(one + other) / 2 * expected.shading_sd[:, None], lamp[0, cells] * veil_sd]
        whitening = scene.top_whitening[cells]
        loose = whitening @ np.stack(free, axis=2)
        noise = np.eye(3) + loose @ loose.transpose(0, 2, 1)
        way = whitening @ (other - one)[:, :, None]
        square = (way * np.linalg.solve(noise, way)).sum(axis=(1, 2))
        square = np.maximum(square, LEAST_APART**2)
        place = (cost[cells, first] - cost[cells, second]) / square
        before = (added[cells, first] - added[cells, second]) / 2
        return Between(place, np.sqrt(square), before)

    return between
