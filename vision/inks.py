"""Which colour of piece a printed ink stands for: near the pieces' own colours, or asked.

A printer's ink comes near the paint of the piece but does not match it, so that an ink is certain
only where one colour explains it far better than all others. Once a person has named an ink of the
same printing, the next card's is compared with that one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Palette
from vision.cards import CardCell
from vision.colour import lab_from_linear

Array = NDArray[np.float64]

PAPER = 0.85
"""Share of light that card paper sends back (by hand)."""

LIGHTNESS = 0.6
"""Weight of a difference in L beside a and b: prints are lighter or darker than pieces."""

PIECE_SPREAD, INK_SPREAD = 10.0, 3.0
"""Standard deviations, CIELAB units per axis, of an ink about its piece and about itself on
another card in the same light (by hand)."""

SURE = 11.0
"""Difference of minus twice the log likelihood within which a colour cannot be ruled out."""

STRANGE = 12.0
"""Squared distance, in spreads, from which an ink resembles no colour known."""

SAME_INK = 4.0
"""CIELAB difference up to which two cells of a card show one ink."""

NEUTRAL = 9.0
"""CIELAB difference from the paper up to which a cell may be left unprinted."""

SAME_SIGN, SHIFT_PX = 0.95, 4
"""Correlation from which two cells show one sign, and by how many px of the face it may stand off;
in 39 rendered photos like signs came to 0.95 and more, others to 0.87 at most."""

MAYBE_NO_CELL = "there may be no cell here"

Named = Mapping[str, Sequence[Array]]
"""Inks (3,), CIELAB, that a person named on earlier cards, by colour."""


@dataclass(frozen=True, eq=False)
class Ink:
    """Cells (by index) that show one ink, or one sign on bare paper: its CIELAB (3,), the colours
    that it may stand for, likeliest first, and why it is asked (None: certain)."""

    cells: tuple[int, ...]
    lab: Array
    candidates: tuple[str, ...]
    doubt: str | None


def tell_inks(
    cells: Sequence[CardCell], colours: Sequence[str], palette: Palette | None, named: Named
) -> tuple[Ink, ...]:
    """The inks of a card; without a palette only inks that were named before can be certain."""
    labs = lab_from_linear(np.array([cell.ink for cell in cells]) * PAPER)
    paper = lab_from_linear(np.full(3, PAPER))
    inks = []
    for group in _grouped(cells, labs, paper):
        lab = labs[list(group)].mean(axis=0)
        if any(not cells[i].sure for i in group):
            inks.append(Ink(group, lab, (), MAYBE_NO_CELL))
        elif np.linalg.norm(lab - paper) < NEUTRAL:
            inks.append(Ink(group, lab, (), "no colour is printed here, it may be a sign"))
        else:
            inks.append(_told(group, lab, costs(lab, colours, palette, named)))
    return tuple(inks)


def _grouped(cells: Sequence[CardCell], labs: Array, paper: Array) -> list[tuple[int, ...]]:
    """Indices of the cells by ink, or by sign where no colour is printed; those that may be none
    together."""
    bare = np.linalg.norm(labs - paper, axis=1) < NEUTRAL

    def alike(i: int, j: int) -> bool:
        if not (cells[i].sure and cells[j].sure):
            return cells[i].sure == cells[j].sure
        if bare[i] != bare[j]:
            return False
        if bare[i]:
            return same_sign(cells[i], cells[j])
        return bool(np.linalg.norm(labs[i] - labs[j]) < SAME_INK)

    groups: list[list[int]] = []
    for i in range(len(cells)):
        own = next((group for group in groups if all(alike(i, j) for j in group)), None)
        if own is None:
            groups.append([i])
        else:
            own.append(i)
    return [tuple(group) for group in groups]


def same_sign(one: CardCell, other: CardCell) -> bool:
    """Whether two unprinted cells show one and the same sign, by normalised cross-correlation."""
    if not (one.signed and other.signed):
        return False
    core = np.ascontiguousarray(one.face[SHIFT_PX:-SHIFT_PX, SHIFT_PX:-SHIFT_PX])
    return float(cv2.matchTemplate(other.face, core, cv2.TM_CCOEFF_NORMED).max()) > SAME_SIGN


def costs(
    lab: Array, colours: Sequence[str], palette: Palette | None, named: Named
) -> dict[str, tuple[float, float]]:
    """By colour: minus twice the log likelihood of an ink, and its squared distance in spreads.

    Colours of which nothing is known are as likely as an ink ``STRANGE`` spreads off.
    """
    found = {}
    for name in colours:
        tries = [(_square(lab - ink) / INK_SPREAD**2, INK_SPREAD) for ink in named.get(name, ())]
        if not tries and palette is not None and name in palette.colours:
            own = np.median(palette.samples[np.array(palette.colours) == name], axis=0)
            tries = [(_square(lab - lab_from_linear(own)) / PIECE_SPREAD**2, PIECE_SPREAD)]
        square, spread = min(tries, default=(STRANGE, PIECE_SPREAD))
        found[name] = (square + 6 * float(np.log(spread)), square)
    return found


def _square(difference: Array) -> float:
    return float(((difference * [LIGHTNESS, 1, 1]) ** 2).sum())


def _told(group: tuple[int, ...], lab: Array, cost: Mapping[str, tuple[float, float]]) -> Ink:
    order = sorted(cost, key=lambda name: (cost[name][0], name))
    best = cost[order[0]]
    if best[1] >= STRANGE:
        return Ink(group, lab, tuple(order), "the ink resembles no colour known")
    candidates = tuple(name for name in order if cost[name][0] - best[0] < SURE)
    doubt = None if len(candidates) == 1 else "the ink lies between colours"
    return Ink(group, lab, candidates, doubt)
