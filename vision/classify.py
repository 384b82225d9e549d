"""Telling colours: nearest neighbours among the table's samples, moved to today's light.

Every sample of the calibration stands with its variants (``vision.shades``). A cell's distance to
a colour is the mean over its ``NEIGHBOURS`` nearest variants of: squared CIELAB difference over its
noise, plus what that much shading and veil costs at this place of the board. Confident cells, and
cells that a person named, then tell the light and the glare about the others, and all are judged
again; at last all of them together under one unknown shift of the light (``vision.together``).
Source of the rule: Cover and Hart, "Nearest neighbor pattern classification", 1967.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette
from scoring.types import EMPTY
from vision.colour import FROM_INTENSITY_CHROMA, INTENSITY_CHROMA, lab_from_linear
from vision.shades import NOISE_LAB, Shades, glossy_shades, matte_shades
from vision.smooth import leave_one_out
from vision.together import NEIGHBOURS, Looks, lamp_slopes, weigh_together, whitening
from vision.types import Light, Samples

Array = NDArray[np.float64]

LOOKS = 10
"""Nearest variants of each label that stay in play when all cells are weighed together."""

NEVER = 1e6
"""Distance to what cannot be: empty, at a cell that was never seen empty."""

ROUNDS = 2
SURE = (3.0, 9.0)
"""Margins from which a cell begins to tell, and fully tells, the light of others."""

STRUCTURE_LIMIT = 12.0
"""Twice the log odds that structure alone may bring."""


@dataclass(frozen=True, eq=False)
class Belief:
    """What colour says of every cell: ``names`` C labels, the last ``empty``.

    ``distances`` (N, C): minus twice a log likelihood, smaller is likelier; ``veil`` (N,): glare in
    the likeliest explanation, share of white; ``typical`` the photo's median distance to the
    likeliest label when each cell was judged by itself: how strange today's light is.
    """

    names: tuple[str, ...]
    distances: Array
    veil: Array
    typical: float


@dataclass(frozen=True, eq=False)
class _Setting:
    """What is expected at each cell: shading of pieces and of empty cells, veil, colour noise."""

    shading: Array
    piece_sd: Array
    empty_sd: Array
    veil: Array | None
    veil_sd: Array
    chroma_sd: Array


def believe(
    samples: Samples,
    light: Light,
    palette: Palette,
    places_mm: Array,
    known: Mapping[int, str],
) -> Belief:
    """The belief about every cell, given the cells (by index) that a person has named already."""
    names = (*sorted(set(palette.colours)), EMPTY)
    relative = 1 / (light.gain * palette.exposure[:, None])
    top, board = samples.top * relative, samples.board * relative
    setting = _first_setting(len(top), light)
    tint = np.ones_like(top)
    for round_ in range(ROUNDS):
        fits = _fits(top / tint, board / tint, palette, names, setting)
        distances = fits.distances + _structure(fits.distances, samples.structure, palette)
        if round_ < ROUNDS - 1:
            told = _told(distances, names, known)
            setting = _next_setting(setting, told, fits, places_mm)
            tint = _tint(board, palette.empty, told, places_mm)
    labels = {cell: names.index(name) for cell, name in known.items() if name in names}
    typical = float(np.median(distances.min(axis=1)))
    distances = weigh_together(fits.looks, distances - fits.distances, typical, labels)
    best = distances.argmin(axis=1)
    return Belief(names, distances, fits.veil[np.arange(len(best)), best], typical)


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


def _first_setting(count: int, light: Light) -> _Setting:
    chroma_sd = np.sqrt(0.03**2 + (0.5 * light.chroma_spread) ** 2)
    return _Setting(
        shading=np.zeros(count),
        piece_sd=np.full(count, 0.3),
        empty_sd=np.full(count, 0.3),
        veil=None,
        veil_sd=np.zeros(count),
        chroma_sd=np.tile(chroma_sd, (count, 1)),
    )


@lru_cache(maxsize=16)
def _shades_of(palette: Palette) -> tuple[dict[str, Shades], list[Shades | None]]:
    """Variants of each colour, and of each empty cell (None where never seen empty)."""
    colours = np.array(palette.colours)
    pieces = {
        name: glossy_shades(palette.samples[colours == name], palette.veils[colours == name])
        for name in sorted(set(palette.colours))
    }
    return pieces, [None if np.isnan(cell[0]) else matte_shades(cell) for cell in palette.empty]


@dataclass(frozen=True, eq=False)
class _Fits:
    """Distance, log shading and veil (N, C) of every cell's best variant of every label, and the
    nearest few variants."""

    distances: Array
    shading: Array
    veil: Array
    looks: Looks


def _fits(
    top: Array, board: Array, palette: Palette, names: tuple[str, ...], setting: _Setting
) -> _Fits:
    pieces, empties = _shades_of(palette)
    shape = (len(top), len(names))
    distances, shading, veil = np.full(shape, NEVER), np.zeros(shape), np.zeros(shape)
    looks = Looks(
        difference=np.zeros((*shape, LOOKS, 3)),
        spread=np.ones((*shape, LOOKS)),
        rest=np.full((*shape, LOOKS), NEVER),
        top=top,
        board=board,
    )
    chroma_sd = setting.chroma_sd[:, None, :]
    whiten_top = whitening(lamp_slopes(top), NOISE_LAB, chroma_sd)
    whiten_board = whitening(lamp_slopes(board), NOISE_LAB, chroma_sd)
    top_lab = lab_from_linear(top).astype(np.float32)
    board_lab = lab_from_linear(board).astype(np.float32)
    for i in range(len(top)):
        for k, name in enumerate(names):
            shades = pieces[name] if name != EMPTY else empties[i]
            if shades is None:
                continue
            lab, whiten = (top_lab, whiten_top) if name != EMPTY else (board_lab, whiten_board)
            sd = setting.piece_sd[i] if name != EMPTY else setting.empty_sd[i]
            difference = shades.lab - lab[i]
            colour = _squared(difference @ whiten[i].T.astype(np.float32)) / shades.spread**2
            rest = shades.penalty + ((shades.shading - np.float32(setting.shading[i])) / sd) ** 2
            if name != EMPTY:
                rest = rest + _veil_cost(shades, palette, setting, i)
            near = _nearest(colour + rest)
            cost = (colour + rest)[near]
            distances[i, k] = cost[:NEIGHBOURS].mean()
            shading[i, k], veil[i, k] = shades.shading[near[0]], shades.veil[near[0]]
            looks.difference[i, k, : len(near)] = difference[near]
            looks.spread[i, k, : len(near)] = shades.spread[near]
            looks.rest[i, k, : len(near)] = rest[near]
    return _Fits(distances, shading, veil, looks)


def _squared(differences: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.einsum("ij,ij->i", differences, differences)


def _veil_cost(shades: Shades, palette: Palette, setting: _Setting, i: int) -> Array:
    veil = shades.veil.astype(np.float64)
    if setting.veil is None:
        return 2 * veil / palette.veil_scale
    return ((veil - setting.veil[i]) / setting.veil_sd[i]) ** 2


def _nearest(cost: Array) -> NDArray[np.int64]:
    """The ``LOOKS`` nearest variants, the nearest first."""
    near = np.argpartition(cost, LOOKS)[:LOOKS] if len(cost) > LOOKS else np.arange(len(cost))
    return near[np.argsort(cost[near], kind="stable")]


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
    trust[two[:, 0] > 25] = 0
    for cell, name in known.items():
        if name in names:
            label[cell], trust[cell] = names.index(name), 1.0
        else:
            trust[cell] = 0.0
    return _Told(label, trust, label == len(names) - 1)


def _next_setting(setting: _Setting, told: _Told, fits: _Fits, places_mm: Array) -> _Setting:
    """What the confident cells lead to expect at each other cell."""
    rows = np.arange(len(told.label))
    light, light_var = leave_one_out(
        places_mm,
        fits.shading[rows, told.label],
        told.noise(0.06, 0.15),
        ((0.25, 60.0), (0.15, 18.0)),
    )
    noise = told.noise(30.0, 0.04)
    seen = fits.veil[rows, told.label]
    level = float(np.clip((seen / noise**2).sum() / (1 / noise**2).sum(), 0, 0.3))
    glare, glare_var = leave_one_out(places_mm, seen - level, noise, ((0.05, np.inf), (0.10, 45.0)))
    expected = np.maximum(level + glare, 0)
    return _Setting(
        shading=light,
        piece_sd=np.sqrt(light_var + 0.15**2),
        empty_sd=np.sqrt(light_var + 0.08**2),
        veil=expected,
        veil_sd=np.sqrt(glare_var + 0.06**2 + (0.4 * expected) ** 2),
        chroma_sd=setting.chroma_sd,
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
