"""Which colour each loose piece has: the table's colours moved to today's light, or in doubt.

Nothing but the pieces tells the light: one gain is sought under which the colours that the table
knows explain all pieces together. Gains that explain them nearly as well, and their neighbours,
put in doubt the pieces that they call otherwise. Near colours are then told apart by all pieces
together (``spread_pairs.py``).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette
from vision.colour import FROM_INTENSITY_CHROMA, lab_from_linear, linear_from_srgb
from vision.ground import LIKE_TABLE, from_table, half
from vision.leftovers import LoosePiece
from vision.shades import NOISE_LAB, Shades, glossy_shades
from vision.spread import Spread
from vision.spread_pairs import settled_by_all

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

CORE = 0.62
"""A piece's colour is sampled in its outline shrunk to this."""

SPREAD_LAB = 7.0
"""Standard deviation, CIELAB units, of a piece about its colour while the light is sought."""

FAR = 20.0
"""Squared distance, in spreads, at which a piece counts as unlike everything."""

BRIGHTNESS = np.linspace(-2.25, 2.25, 37)
RED_GREEN = np.linspace(-0.24, 0.24, 7)
YELLOW_BLUE = np.linspace(-0.5, 0.5, 11)
"""Log gains tried: cameras balance on the lamp, so that chroma moves less than brightness."""

CHROMA_SPREAD = np.array([0.1, 0.2])
"""Standard deviations of a gain's log chroma, red against green and yellow against blue."""

RIVALS = 3.0
"""Mean squared distance a piece, in spreads, by which a gain may be worse and still be possible."""

SHADING_SPREAD = 0.15
VEIL_SPREAD = 0.04
"""Standard deviations of a piece's log shading, and of its veil beyond the table's."""

MARGIN = 26.0
"""Difference of minus twice the log likelihood within which a colour cannot be ruled out."""

CLIPPED, ABSENT = 1.5, 1.25
"""So much wider is the margin of a piece with a channel at full scale, which hides how bright it
is, and toward a colour that no piece lies nearest to: all of it may lie on a near one's place."""

CHROMA_STEP = np.array([0.0, 0.08, 0.12])
"""A gain's neighbours lie so far off in log chroma: each lamp moves each paint its own way."""

WITNESSES, CAP = 3.0, 25.0
"""So many pieces' mean costs, each counted up to the cap, speak against a gain that fits worse. The
pieces err alike under a strange lamp, so that a hundred of them are no hundred witnesses."""

STRANGE = 20.0
"""Distance from which a piece resembles no colour of the table."""

MOVED = 10.0
"""Median distance of the pieces nearest to a colour from which none of them is certain: this light
has moved them, and what lies on a colour's place may be its neighbour moved onto it."""

NO_COLOUR = "it resembles no colour of this table"
STRANGE_LIGHT = "this light makes its colour look strange"

STRANGE_SHARE = 0.05
"""Share of such pieces from which the light is not understood."""

SHOWN = 3
"""So many pieces told for certain show how their colour looks in a light that is not understood."""

BURNT, BLEACHED = 0.98, 0.9
"""Full scale of a channel, and what the darkest channel passes only in white: a lamp that a piece
mirrors makes any colour so."""

BURNT_SHARE = 0.1
"""Of a piece's core from which it is in doubt: where a part of it mirrors a lamp to full scale, the
rest is bleached too."""

OTHER_LAB, OTHER_SHARE = 25.0, 0.08
"""CIELAB units from a core's own colour from which a pixel has another one, and the share of such
pixels from which it is no plain piece: a ring printed on the cloth shows the cloth in its hole."""

FEW_SAMPLES = 5


@dataclass(frozen=True, eq=False)
class ToldPiece:
    """A piece, the colours that it may have, likeliest first, and why it is in doubt, or None."""

    piece: LoosePiece
    candidates: tuple[str, ...]
    doubt: str | None


def core_colours(spread: Spread) -> tuple[Array, Array, Array]:
    """Median linear RGB (N, 3) of each piece's core, the share (N,) of it that is burnt out (white,
    or two channels at full scale: one alone leaves the hue to be told), and the share (N,) of it
    that has another colour than the rest."""
    linear = linear_from_srgb(spread.level)
    rows = []
    for piece in spread.pieces:
        middle = piece.outline_px.mean(axis=0)
        points = middle + (piece.outline_px - middle) * CORE
        low = np.clip(np.floor(points.min(axis=0)).astype(int), 0, None)
        high = np.ceil(points.max(axis=0)).astype(int) + 1
        part = linear[low[1] : high[1], low[0] : high[0]]
        mask = np.zeros(part.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.round((points - low) * 16).astype(np.int32)], 1, shift=4)
        core = part[mask > 0]
        own = np.median(core, axis=0)
        burnt = ((np.sort(core, axis=1)[:, 1] >= BURNT) | (core.min(axis=1) > BLEACHED)).mean()
        apart = np.linalg.norm(lab_from_linear(core) - lab_from_linear(own), axis=1)
        rows.append([*own, float(burnt), float((apart > OTHER_LAB).mean())])
    told = np.array(rows).reshape(-1, 5)
    return told[:, :3], told[:, 3], told[:, 4]


def tell_pieces(spread: Spread, palette: Palette) -> tuple[ToldPiece, ...]:
    """The colour of every piece of a spread, against what a table learned."""
    seen, burnt, mixed = core_colours(spread)
    names, middles = _middles(palette)
    shades = [_shades_of(palette, name) for name in names]
    gains = _with_neighbours(possible_gains(seen, middles))
    costs = np.array([_costs(seen, gain, shades, palette.veil_scale) for gain in gains])
    least = costs.min(axis=2)
    worse = np.minimum(least, CAP).mean(axis=1)
    worse = WITNESSES * (worse - worse.min())
    best = costs[int(worse.argmin())]
    above = (costs - least[:, :, None] + worse[:, None, None]).min(axis=0)
    plain = (burnt <= BURNT_SHARE) & (mixed <= OTHER_SHARE)
    possible = settled_by_all(costs, worse, above < margins(best, seen, plain), plain)
    moved = moved_pieces(best, plain)
    told = []
    for i, piece in enumerate(spread.pieces):
        order = sorted(range(len(names)), key=lambda k: (best[i, k], names[k]))
        candidates = tuple(names[k] for k in order if possible[i, k])
        why = _doubt(candidates, best[i].min(), burnt[i], mixed[i], moved[i])
        told.append(ToldPiece(piece, candidates, why))
    return tuple(told)


def _with_neighbours(gains: list[Array]) -> list[Array]:
    """The gains, and those a step of chroma beside each."""
    steps = [np.array([0.0, a, b]) for a in (0, -1, 1) for b in (0, -1, 1)]
    return [gain * np.exp((step * CHROMA_STEP) @ FROM_INTENSITY_CHROMA.T)
            for gain in gains for step in steps]  # fmt: skip


def colours_like_table(
    spread: Spread, told: Sequence[ToldPiece], palette: Palette
) -> tuple[str, ...]:
    """Colours of which a piece may lie unseen, for in this light they may look like the bare table.

    Such is a colour that a possible light would show so, and each that a piece which looks so may
    have. Where pieces resemble no colour the light is not understood: then it is every colour that
    too few pieces show. What looks unlike the table is caught as a place that no piece
    explains (``leftovers.left_over``).
    """
    seen, _, _ = core_colours(spread)
    names, middles = _middles(palette)
    gains = np.array(possible_gains(seen, middles))
    shown = np.minimum(middles * gains[:, None], 1.0)
    alike = set(np.array(names)[_like_table(shown, spread).any(axis=0)].tolist())
    for one, looks_so in zip(told, _like_table(seen, spread), strict=True):
        alike |= set(one.candidates) if looks_so else set()
    if np.mean([one.doubt in (NO_COLOUR, STRANGE_LIGHT) for one in told]) > STRANGE_SHARE:
        sure = Counter(one.candidates[0] for one in told if one.doubt is None)
        alike |= {name for name in names if sure[name] < SHOWN}
    return tuple(name for name in names if name in alike)


def _like_table(linear: Array, spread: Spread) -> Mask:
    """Which of these colours (..., 3), linear RGB, may be the bare table's (...)."""
    lab = half(lab_from_linear(linear).astype(np.float32))
    return np.asarray(from_table(lab, spread.table) <= LIKE_TABLE)


def _middles(palette: Palette) -> tuple[list[str], Array]:
    """The colours in alphabetical order and the median sample (C, 3) of each."""
    names, labels = sorted(set(palette.colours)), np.array(palette.colours)
    return names, np.array([np.median(palette.samples[labels == name], axis=0) for name in names])


def margins(best: Array, seen: Array, plain: Mask) -> Array:
    """How much worse (N, C) than its nearest a colour may explain each piece and be possible; by
    costs (N, C), the pieces' linear RGB (N, 3), and which of them are plain."""
    absent = ~np.isin(np.arange(best.shape[1]), best.argmin(axis=1)[plain])
    clipped = seen.max(axis=1) >= BURNT
    wide = np.where(absent, ABSENT, 1.0)[None] * np.where(clipped, CLIPPED, 1.0)[:, None]
    return np.asarray(MARGIN * wide)


def moved_pieces(best: Array, plain: Mask) -> Mask:
    """The pieces (N,) whose nearest colour, by costs (N, C), explains its plain pieces badly."""
    distance, nearest = best.min(axis=1), best.argmin(axis=1)
    far = [
        colour
        for colour in np.unique(nearest[plain])
        if np.median(distance[plain & (nearest == colour)]) > MOVED
    ]
    return np.isin(nearest, far)


def _doubt(
    candidates: tuple[str, ...], distance: float, burnt: float, mixed: float, moved: bool
) -> str | None:
    if mixed > OTHER_SHARE:
        return "it is not of one colour"
    if distance > STRANGE:
        return NO_COLOUR
    if burnt > BURNT_SHARE:
        return "it is burnt out in places; its colour may be bleached"
    if len(candidates) != 1:
        return "it lies between colours"
    return STRANGE_LIGHT if moved else None


def possible_gains(seen: Array, middles: Array) -> list[Array]:
    """Gains (3,) of today's light over the table's, the best first; seen (N, 3), middles (C, 3)."""
    grid = np.stack(np.meshgrid(BRIGHTNESS, RED_GREEN, YELLOW_BLUE, indexing="ij"), -1)
    starts = grid.reshape(-1, 3)
    worths = np.array([_misfit(np.exp(s @ FROM_INTENSITY_CHROMA.T), seen, middles) +
                       _unlikely(s) / len(seen) for s in starts])  # fmt: skip
    kept: list[tuple[float, Array]] = []
    for index in np.argsort(worths)[:60]:
        gain = np.exp(starts[index] @ FROM_INTENSITY_CHROMA.T)
        for _ in range(6):
            gain = _refitted(gain, seen, middles)
        worth = _misfit(gain, seen, middles)
        if all(np.abs(np.log(gain / other)).max() > 0.06 for _, other in kept):
            kept.append((worth, gain))
    kept.sort(key=lambda entry: entry[0])
    return [gain for worth, gain in kept if worth < kept[0][0] + RIVALS][:4]


def _unlikely(log_gain: Array) -> float:
    return float(((log_gain[1:] / CHROMA_SPREAD) ** 2).sum())


def _distances(gain: Array, seen: Array, middles: Array) -> Array:
    """Squared distance (N, C), in spreads, of every piece to every colour as this light shows it,
    clipped where the camera clips it."""
    shown = lab_from_linear(np.minimum(middles * gain, 1.0) / gain)
    return ((lab_from_linear(seen / gain)[:, None] - shown[None]) ** 2).sum(-1) / SPREAD_LAB**2


def _misfit(gain: Array, seen: Array, middles: Array) -> float:
    return float(np.minimum(_distances(gain, seen, middles).min(axis=1), FAR).mean())


def _refitted(gain: Array, seen: Array, middles: Array) -> Array:
    """The gain at which the pieces nearest to their colours lie on them."""
    far = _distances(gain, seen, middles)
    label = far.argmin(axis=1)
    sure = (far.min(axis=1) < 9) & (seen.max(axis=1) < BURNT) & (seen.min(axis=1) > 0.003)
    if sure.sum() < 3:
        return gain
    ratio = np.log(np.maximum(seen, 1e-4) / np.maximum(middles[label], 1e-4))
    return np.asarray(np.exp(np.median(ratio[sure], axis=0)))


def _shades_of(palette: Palette, name: str) -> Shades:
    """What light makes of a few samples of one colour, from the least to the most bright."""
    own = np.flatnonzero(np.array(palette.colours) == name)
    own = own[np.argsort(palette.samples[own].sum(axis=1), kind="stable")]
    pick = own[np.unique(np.linspace(0, len(own) - 1, min(FEW_SAMPLES, len(own))).astype(int))]
    return glossy_shades(palette.samples[pick], palette.veils[pick])


def _costs(seen: Array, gain: Array, shades: list[Shades], veil: float) -> Array:
    """Minus twice the log likelihood (N, C) of each colour for colours seen (N, 3) under a gain
    (3,) of the light; what would be brighter than full scale is seen at full scale."""
    lab = lab_from_linear(seen / gain).astype(np.float32)
    costs = np.zeros((len(lab), len(shades)))
    for k, shade in enumerate(shades):
        rest = (
            shade.penalty
            + (shade.shading / SHADING_SPREAD) ** 2
            + (np.maximum(shade.veil - veil, 0) / VEIL_SPREAD) ** 2
        )
        shown = lab_from_linear(np.minimum(shade.linear, 1 / gain)).astype(np.float32)
        for i, one in enumerate(lab):
            off = ((shown - one) ** 2).sum(axis=1) / (NOISE_LAB * shade.spread) ** 2
            costs[i, k] = float((off + rest).min())
    return costs
