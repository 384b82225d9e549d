"""Objective cards of an invented edition, printed and photographed on a table.

A card is painted as a small flat board: its print is the art, its pattern's cells are the places,
so that the photographer tells where each of them is in the photo.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samples.board import ART_PX_PER_MM, CARD_MM, Board, Place, inset
from samples.invent import paints_for
from samples.spectra import LAMPS, camera, colour_matrix, linear_to_srgb
from scoring.regular import Shape, cell_name, piece_outline
from scoring.rules import Card
from scoring.sheet import GameSheet

Picture = NDArray[np.uint8]

SIZES_MM = ((63.0, 88.0), (57.0, 87.0), (70.0, 70.0), (88.0, 63.0))
"""Usual and unusual sizes of cards, width by height."""

PAPERS = ((243, 239, 228), (236, 230, 214), (250, 250, 248), (228, 232, 228))
INKS = ((44, 48, 58), (92, 40, 34), (30, 66, 78), (70, 62, 30))
SIGNS = {"*": "?", "_": "x"}
FONT = cv2.FONT_HERSHEY_DUPLEX


@dataclass(frozen=True)
class Edition:
    """How the cards of one printing look: size, sRGB of paper and of ink, gap between the cells
    in shares of their pitch, width of their outline (mm, 0: none), whether letters stand in the
    cells, and the printed sRGB of each colour of piece.
    """

    size_mm: tuple[float, float]
    paper: tuple[int, int, int]
    ink: tuple[int, int, int]
    gap: float
    outline_mm: float
    letters: bool
    tints: Mapping[str, tuple[int, int, int]]


def invent_edition(sheet: GameSheet, paints: Mapping[str, NDArray], seed: int) -> Edition:
    """Invent one printing; its inks come near the paints of the pieces, as a printer's do."""
    rng = np.random.default_rng([seed, 0xCA2D])
    tints = {c.name: printed_tint(paints[c.name], rng) for c in sheet.colours}
    return Edition(
        size_mm=SIZES_MM[rng.integers(len(SIZES_MM))],
        paper=PAPERS[rng.integers(len(PAPERS))],
        ink=INKS[rng.integers(len(INKS))],
        gap=float(rng.uniform(0.04, 0.12)),
        outline_mm=float(rng.choice([0.0, 0.25, 0.4])),
        letters=bool(rng.uniform() < 0.4),
        tints=tints,
    )


def printed_tint(paint: NDArray, rng: np.random.Generator) -> tuple[int, int, int]:
    """Return the sRGB in which a card shows this paint: a little lighter or darker, off in tint."""
    raw = camera() * LAMPS["daylight"][None, :]
    by_day = np.clip(colour_matrix(camera()) @ (raw @ paint), 0.005, 1.0)
    grey = float(by_day.mean())
    faded = grey + (by_day - grey) * rng.uniform(0.85, 1.15)
    off = faded * np.exp(rng.normal(0, 0.1)) * np.exp(rng.normal(0, 0.05, 3))
    return rgb(linear_to_srgb(off) * 255.0)


def piece_paints(sheet: GameSheet, seed: int) -> Mapping[str, NDArray]:
    """Return the paints of the sheet's pieces, the same ones as a kit's of this seed."""
    names = [colour.name for colour in sheet.colours]
    return paints_for(names, np.random.default_rng([seed, 0xB0B]))


def card_board(sheet: GameSheet, card: Card, edition: Edition, seed: int) -> Board:
    """Return the printed card, ready to be photographed as a flat board without pieces."""
    outlines = pattern_mm(sheet, card, edition)
    rows = sorted({spot.v for spot in card.pattern})
    count = dict.fromkeys(rows, 0)
    places = []
    for spot, outline in zip(card.pattern, outlines, strict=True):
        name = cell_name(rows.index(spot.v), count[spot.v])
        count[spot.v] += 1
        places.append(Place(name, tuple((float(x), float(y)) for x, y in outline), False))
    return Board(
        title=card.name,
        size_mm=edition.size_mm,
        places=tuple(places),
        paints=piece_paints(sheet, seed),
        marks=(),
        art=draw_face(sheet, card, edition, outlines),
        board_mm=CARD_MM,
    )


def pattern_mm(sheet: GameSheet, card: Card, edition: Edition) -> list[NDArray[np.float64]]:
    """Return the outline (K, 2) of each printed cell of the pattern, card mm."""
    like = sheet.lattice.like
    x, y = zip(*sheet.lattice.cells[0].polygon_mm, strict=True)
    tall = (max(y) - min(y)) / (max(x) - min(x)) if like == "courses" else None
    shape = Shape((1,), 1.0, 0.0, row_pitch_mm=tall)
    raw = [np.array(piece_outline(like, shape, (s.u, s.v))) for s in card.pattern]
    low = np.min([o.min(axis=0) for o in raw], axis=0)
    high = np.max([o.max(axis=0) for o in raw], axis=0)
    width, height = edition.size_mm
    room = np.array([width - 16.0, height - 40.0])
    pitch = min(13.0, float((room / (high - low)).min()))
    middle = np.array([width / 2, 15.0 + (height - 33.0) / 2])
    return [inset(middle + (o - (low + high) / 2) * pitch, 0.5 * edition.gap * pitch) for o in raw]


def draw_face(
    sheet: GameSheet, card: Card, edition: Edition, outlines: list[NDArray[np.float64]]
) -> Picture:
    """Return the card's print, uint8 sRGB at ``ART_PX_PER_MM``."""
    scale = ART_PX_PER_MM
    width, height = (round(side * scale) for side in edition.size_mm)
    face = np.full((height, width, 3), edition.paper, np.uint8)
    cv2.rectangle(face, (25, 25), (width - 26, height - 26), edition.ink, 8, cv2.LINE_AA)
    cv2.rectangle(face, (30, 30), (width - 31, 120), edition.ink, -1)
    size = min(1.5, (width - 90) / (22.0 * len(card.name)))
    write(face, card.name, (width // 2, 75), size, edition.paper)
    cv2.circle(face, (width // 2, height - 80), 42, edition.ink, 6, cv2.LINE_AA)
    write(face, str(card.points), (width // 2, height - 80), 1.6, edition.ink)
    names = {colour.letter: colour.name for colour in sheet.colours}
    for spot, outline in zip(card.pattern, outlines, strict=True):
        tint = edition.tints[names[spot.needs]] if spot.needs in names else edition.paper
        points = [np.round((outline * scale - 0.5) * 16).astype(np.int32)]
        cv2.fillPoly(face, points, tint, cv2.LINE_AA, 4)
        line = edition.outline_mm if spot.needs in names else 0.4
        if line:
            cv2.polylines(face, points, True, edition.ink, round(line * scale), cv2.LINE_AA, 4)
        at = np.round(outline.mean(axis=0) * scale).astype(int).tolist()
        if spot.needs not in names:
            write(face, SIGNS.get(spot.needs, spot.needs), at, 1.5, edition.ink)
        elif edition.letters:
            write(face, spot.needs, at, 0.9, edition.paper if sum(tint) < 330 else edition.ink)
    return face


def write(face: Picture, words: str, at: tuple[int, int], size: float, ink: tuple) -> None:
    """Write a line of words about a point, in place."""
    (wide, tall), _ = cv2.getTextSize(words, FONT, size, 2)
    spot = (int(at[0] - wide / 2), int(at[1] + tall / 2))
    cv2.putText(face, words, spot, FONT, size, rgb(np.array(ink)), 2, cv2.LINE_AA)


def rgb(values: NDArray) -> tuple[int, int, int]:
    """Return three values as whole numbers."""
    red, green, blue = np.round(values).astype(int).tolist()
    return red, green, blue
