"""Telling colours: nearest neighbours among the table's samples, as today's light shows them.

Every sample of the calibration may be shaded and veiled by glare (``vision.explain``). A cell's
distance to a colour is the mean over its ``NEIGHBOURS`` nearest samples of: squared CIELAB
difference over its noise, plus what that much shading and veil costs at this place of the board.
Confident cells, and cells that a person named, tell the light and the amount of glare about the
others; how cells brighten tells the glare's colour (``vision.glare``); and all are judged again,
at last all of them together under one unknown shift of the light (``vision.together``), and near
labels against each other (``vision.pairs``).
Source of the rule: Cover and Hart, "Nearest neighbor pattern classification", 1967.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette
from scoring.types import EMPTY
from vision.absent import weigh_absent
from vision.belief import FAMILIAR, STRANGE, Belief
from vision.colour import FROM_INTENSITY_CHROMA, INTENSITY_CHROMA
from vision.explain import Expected, seldom_veiled
from vision.fit import MIXED, Fit, Scene, fit_to, learned_of, shifted
from vision.glare import usual_veil, veil_colours
from vision.middles import line_between
from vision.pairs import weigh_pairs
from vision.smooth import leave_one_out
from vision.together import kinship, weigh_together
from vision.types import Light, Samples

Array = NDArray[np.float64]

NOISE_LAB = 2.0
"""Standard deviation of a cell's colour, CIELAB units per axis, before the photo tells its own."""

OWN_NOISE_LAB = (1.0, 2.2)
OWN_CHROMA = (0.012, 0.04)
UNFAMILIAR = (0.3, 1.5)
"""A cell's own noise (CIELAB, and log chromaticity) where the photo's cells look as learned, and
where they do not: their median distance to the likeliest label is the measure."""

MATTE_SCALE = 0.02
"""Mean veil over an empty cell: board and paper carry next to no glare."""

SURE = (3.0, 9.0)
"""Margins from which a cell begins to tell, and fully tells, the light of others."""

ALONE = 20.0
"""How much farther every other label must lie than a strange cell's likeliest for a word on another
such cell to be heard."""

USUAL_MIXING = 0.6
"""How far the light mixes colours (root of the sum of squares, standard deviations) up to which it
is the calibration's: there 0.2 to 0.8, in other lights 0.4 to 2.2 is usual."""

STRUCTURE_LIMIT = 12.0
"""Twice the log odds that structure alone may bring."""


def believe(
    samples: Samples,
    light: Light,
    palette: Palette,
    places_mm: Array,
    known: Mapping[int, str],
    boards: int = 1,
) -> Belief:
    """The belief about every cell, given the cells (by index) that a person has named already.

    ``boards``: how many boards the cells lie on, of which no two lie near each other.
    """
    learned = learned_of(palette)
    names = (*learned.names, EMPTY)
    labels = {cell: names.index(name) for cell, name in known.items() if name in names}
    relative = 1 / (light.gain * palette.exposure[:, None])
    scene = first_scene(samples.top * relative, samples.board * relative, light, palette)
    one_by_one = fit_to(scene, learned)
    distances = one_by_one.distances + _structure(one_by_one.distances, samples.structure, palette)
    told = _told(distances, names, known)
    change, noise = samples.brightening * relative, samples.brightening_noise * relative
    likely = distances[:, :-1].argmin(axis=1)
    pieces = ~(told.empty & (told.trust > 0)) & (distances.min(axis=1) < STRANGE)
    own = one_by_one.own_colours(likely)
    veil, veil_root = veil_colours(change, noise, own, pieces, places_mm)
    piece, empty = _told_expected(told, one_by_one, places_mm)
    tint = _tint(scene.board, palette.empty, told, places_mm)
    scene = replace(
        scene,
        top=scene.top / tint,
        board=scene.board / tint,
        piece=piece,
        empty=empty,
        veil=veil,
        veil_root=veil_root,
    )

    kin = kinship(scene.top)
    alone = fit_to(scene, learned, before=one_by_one)
    added = _structure(alone.distances, samples.structure, palette)
    shift = weigh_together(lambda s: shifted(alone, s) + added, labels, kin, boards)[1]
    told_by_all = shifted(alone, shift[None])[0]
    added = _structure(told_by_all, samples.structure, palette)
    typical = float(np.median((told_by_all + added).min(axis=1)))
    scene = replace(scene, noise=_noise_where(typical))
    fit = fit_to(scene, learned, shift, alone)
    distances = weigh_together(lambda s: shifted(fit, s) + added, labels, kin, boards)[0]
    distances = as_named(distances, labels)
    best = distances.argmin(axis=1)
    clipped = np.where(best == len(names) - 1, 0.0, samples.clipped)
    belief = Belief(names, distances, fit.veil_at(best), _unlike(typical, shift), clipped)
    between = line_between(fit, shift, added)
    told_apart = weigh_pairs(belief, between, labels, learned.never, places_mm)
    return weigh_absent(told_apart, labels)


def _unlike(typical: float, shift: Array) -> float:
    """How unlike the calibration a photo looks: the ``typical`` distance of its cells to their
    likeliest label, and how far a ``shift`` (7,) had to go for that."""
    return typical + max(0.0, float(np.linalg.norm(shift[MIXED])) - USUAL_MIXING)


def as_named(distances: Array, labels: Mapping[int, int]) -> Array:
    """Distances (N, C) once a person's ``labels`` of cells that look like nothing learned are
    heard: a colour that a lamp has moved out of all that was learned.

    Cells that look as strange, and far likelier that colour than any other, are as near to it as
    they are to the named cell.
    """
    told = distances.copy()
    best, second = np.partition(distances, 1, axis=1)[:, :2].T
    alone = (best > STRANGE) & (second - best > ALONE)
    for label in set(labels.values()):
        named = [cell for cell, its in labels.items() if its == label and best[cell] > STRANGE]
        if not named:
            continue
        alike = alone & (distances[:, label] == best)
        told[alike, label] -= distances[named, label].min() - FAMILIAR
    return told


def _structure(distances: Array, structure: Array, palette: Palette) -> Array:
    """What structure adds (N, C) to the distances of any piece or of the empty cell.

    It is asked of the piece that the colour makes likeliest, for a pale piece hides less of a pale
    cell; between pieces it says nothing.
    """
    likeliest = distances[:, :-1].argmin(axis=1)
    weights = palette.structure[likeliest]
    odds = 2 * ((structure * weights[:, :3]).sum(axis=1) + weights[:, 3])
    odds = np.clip(odds, -STRUCTURE_LIMIT, STRUCTURE_LIMIT)
    odds[np.isnan(palette.empty[:, 0])] = 0
    against_pieces = np.maximum(-odds, 0)[:, None].repeat(distances.shape[1] - 1, axis=1)
    return np.column_stack([against_pieces, np.maximum(odds, 0)])


def first_scene(top: Array, board: Array, light: Light, palette: Palette) -> Scene:
    """Cells of relative colour (N, 3), as pieces and as empty, of which nothing is told yet."""
    count = len(top)
    veil, veil_root = usual_veil(count)
    still, wide = np.zeros(count), np.full(count, 0.3)
    return Scene(
        top=top,
        board=board,
        piece=seldom_veiled(still, wide, palette.veil_scale),
        empty=seldom_veiled(still, wide, MATTE_SCALE),
        noise=(NOISE_LAB, np.sqrt(0.03**2 + (0.5 * light.chroma_spread) ** 2)[None, None, :]),
        veil=veil,
        veil_root=veil_root,
    )


def _noise_where(typical: float) -> tuple[float, float]:
    """A cell's own noise, CIELAB and log chromaticity, in a photo of this typical distance."""
    strange = np.log(max(typical, 1e-3) / UNFAMILIAR[0]) / np.log(UNFAMILIAR[1] / UNFAMILIAR[0])
    return (
        float(np.interp(strange, (0, 1), OWN_NOISE_LAB)),
        float(np.interp(strange, (0, 1), OWN_CHROMA)),
    )


@dataclass(frozen=True, eq=False)
class _Told:
    """What the confident cells tell: label index (N,), trust in it (N,), whether it is empty."""

    label: NDArray[np.int64]
    trust: Array
    empty: NDArray[np.bool_]

    def noise(self, empty_sd: float, piece_sd: float) -> Array:
        """Standard deviation (N,) of what each cell tells; cells without trust tell nothing."""
        sd = np.where(self.empty, empty_sd, piece_sd) / np.sqrt(np.maximum(self.trust, 1e-3))
        return np.where(self.trust < 0.05, 30.0, sd)


def _told(distances: Array, names: tuple[str, ...], known: Mapping[int, str]) -> _Told:
    label = distances.argmin(axis=1)
    two = np.partition(distances, 1, axis=1)
    trust = np.clip((two[:, 1] - two[:, 0] - SURE[0]) / (SURE[1] - SURE[0]), 0, 1)
    trust[two[:, 0] > STRANGE] = 0
    for cell, name in known.items():
        if name in names:
            label[cell], trust[cell] = names.index(name), 1.0
        else:
            trust[cell] = 0.0
    return _Told(label, trust, label == len(names) - 1)


def _told_expected(told: _Told, fits: Fit, places_mm: Array) -> tuple[Expected, Expected]:
    """What the confident cells lead to expect of pieces and of empty cells at each other cell."""
    light, light_var = leave_one_out(
        places_mm,
        fits.shading_at(told.label),
        told.noise(0.06, 0.15),
        ((0.25, 60.0), (0.15, 18.0)),
    )
    noise = told.noise(30.0, 0.04)
    seen = fits.veil_at(told.label)
    level = float(np.clip((seen / noise**2).sum() / (1 / noise**2).sum(), 0, 0.3))
    glare, glare_var = leave_one_out(places_mm, seen - level, noise, ((0.05, np.inf), (0.10, 45.0)))
    veil = np.maximum(level + glare, 0)
    veil_sd = np.sqrt(glare_var + 0.06**2 + (0.4 * veil) ** 2)
    return (
        Expected(light, np.sqrt(light_var + 0.15**2), veil, veil_sd, np.zeros(len(veil))),
        seldom_veiled(light, np.sqrt(light_var + 0.08**2), MATTE_SCALE),
    )


def _tint(board: Array, empty: Array, told: _Told, places_mm: Array) -> Array:
    """Factors (N, 3) of the light's colour that the sure empty cells tell to the others.

    Pieces do not tell it: what a lamp does to a saturated colour is not what it does to white, and
    an adaptation that feeds on its own guesses runs away.
    """
    noise = np.where(told.empty, told.noise(0.03, 30.0), 30.0)
    seen = np.where(told.empty[:, None], np.maximum(board, 1e-4), 1.0)
    known = np.where(told.empty[:, None], np.maximum(empty, 1e-4), 1.0)
    ratio = (np.log(seen) - np.log(known)) @ INTENSITY_CHROMA.T
    green, _ = leave_one_out(places_mm, ratio[:, 1], noise, ((0.08, 80.0), (0.05, 20.0)))
    yellow, _ = leave_one_out(places_mm, ratio[:, 2], noise, ((0.12, 80.0), (0.06, 20.0)))
    chroma = np.stack([np.zeros_like(green), green, yellow], axis=1)
    return np.exp(chroma @ FROM_INTENSITY_CHROMA.T)
