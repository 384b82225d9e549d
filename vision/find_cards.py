"""A photo of a card, or of several laid beside each other -> what it shows of each.

Every quadrilateral that may be a card is looked at by itself. Those of one place are one card; what
holds several of them, or is of quite another size, is none.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.card_outline import card_quads
from vision.cards import CardLook, Levelled, card_look, lattice_on, paper_share
from vision.cell_shape import CellShape, cell_shape
from vision.errors import BoardNotFound
from vision.geometry import reading_order
from vision.rectify import to_decoded
from vision.types import Photo

Array = NDArray[np.float64]

OF_A_SIZE = 0.4
"""Area of the smallest card in a photo over the largest one's, at least: near and far."""

PAPER_SHARE = 0.75
"""Of what lies close round a card's cells at least this much is paper of one tint; a checked cloth,
whose checks stand on a lattice as well, has none."""


def look_at_cards(
    photo: Photo, like: str, tall: float = 1.0, corners_px: Array | None = None
) -> tuple[CardLook, ...]:
    """The cards in a photo from left to right, the upper row first; of each that side is the upper
    one which lies nearest to the photo's.

    ``like`` and ``tall`` as in ``cell_shape``; ``corners_px`` (4, 2), full-size px, of one card if
    a person pointed at them. Raises BoardNotFound where no card with at least two cells of the
    lattice is seen.
    """
    shape = cell_shape(like, tall)
    if corners_px is None:
        cards = _cards_in(photo, shape)
    else:
        one = lattice_on(photo.pixels, to_decoded(photo, corners_px), shape)
        cards = [one] if one else []
    if not cards:
        raise BoardNotFound(
            photo.name,
            "no card with a pattern of this game's cells is seen.",
            "Lay it flat on a plain dark table, several beside each other and none on another, let "
            "them fill the photo, keep glare off, or photograph one and give its --corners.",
        )
    order = reading_order([card.corners for card in cards])
    return tuple(card_look(photo, cards[i], shape) for i in order)


def _cards_in(photo: Photo, shape: CellShape) -> list[Levelled]:
    """The cards that are found without help."""
    quads = card_quads(photo.pixels)
    looked = [lattice_on(photo.pixels, quad, shape) for quad in quads]
    found = [seen for seen in looked if seen and paper_share(seen, shape) > PAPER_SHARE]
    return of_a_size(one_a_place(without_holders(found)))


def without_holders(found: Sequence[Levelled]) -> list[Levelled]:
    """All but those that hold two or more others that lie apart: a cloth, a tray, a row of them."""
    return [one for one in found if len(one_a_place([o for o in found if _holds(one, o)])) < 2]


def one_a_place(found: Sequence[Levelled]) -> list[Levelled]:
    """Of those whose middles lie in one another, the one with the best lattice."""
    kept: list[Levelled] = []
    for one in sorted(found, key=lambda one: -one.fit.worth):
        if not any(_within(one, other) or _within(other, one) for other in kept):
            kept.append(one)
    return kept


def of_a_size(cards: Sequence[Levelled]) -> list[Levelled]:
    """Those that are not much smaller than the largest."""
    largest = max(map(_area, cards), default=0.0)
    return [card for card in cards if _area(card) >= OF_A_SIZE * largest]


def _holds(outer: Levelled, inner: Levelled) -> bool:
    """Whether the inner one lies in the outer one and is clearly smaller."""
    return _area(inner) < 0.6 * _area(outer) and _within(inner, outer)


def _within(inner: Levelled, outer: Levelled) -> bool:
    """Whether the middle of one lies in the other."""
    x, y = inner.corners.mean(axis=0)
    rim = outer.corners.astype(np.float32)
    return cv2.pointPolygonTest(rim, (float(x), float(y)), measureDist=False) >= 0


def _area(card: Levelled) -> float:
    return float(cv2.contourArea(card.corners.astype(np.float32)))
