"""How far each colour has moved since the calibration, as pieces of known colours show.

A lamp moves each colour in a way of its own, which bare board does not tell. A piece of a colour
shows how far that colour has moved: less what a single piece may be off for other reasons, and
colours that no piece shows go along with those that are like them. The moves are Gaussian
processes over the colours, one for each log chromaticity, how far colours may move at all being the
likeliest of a few (Rasmussen and Williams, "Gaussian Processes for Machine Learning", 2006, ch. 2
and eq. 5.8).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette
from vision.belief import STRANGE
from vision.classify import first_scene
from vision.colour import FROM_INTENSITY_CHROMA, INTENSITY_CHROMA, lab_from_linear
from vision.fit import fit_to, learned_of
from vision.middles import middles
from vision.smooth import covariance
from vision.together import KIN_LIGHTNESS
from vision.types import Light

Array = NDArray[np.float64]
Labels = NDArray[np.int64]

ERROR = 0.045
"""Log chromaticity by which a spare piece may be off its colour's cells: wear, and the light where
it lies."""

ERROR_PER_VEIL = 0.5
"""And by so much more the more glare lies over it."""

MOVES = (0.01, 0.02, 0.04, 0.08, 0.16, 0.32)
"""How far colours may have moved since the calibration, log chromaticity: standard deviations."""

USUAL_MOVE, MOVE_SPREAD = 0.08, 1.4
"""What is usual of these, and how that is spread (log)."""

LIKE_LAB = 10.0
"""Distance in CIELAB, lightness counting ``KIN_LIGHTNESS``, over which colours move alike."""

FARTHEST = 0.7
"""A move counts as no farther, log chromaticity."""

WRONG = 4.0
"""How much likelier another colour of a piece, or an exchange of two, must be to be believed
(minus twice a log likelihood; see DEVELOPERS.md)."""

LOOKS = 0.5
"""Share that the distances of the pieces' looks count beside how far the colours moved: both lean
on the same chromaticities."""


@dataclass(frozen=True, eq=False)
class Shown:
    """K pieces as each of C labels would explain them: ``distances`` (K, C), and the log chromas
    ``off`` (K, C, 2) by which they are off its samples, with the ``error`` (K, C) of that;
    ``places`` (C, 3) of the labels among colours."""

    names: tuple[str, ...]
    places: Array
    distances: Array
    off: Array
    error: Array

    def far(self, labels: Labels) -> Array:
        """Distances (K,) of the pieces to their labels (K,)."""
        return self.distances[np.arange(len(labels)), labels]

    def labels_of(self, names: tuple[str, ...]) -> Labels:
        """The labels by index."""
        return np.array([self.names.index(name) for name in names])


def shown_as(colours: Array, palette: Palette) -> Shown:
    """How every label explains pieces of relative ``colours`` (K, 3) that lie in no cell."""
    learned = learned_of(replace(palette, empty=np.full((len(colours), 3), np.nan)))
    light = Light(np.ones((1, 3)), np.full(2, 2 * USUAL_MOVE))
    fit = fit_to(first_scene(colours, colours, light, palette), learned)
    as_each = [np.full(len(colours), label) for label in range(len(learned.names))]
    expected = np.stack([fit.explained(labels) for labels in as_each], axis=1)
    veil = np.stack([fit.veil_at(labels) for labels in as_each], axis=1)
    ratio = np.log(np.maximum(colours[:, None], 1e-4)) - np.log(np.maximum(expected, 1e-4))
    return Shown(
        names=learned.names,
        places=lab_from_linear(middles(learned)[0]) * (KIN_LIGHTNESS, 1, 1),
        distances=fit.distances[:, :-1],
        off=np.clip(ratio @ INTENSITY_CHROMA.T[:, 1:], -FARTHEST, FARTHEST),
        error=np.hypot(ERROR, ERROR_PER_VEIL * veil),
    )


def moves_of(shown: Shown, labels: Labels) -> Array:
    """How far every label has moved, log chromas (C, 2), the pieces being of ``labels`` (K,)."""
    off, error = _as(shown, labels)
    places = shown.places[labels]
    move = max(MOVES, key=lambda sd: _likelihood(sd, places, off, error))
    inner = covariance(places, places, ((move, LIKE_LAB),)) + np.diag(error**2)
    told = covariance(shown.places, places, ((move, LIKE_LAB),))
    return told @ np.linalg.solve(inner, off)


def moved_samples(palette: Palette, moves: Array) -> Array:
    """The samples (M, 3) moved by their colour's log chromas, ``moves`` (C, 2)."""
    learned = learned_of(palette)
    return learned.samples * np.exp(moves[learned.labels] @ FROM_INTENSITY_CHROMA[:, 1:].T)


def mistaken(shown: Shown, names: tuple[str, ...]) -> str | None:
    """What explains the pieces much better than that each is of its name, in words; None where
    nothing does.

    Tried are any one piece of another colour, and any two exchanged.
    """
    own = shown.labels_of(names)
    named = _cost(shown, own)
    costs = {words: _cost(shown, labels) for words, labels in _mistakes(own, shown.names)}
    likely = {words: cost for words, cost in costs.items() if cost < named - WRONG}
    if likely:
        return min(likely, key=likely.__getitem__)
    strange = [name for name, far in zip(names, shown.far(own), strict=True) if far > STRANGE]
    return f"what lies on {strange[0]} looks like none of the colours" if strange else None


def _mistakes(own: Labels, names: tuple[str, ...]) -> Iterator[tuple[str, Labels]]:
    """Each mistake in words, and the labels (K,) that it would make of the pieces' own."""
    for i, label in enumerate(own):
        for other in set(range(len(names))) - {label}:
            lies = own.copy()
            lies[i] = other
            yield f"what lies on {names[label]} looks like {names[other]}", lies
    for i, j in combinations(range(len(own)), 2):
        lies = own.copy()
        lies[[i, j]] = own[[j, i]]
        yield f"the pieces on {names[own[i]]} and {names[own[j]]} look exchanged", lies


def _cost(shown: Shown, labels: Labels) -> float:
    """Minus twice the log posterior of the pieces being of ``labels`` (K,), but for a constant."""
    off, error = _as(shown, labels)
    places = shown.places[labels]
    moves = max(_likelihood(sd, places, off, error) for sd in MOVES)
    return LOOKS * float(shown.far(labels).sum()) - 2 * moves


def _as(shown: Shown, labels: Labels) -> tuple[Array, Array]:
    """Log chromas (K, 2) by which the pieces are off, and their error (K,), as of ``labels``."""
    pieces = np.arange(len(labels))
    return shown.off[pieces, labels], shown.error[pieces, labels]


def _likelihood(move: float, places: Array, seen: Array, error: Array) -> float:
    """Log posterior of colours moving by ``move``, but for a constant."""
    inner = covariance(places, places, ((move, LIKE_LAB),)) + np.diag(error**2)
    fits = -0.5 * float((seen * np.linalg.solve(inner, seen)).sum())
    prior = -0.5 * (np.log(move / USUAL_MOVE) / MOVE_SPREAD) ** 2
    return fits - float(np.linalg.slogdet(inner)[1]) + prior
