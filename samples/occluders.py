"""What should not lie on a board when its photo is taken: dice and fingers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from samples.board import Board, soften, turn
from samples.conditions import Conditions
from samples.slabs import Slab
from samples.spectra import paint


def make_occluders(
    board: Board, conditions: Conditions, rng: np.random.Generator
) -> tuple[Slab, ...]:
    """Return dice that rolled onto the board and fingers that hold its rim."""
    dice = [make_die(board, on_a_cell(board, rng), rng) for _ in range(conditions.dice)]
    fingers = [make_finger(board, rng) for _ in range(conditions.fingers)]
    return tuple(dice + fingers)


def on_a_cell(board: Board, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return a spot near the middle of some cell."""
    place = board.places[rng.integers(len(board.places))]
    return np.asarray(place.centre_mm + rng.normal(0, 0.15 * board.pitch_mm, 2))


def make_die(board: Board, spot_mm: NDArray, rng: np.random.Generator) -> Slab:
    """Return a die of 14 mm with two to five pips, on top of the pieces."""
    half, angle = 7.0, rng.uniform(0, 90)
    square = spot_mm + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
    pips = (
        np.array([[-1, -1], [1, 1], [1, -1], [-1, 1], [0, 0.0]])[: rng.integers(2, 6)] * 0.5 * half
    )
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    spots = spot_mm + pips @ np.array([[c, s], [-s, c]])
    ink = paint(
        np.array(((0.75, 0.74, 0.7), (0.45, 0.03, 0.03), (0.04, 0.08, 0.3))[rng.integers(3)])
    )
    round_spots = tuple((float(x), float(y), 1.3) for x, y in spots)
    top = board.piece_mm + 2 * half
    return Slab(
        turn(soften(square), angle), board.piece_mm, top, ink, 0.5, 1.2, spots_mm=round_spots
    )


def make_finger(board: Board, rng: np.random.Generator) -> Slab:
    """Return a finger that reaches in over one side of the board."""
    side, along = int(rng.integers(4)), rng.uniform(0.2, 0.8)
    width, height = board.size_mm
    tip = np.array([(along * width, 26), (width - 26, along * height), (along * width, height - 26),
                    (26, along * height)][side], float)  # fmt: skip
    angle = np.radians(side * 90 - 90 + rng.normal(0, 18))
    way, across = (
        np.array([np.cos(angle), np.sin(angle)]),
        np.array([-np.sin(angle), np.cos(angle)]),
    )
    bow = np.linspace(-np.pi / 2, np.pi / 2, 15)
    end = tip + 9.0 * (np.sin(bow)[:, None] * across - np.cos(bow)[:, None] * way)
    # Along the finger to the knuckle, then the hand: (mm from the tip, half the width in mm).
    profile = np.array(
        [(30, 9.6), (58, 10.5), (68, 13), (80, 27), (96, 36), (130, 40), (190, 31), (360, 38)]
    )
    left = tip + profile[:, :1] * way + profile[:, 1:] * across
    right = tip + profile[:, :1] * way - profile[:, 1:] * across
    skin = paint(
        np.array(((0.55, 0.31, 0.22), (0.2, 0.1, 0.06), (0.42, 0.24, 0.15))[rng.integers(3)])
    )
    top = board.piece_mm + 9.0
    return Slab(
        np.vstack([end, left, right[::-1]]), board.piece_mm, top, skin, 0.12, 9.0, walls=False
    )
