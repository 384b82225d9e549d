"""The middle of each label's samples, and where cells lie on the line between two of them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vision.explain import explain
from vision.fit import Fit, Learned, lights_under
from vision.pairs import Between, Indices

Array = NDArray[np.float64]

CLEAR = 0.05
"""Veil, share of white, over which a sample counts less for its label's middle."""

LEAST_APART = 0.2
"""Two labels count as so far apart at least, in standard deviations of a cell's noise."""


def middles(learned: Learned) -> tuple[Array, Array]:
    """Every label's middle (C, 3), its samples shaded alike, those with the least glare counting
    most; and its veil (C,)."""
    colours, veils = [], []
    for label in range(len(learned.names)):
        own = learned.labels == label
        samples, veil = np.maximum(learned.samples[own], 1e-4), learned.veils[own]
        weight = np.exp(-(veil - veil.min()) / CLEAR)
        weight /= weight.sum()
        level = np.log(samples).mean(axis=1)
        colours.append(weight @ (samples * np.exp(weight @ level - level)[:, None]))
        veils.append(weight @ veil)
    return np.array(colours), np.array(veils)


def line_between(fit: Fit, shift: Array, added: Array) -> Callable[[int, int, Indices], Between]:
    """What places cells on the line between two labels under ``shift`` (7,).

    How far the two are apart at a cell is measured against its noise and against what shading and
    veil may do there (generalised least squares).
    """
    scene, count, labels = fit.scene, len(fit.scene.top), len(fit.learned.names)
    lamp, seen = lights_under(scene, shift[None])
    colours, veils = middles(fit.learned)
    piece = explain(
        seen[:, :count],
        scene.whitening[:count],
        np.tile(colours, (count, 1)),
        np.tile(veils, count),
        np.repeat(np.arange(count), labels),
        lamp,
        scene.piece,
        scene.noise[0],
    )
    cost = np.column_stack([piece.cost[0].reshape(count, labels), fit.empty.cost[0]])
    shading = np.column_stack([piece.shading[0].reshape(count, labels), fit.empty.shading[0]])

    def colour(label: int, cells: Indices) -> Array:
        return fit.learned.empty[cells] if label == labels else colours[[label]]

    def between(first: int, second: int, cells: Indices) -> Between:
        likelier = np.where(cost[cells, first] < cost[cells, second], first, second)
        shade = np.exp(shading[cells, likelier])[:, None]
        one, other = shade * colour(first, cells), shade * colour(second, cells)
        expected = scene.piece.at(cells)
        free = [
            (one + other) / 2 * expected.shading_sd[:, None],
            lamp[0, cells] * expected.veil_sd[:, None],
        ]
        whitening = scene.whitening[cells]
        loose = whitening @ np.stack(free, axis=2)
        noise = np.eye(3) + loose @ loose.transpose(0, 2, 1)
        way = whitening @ (other - one)[:, :, None]
        square = (way * np.linalg.solve(noise, way)).sum(axis=(1, 2))
        square = np.maximum(square, LEAST_APART**2)
        place = (cost[cells, first] - cost[cells, second]) / square
        before = (added[cells, first] - added[cells, second]) / 2
        return Between(place, np.sqrt(square), before)

    return between
