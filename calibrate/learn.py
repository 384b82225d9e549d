"""Photos of known things -> table: the artwork, the colours, the light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from calibrate.compose import Shot, artwork_pixels, compose_artwork
from calibrate.errors import CalibrationError, MistakesFound
from calibrate.mistakes import (
    Seen,
    doubted_swaps,
    find_laid,
    find_mistakes,
    unnoticed_swaps,
)
from calibrate.types import Palette, Table
from scoring.lattice import cell_centres_mm
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Grid
from vision.colour import lab_from_linear
from vision.errors import BoardNotFound
from vision.find import find_board, from_corners, from_marks
from vision.frame import frame_on_cells
from vision.geometry import px_per_mm
from vision.level import plan_of
from vision.marks import marks_of
from vision.read import look
from vision.shades import veils_of
from vision.smooth import predict
from vision.types import Evidence, Photo, Registration

Array = NDArray[np.float64]

PAPER = 0.6
"""Relative luminance given to the board's average empty cell: paper-like, of no consequence."""

USUAL_STRUCTURE = np.array([-2.0, -3.0, 1.0, 2.6])
"""Structure weights of a table with too few cells to learn its own (from our practice photos)."""

FEWEST_EXAMPLES = 6

TAP_PX = 6.0
LOOSE_MARK_MM = 1.5
FIXED_MARK_MM = 0.3
"""How far a tap, a mark on a card laid beside the board, a mark printed on it may be off (by hand;
the lens of the first photo counts in the last)."""


def calibrate(
    name: str,
    sheet: GameSheet,
    empty: Sequence[Photo],
    layouts: Sequence[tuple[Photo, Grid]],
    corners_px: Array | None = None,
    *,
    trust_plan: bool = False,
) -> Table:
    """The table learned from photos of the empty board and of known layouts.

    The first photo (of the empty board, or of the layout where there is none empty) is found by the
    sheet's printed corner marks or by ``corners_px`` (4, 2), full-size px, top left first,
    clockwise, and refined on the printed cells where it is of the empty board; the others are
    found by its artwork. Raises BoardNotFound, CalibrationError, and MistakesFound
    where pieces seem to lie otherwise than planned, unless ``trust_plan`` says that they do not.
    """
    if not layouts:
        raise CalibrationError("No photo of a known layout was given; at least one is needed.")
    marks = marks_of(sheet)
    ids = tuple(cell.id for cell in sheet.lattice.cells)
    nothing = (EMPTY,) * len(ids)
    known = [(photo, nothing) for photo in empty]
    known += [(photo, tuple(grid[cell] for cell in ids)) for photo, grid in layouts]
    shots = _registered(sheet, known, marks, corners_px)
    artwork = replace(
        compose_artwork(shots, sheet.lattice),
        frame_error_mm=_frame_error_mm(shots[0].registration, sheet),
    )
    looks = [look(shot.photo, shot.registration, sheet, artwork) for shot in shots]
    table = Table(name, sheet, artwork, _palette(shots, looks, sheet), marks)
    if trust_plan:
        return table
    return replace(table, limits=_checked_plans(shots, sheet))


def _checked_plans(shots: list[Shot], sheet: GameSheet) -> tuple[str, ...]:
    """What could not be checked of the plans, in words.

    Raises MistakesFound where a layout is not as its plan says.
    """
    bare = [shot for shot in shots if set(shot.labels) == {EMPTY}]
    laid = [shot for shot in shots if set(shot.labels) != {EMPTY}]
    layouts: dict[tuple[str, ...], list[Seen]] = {}
    for seen in seen_in(bare, laid, sheet):
        layouts.setdefault(tuple(seen.labels), []).append(seen)
    found = [
        words
        for labels in (layouts if bare else {})
        for words in find_laid(seen_in(bare, [replace(s, labels=labels) for s in bare], sheet))
    ]
    for photos in layouts.values():
        found += [] if found else find_mistakes(photos, sheet.lattice)
    if found:
        raise MistakesFound(found)
    limits = [
        doubted_swaps(photos, sheet.lattice) + unnoticed_swaps(photos, sheet.lattice)
        for photos in layouts.values()
    ]
    return tuple(dict.fromkeys(words for found in limits for words in found))


def seen_in(bare: list[Shot], laid: list[Shot], sheet: GameSheet) -> list[Seen]:
    """What the photos of layouts show, judged without trusting their plan.

    The board's own look and light are taken from the photos of the empty board alone; where there
    are none, the board counts as evenly lit, and nothing is said of bare cells.
    """
    artwork = compose_artwork(bare or laid, sheet.lattice)
    places = plan_of(sheet.lattice).centres_mm
    empty = np.full((1, len(places), 3), np.nan)
    if bare:
        looks = [look(shot.photo, shot.registration, sheet, artwork) for shot in bare]
        empty = np.array([seen.samples.board / seen.light.gain for seen in looks])
    exposure = _exposure(empty.mean(axis=0), places)
    found = []
    for shot in laid:
        seen = _seen(shot, look(shot.photo, shot.registration, sheet, artwork), exposure)
        found.append(seen if bare else replace(seen, bare=np.full(len(places), np.nan)))
    return found


def _seen(shot: Shot, evidence: Evidence, exposure: Array) -> Seen:
    relative = evidence.samples.top / evidence.light.gain / exposure[:, None]
    return Seen(
        photo=shot.photo.name,
        labels=np.array(shot.labels),
        lab=lab_from_linear(relative),
        bare=evidence.samples.structure[:, 1],
    )


def _registered(
    sheet: GameSheet,
    known: list[tuple[Photo, tuple[str, ...]]],
    marks: dict[int, Array],
    corners_px: Array | None,
) -> list[Shot]:
    """Every photo's registration: the first sets the frame, the others follow its artwork."""
    photo, labels = known[0]
    first = _first_registration(photo, sheet, marks, corners_px)
    if set(labels) == {EMPTY}:
        first = frame_on_cells(photo, first, sheet.lattice)
    artwork = artwork_pixels(photo, first, sheet.lattice)
    shots = [Shot(photo, first, labels)]
    for photo, labels in known[1:]:
        found = find_board(photo, sheet.lattice, artwork, {}, piece_mm=sheet.piece_height_mm)
        shots.append(Shot(photo, found, labels))
    return shots


def _first_registration(
    photo: Photo, sheet: GameSheet, marks: dict[int, Array], corners_px: Array | None
) -> Registration:
    if corners_px is not None:
        return from_corners(photo, sheet.lattice, corners_px)
    found = from_marks(photo, marks)
    if found is None:
        raise BoardNotFound(
            photo.name,
            "the first photo of a new table needs to be told where the board is.",
            "Give the board's four corners (--corners), or print corner marks.",
        )
    return found


def _frame_error_mm(first: Registration, sheet: GameSheet) -> float:
    """How far the board's mm may be off after the first photo was placed (95 %, half width)."""
    if np.isfinite(first.error_mm):
        return first.error_mm
    if first.method == "corners":
        places = np.array(cell_centres_mm(sheet.lattice))
        return TAP_PX / float(px_per_mm(first, places).min())
    loose = any(on == "card" for on in sheet.marks_on.values())
    return LOOSE_MARK_MM if loose else FIXED_MARK_MM


def _palette(shots: list[Shot], looks: list[Evidence], sheet: GameSheet) -> Palette:
    """Colours, empty cells, exposure and structure, as the photos together tell them."""
    plan = plan_of(sheet.lattice)
    labels = np.array([shot.labels for shot in shots])
    board = np.array([seen.samples.board / seen.light.gain for seen in looks])
    top = np.array([seen.samples.top / seen.light.gain for seen in looks])
    board[labels != EMPTY] = np.nan
    empty = _mean_seen(board)
    exposure = _exposure(empty, plan.centres_mm)
    pieces = np.argwhere(labels != EMPTY)
    colours = labels[tuple(pieces.T)]
    _check_colours(colours, sheet)
    samples = top[tuple(pieces.T)] / exposure[pieces[:, 1], None]
    veils = np.zeros(len(samples))
    for colour in set(colours):
        veils[colours == colour] = veils_of(samples[colours == colour])
    structure = np.array([seen.samples.structure for seen in looks])
    unrest = np.array([seen.samples.unrest for seen in looks])
    return Palette(
        exposure=exposure,
        empty=empty / exposure[:, None],
        colours=tuple(str(c) for c in colours),
        samples=samples,
        veils=veils,
        veil_scale=max(0.03, 1.5 * float(veils.mean())),
        structure=_structure_weights(structure, labels),
        unrest=float(np.clip(0.15 + 2 * np.quantile(unrest[labels != EMPTY], 0.9), 0.2, 0.45)),
    )


def _mean_seen(board: Array) -> Array:
    """Mean over photos (K, N, 3) of what is not NaN; NaN where a cell was never seen."""
    seen = ~np.isnan(board)
    total = np.where(seen, board, 0).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return total / seen.sum(axis=0)


def _exposure(empty: Array, places_mm: Array) -> Array:
    """The calibration's own light (N,) over the cells, from what the empty cells have in common.

    Empty cells are taken for paper of about one brightness, tinted by 12 % or so; a Gaussian
    process keeps what varies slowly. A board never seen empty is taken as evenly lit.
    """
    seen = ~np.isnan(empty[:, 0])
    if not seen.any():
        return np.full(len(places_mm), 1.0)
    bright = np.log(empty[seen].mean(axis=1))
    level = bright.mean()
    noise = np.full(int(seen.sum()), 0.12)
    field = predict(places_mm, places_mm[seen], bright - level, noise, ((3.0, np.inf), (0.4, 70.0)))
    return np.exp(field + level) / PAPER


def _structure_weights(structure: Array, labels: NDArray[np.str_]) -> Array:
    """Weights (C, 4) of the log odds of a piece of each colour, by logistic regression.

    Learned on the layout photos alone: the artwork was made from the empty ones, and would find
    itself in them. Each colour has its own, for a pale piece hides less of a pale cell.
    """
    layouts = (labels != EMPTY).any(axis=1)
    seen, names = structure[layouts].reshape(-1, 3), labels[layouts].ravel()
    empty = seen[names == EMPTY]
    colours = sorted(set(names[names != EMPTY]))
    return np.array([_odds_weights(seen[names == colour], empty) for colour in colours])


def _odds_weights(pieces: Array, empty: Array) -> Array:
    if min(len(pieces), len(empty)) < FEWEST_EXAMPLES:
        return USUAL_STRUCTURE
    x = np.vstack([pieces, empty])
    y = np.arange(len(x)) < len(pieces)
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-3
    model = LogisticRegression(C=1.0, class_weight="balanced").fit((x - mean) / spread, y)
    weights = model.coef_[0] / spread
    return np.append(weights, model.intercept_[0] - weights @ mean)


def _check_colours(colours: NDArray[np.str_], sheet: GameSheet) -> None:
    missing = [c.name for c in sheet.colours if c.name not in set(colours)]
    if missing:
        raise CalibrationError(
            f"The known layout shows no {', '.join(missing)}. Lay at least three pieces of every "
            "colour, apart from each other, and take its photos again."
        )
