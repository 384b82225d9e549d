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

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette
from scoring.types import EMPTY
from vision.belief import Belief
from vision.colour import FROM_INTENSITY_CHROMA, INTENSITY_CHROMA
from vision.explain import Expected, Explained, explain, whitening_at
from vision.glare import usual_veil, veil_colours
from vision.pairs import Between, Indices, weigh_pairs
from vision.smooth import leave_one_out
from vision.together import kinship, weigh_together
from vision.types import Light, Samples

Array = NDArray[np.float64]

NEIGHBOURS = 3

NEVER = 1e6
"""Distance to what cannot be: empty, at a cell that was never seen empty."""

NOISE_LAB = 2.0
"""Standard deviation of a cell's colour, CIELAB units per axis, before the photo tells its own."""

OWN_NOISE_LAB = (0.6, 2.2)
OWN_CHROMA = (0.012, 0.04)
UNFAMILIAR = (0.3, 1.5)
"""A cell's own noise (CIELAB, and log chromaticity) where the photo's cells look as learned, and
where they do not: their median distance to the likeliest label is the measure."""

LIGHT_SD = 0.08
"""How far today's light may be off what the board tells: log chromaticity, green and yellow."""

MATTE_SCALE = 0.02
"""Mean veil over an empty cell: board and paper carry next to no glare."""

SURE = (3.0, 9.0)
"""Margins from which a cell begins to tell, and fully tells, the light of others."""

STRANGE = 25.0
"""Distance to the likeliest label beyond which a cell tells nothing of the light."""

FAR = 50.0
"""How much farther than the likeliest label another is no candidate under any shift."""

CLEAR = 0.05
"""Veil, share of white, over which a sample counts less for its label's middle."""

LEAST_APART = 0.2
"""Two labels count as so far apart at least, in standard deviations of a cell's noise."""

STRUCTURE_LIMIT = 12.0
"""Twice the log odds that structure alone may bring."""


STILL = np.zeros(4)
"""No shift of the light."""


@dataclass(frozen=True, eq=False)
class _Learned:
    """Samples (J, 3) of pieces with their label's index (J,) and own veil (J,); empty cells (N, 3)
    and which of them were never seen empty (N,)."""

    names: tuple[str, ...]
    samples: Array
    labels: NDArray[np.int64]
    veils: Array
    empty: Array
    never: NDArray[np.bool_]


def _learned_of(palette: Palette) -> _Learned:
    names = tuple(sorted(set(palette.colours)))
    never = np.isnan(palette.empty[:, 0])
    return _Learned(
        names=names,
        samples=palette.samples,
        labels=np.array([names.index(name) for name in palette.colours]),
        veils=palette.veils,
        empty=np.where(never[:, None], 1.0, palette.empty),
        never=never,
    )


@dataclass(frozen=True, eq=False)
class _Scene:
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
    def top_whitening(self) -> Array:
        """Whitening (N, 3, 3) at each cell as a piece; it serves every shift."""
        return whitening_at(self.top, *self.noise)

    @cached_property
    def board_whitening(self) -> Array:
        """Whitening (N, 3, 3) at each cell as empty."""
        return whitening_at(self.board, *self.noise)


def believe(
    samples: Samples,
    light: Light,
    palette: Palette,
    places_mm: Array,
    known: Mapping[int, str],
) -> Belief:
    """The belief about every cell, given the cells (by index) that a person has named already."""
    learned = _learned_of(palette)
    names = (*learned.names, EMPTY)
    labels = {cell: names.index(name) for cell, name in known.items() if name in names}
    relative = 1 / (light.gain * palette.exposure[:, None])
    scene = _first_scene(samples.top * relative, samples.board * relative, light, palette)
    one_by_one = _fit(scene, learned)
    distances = one_by_one.distances + _structure(one_by_one.distances, samples.structure, palette)
    told = _told(distances, names, known)
    change, noise = samples.brightening * relative, samples.brightening_noise * relative
    likely = distances[:, :-1].argmin(axis=1)
    pieces = ~(told.empty & (told.trust > 0)) & (distances.min(axis=1) < STRANGE)
    own = one_by_one.own_colours(likely)
    veil, veil_root = veil_colours(change, noise, own, pieces, places_mm)
    piece, empty = _told_expected(told, one_by_one, palette, places_mm)
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
    alone = _fit(scene, learned)
    added = _structure(alone.distances, samples.structure, palette)
    shift = weigh_together(lambda shifts: _shifted(alone, shifts) + added, labels, kin)[1]
    fit = _fit(scene, learned, shift)
    added = _structure(fit.distances, samples.structure, palette)
    typical = float(np.median((fit.distances + added).min(axis=1)))
    scene = replace(scene, noise=_noise_where(typical))
    fit = _fit(scene, learned, shift)
    distances = weigh_together(lambda shifts: _shifted(fit, shifts) + added, labels, kin)[0]
    best = distances.argmin(axis=1)
    clipped = np.where(best == len(names) - 1, 0.0, samples.clipped)
    belief = Belief(names, distances, fit.veil_at(best), typical, clipped)
    return weigh_pairs(belief, _between(fit, shift, added), labels, learned.never)


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


def _first_scene(top: Array, board: Array, light: Light, palette: Palette) -> _Scene:
    count = len(top)
    veil, veil_root = usual_veil(count)
    still, wide = np.zeros(count), np.full(count, 0.3)
    return _Scene(
        top=top,
        board=board,
        piece=Expected(still, wide, palette.veil_scale),
        empty=Expected(still, wide, MATTE_SCALE),
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
class _Fit:
    """How the learned samples explain every cell under one shift of the light: distances (N, C);
    the nearest samples of each label as P pairs, in the order of cell and label, with the cell's
    and the sample's index, and their explanations (1, P); those of the empty cells (1, N)."""

    scene: _Scene
    learned: _Learned
    distances: Array
    cell: NDArray[np.int64]
    sample: NDArray[np.int64]
    piece: Explained
    empty: Explained

    def own_colours(self, labels: NDArray[np.int64]) -> Array:
        """Shaded colour (N, 3) of the nearest sample of each cell's label."""
        pair = self._nearest(labels)
        return self.learned.samples[self.sample[pair]] * np.exp(self.piece.shading[0, pair, None])

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
        """The pair (N,) of each cell with the nearest sample of its label."""
        own = np.flatnonzero(self.learned.labels[self.sample] == labels[self.cell])
        order = own[np.lexsort((self.piece.cost[0, own], self.cell[own]))]
        return order[np.unique(self.cell[order], return_index=True)[1]]


def _fit(scene: _Scene, learned: _Learned, shift: Array = STILL) -> _Fit:
    """The fit of every sample to every cell under ``shift`` (4,)."""
    cells, samples = len(scene.top), len(learned.samples)
    cell = np.repeat(np.arange(cells), samples)
    sample = np.tile(np.arange(samples), cells)
    lights = _lights(scene, shift[None])
    every = _pieces(scene, learned, cell, sample, lights)
    label = learned.labels[sample]
    order = np.lexsort((every.cost[0], label, cell))
    group = (cell * len(learned.names) + label)[order]
    first = np.flatnonzero(np.diff(group, prepend=-1))
    rank = np.arange(len(order)) - np.repeat(first, np.diff(first, append=len(order)))
    near = order[rank < NEIGHBOURS]
    piece = Explained(every.cost[:, near], every.shading[:, near], every.veil[:, near])
    empty = _empties(scene, learned, lights)
    by_label = _group_means(piece.cost, cell[near], label[near])[0].reshape(cells, -1)
    none = np.where(learned.never, NEVER, empty.cost[0])
    distances = np.column_stack([by_label, none])
    return _Fit(scene, learned, distances, cell[near], sample[near], piece, empty)


def _shifted(fit: _Fit, shifts: Array) -> Array:
    """Distances (S, N, C) under ``shifts`` (S, 4), by the samples that were nearest in ``fit``.

    What is far off there stays as far off: no likely shift brings it near.
    """
    learned = fit.learned
    label = learned.labels[fit.sample]
    far = fit.distances[fit.cell, label] > fit.distances.min(axis=1)[fit.cell] + FAR
    cell, sample, label = fit.cell[~far], fit.sample[~far], label[~far]
    lights = _lights(fit.scene, shifts)
    piece = _pieces(fit.scene, learned, cell, sample, lights)
    empty = _empties(fit.scene, learned, lights)
    distances = np.tile(fit.distances, (len(shifts), 1, 1))
    group = np.unique(cell * len(learned.names) + label)
    means = _group_means(piece.cost, cell, label)
    distances[:, group // len(learned.names), group % len(learned.names)] = means
    distances[:, :, -1] = np.where(learned.never, NEVER, empty.cost)
    return distances


def _group_means(cost: Array, cell: NDArray[np.int64], label: NDArray[np.int64]) -> Array:
    """Mean cost (S, G) of the pairs of each cell and label, which stand side by side."""
    first = np.flatnonzero((np.diff(cell, prepend=-1) != 0) | (np.diff(label, prepend=-1) != 0))
    return np.add.reduceat(cost, first, axis=1) / np.diff(first, append=len(cell))


def _pieces(
    scene: _Scene,
    learned: _Learned,
    cell: NDArray[np.int64],
    sample: NDArray[np.int64],
    lights: tuple[Array, Array],
) -> Explained:
    """Each of the cells (P,) explained by its sample (P,) under ``lights`` from ``_lights``."""
    return explain(
        scene.top,
        scene.top_whitening,
        learned.samples[sample],
        learned.veils[sample],
        cell,
        *lights,
        scene.piece,
        scene.noise[0],
    )


def _empties(scene: _Scene, learned: _Learned, lights: tuple[Array, Array]) -> Explained:
    """Every cell explained by its own empty self under ``lights`` from ``_lights``."""
    every = np.arange(len(scene.board))
    return explain(
        scene.board,
        scene.board_whitening,
        learned.empty,
        np.zeros(len(every)),
        every,
        *lights,
        scene.empty,
        scene.noise[0],
    )


@dataclass(frozen=True, eq=False)
class _Middles:
    """Every label's middle (C, 3), shaded alike, with its veil (C,), and the explanations (N, C)
    by them of every cell, the last one by its empty self."""

    colours: Array
    explained: Explained


def _middles(fit: _Fit, lights: tuple[Array, Array]) -> _Middles:
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
    cell, label = np.divmod(np.arange(cells * labels), labels)
    piece = explain(
        scene.top,
        scene.top_whitening,
        np.array(colours)[label],
        np.array(veils)[label],
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


def _between(fit: _Fit, shift: Array, added: Array) -> Callable[[int, int, Indices], Between]:
    """What places cells on the line between two labels under ``shift`` (4,).

    How far the two are apart at a cell is measured against its noise and against what shading and
    veil may do there (generalised least squares).
    """
    scene, empty = fit.scene, len(fit.learned.names)
    lamp, light = _lights(scene, shift[None])
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


def _lights(scene: _Scene, shifts: Array) -> tuple[Array, Array]:
    """Colour of the veil (S, N, 3) and factors of the light (S, 3) under ``shifts`` (S, 4), in
    standard deviations: the light greener and yellower, and two of the glare's colour."""
    light = np.exp(LIGHT_SD * shifts[:, :2] @ FROM_INTENSITY_CHROMA[:, 1:].T)
    tone = scene.veil + np.einsum("nij,sj->sni", scene.veil_root, shifts[:, 2:])
    lamp = np.exp(np.stack([tone[..., 0], np.zeros(tone.shape[:2]), tone[..., 1]], axis=2))
    return lamp, light


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


def _told_expected(
    told: _Told, fits: _Fit, palette: Palette, places_mm: Array
) -> tuple[Expected, Expected]:
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
        Expected(light, np.sqrt(light_var + 0.15**2), palette.veil_scale, veil, veil_sd),
        Expected(light, np.sqrt(light_var + 0.08**2), MATTE_SCALE),
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
