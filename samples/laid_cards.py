"""Objective cards laid beside each other on a table and photographed together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from samples.board import CARD_MM, Board, turn
from samples.camera import make_canvas
from samples.conditions import Conditions
from samples.finish import develop
from samples.layers import Field, lay
from samples.light import lights_on, make_light, shine
from samples.photographer import Spot, spots
from samples.scene import ROOM, opaque, turned_print
from samples.slabs import Slab
from samples.spectra import paint
from samples.spread import draw_ground, stand_over

Array = NDArray[np.float64]

APART_MM = 12.0
"""Table between two cards, on average."""

ASKEW_DEG = 3.0
"""How far cards laid by hand are turned, standard deviation."""


@dataclass(frozen=True, eq=False)
class CardsShot:
    """The photo, uint8 sRGB (height, width, 3); of each card, in the order it was laid (left to
    right, the upper row first), its corners and the middle of each of its cells, px.
    """

    pixels: NDArray[np.uint8]
    corners_px: tuple[tuple[Spot, ...], ...]
    centres_px: tuple[Mapping[str, Spot], ...]


def take_cards(
    cards: Sequence[Board], across: int, conditions: Conditions, rng: np.random.Generator
) -> CardsShot:
    """Photograph printed cards laid ``across`` to a row."""
    corners = laid_corners(cards, across, rng)
    camera = stand_over(np.concatenate(corners).max(axis=0), conditions)
    middle = np.concatenate(corners).max(axis=0) / 2
    light = make_light(conditions, (float(middle[0]), float(middle[1])))
    canvas = make_canvas(camera, conditions.supersample)
    width, height = canvas.size_px
    picture: Field = np.full((height, width, 3), ROOM, np.float32)
    white = paint(np.array([0.9, 0.9, 0.9]))
    draw_ground(picture, canvas, light, conditions, [Slab(c, 0.0, CARD_MM, white) for c in corners])
    for card, lies in zip(cards, corners, strict=True):
        patch, flat, cover = turned_print(canvas, card.art, lies, CARD_MM)
        layer = opaque(shine(light, patch, flat, lights_on(light, patch)))
        lay(picture, canvas, patch, layer * cover[..., None])
    pixels = develop(picture, canvas, conditions, rng)
    centres = [centres_mm(card, lies) for card, lies in zip(cards, corners, strict=True)]
    return CardsShot(
        pixels,
        tuple(tuple(spots(camera.project(lies, CARD_MM))) for lies in corners),
        tuple(
            {name: spots(camera.project(at[None], CARD_MM))[0] for name, at in found.items()}
            for found in centres
        ),
    )


def laid_corners(cards: Sequence[Board], across: int, rng: np.random.Generator) -> list[Array]:
    """Return each card's corners (4, 2), mm on the table, from its own top left, clockwise."""
    width, height = np.max([card.size_mm for card in cards], axis=0) + APART_MM
    laid = []
    for number, card in enumerate(cards):
        row, column = divmod(number, across)
        at = np.array([column * width, row * height]) + rng.uniform(0, APART_MM / 2, 2)
        laid.append(turn(card.corners_mm, rng.normal(0, ASKEW_DEG)) + at)
    low = np.concatenate(laid).min(axis=0)
    return [corners - low for corners in laid]


def centres_mm(card: Board, lies: Array) -> dict[str, Array]:
    """Return where the middle of each cell of a laid card lies, mm on the table."""
    across, down = (lies[1] - lies[0]) / card.size_mm[0], (lies[3] - lies[0]) / card.size_mm[1]
    return {
        place.id: lies[0] + place.centre_mm[0] * across + place.centre_mm[1] * down
        for place in card.places
    }
