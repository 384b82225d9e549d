"""Mistakes of the hand in calibration: pieces swapped, a plan turned, photos mixed up.

The colours that a layout shows must fall into as many heaps as its plan names. What the plan says
is compared with what it could have said instead; a mistake is named only where the other plan
fits clearly better, for two colours that this light hardly tells apart look swapped by chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from scoring.lattice import cell_centres_mm, pitch_mm
from scoring.types import EMPTY, Lattice

Array = NDArray[np.float64]
Labels = NDArray[np.str_]

BARE = 30.0
"""How far a bare cell lies from a covered one, in units of CIELAB (chosen by hand)."""

LIGHTNESS = 0.5
"""Weight of CIELAB's L: shading moves it more than it moves a and b (chosen by hand)."""

FAR = 60.0
"""A cell stranger than this counts as this strange, so that one cell cannot outweigh a board."""

SAME = 0.75
"""Likeness to the empty cell from which a cell looks empty."""

TURNED = 0.6
NO_PLAN = 0.75
"""Share of the plan's misfit that a turned plan may keep; share of a shuffled plan's misfit from
which the plan says nothing about the photo."""

CLEARLY = 6.0
"""By so many times the usual misfit of a cell must two swapped pieces fit better."""

LEAST_MISFIT = 1.5
"""Usual misfit, CIELAB, below which the photos are no better than a phone can be."""

BARE_FOR_SURE, LAID_FOR_SURE = 0.8, 0.4
"""Likeness to the empty cell that a cell planned with a piece must reach to be called empty, and
above which one planned empty is never said to hold a piece: pale pieces and glare are no mistakes.
"""

HARDLY_LAID, ONE_COLOUR = 0.5, 10.0
"""Share of planned pieces that look bare from which a photo shows an empty board, if their median
distance to the middle of all cells' colours (CIELAB) is less than this: small pieces let the
printed cell show around them, but are not all of one colour (chosen by hand)."""

SHOWS_LAYOUT = 0.55
"""Share of a shuffled plan's misfit below which an "empty" board shows the plan's own colours."""

MOST = 0.5
"""Share of the swaps between two colours from which, unnoticed, the two count as too near."""

MOST_SWAPS = 4
"""From so many swaps on, the plan is another one and no list of swaps helps."""


@dataclass(frozen=True, eq=False)
class Seen:
    """What the photos of one layout show: its plan and every cell, in the lattice's order.

    ``labels`` (N,) colour names or ``empty``; ``lab`` (N, 3) CIELAB of the relative colour;
    ``bare`` (N,) likeness to the empty cell, 1 alike, 0 unlike (NaN where never seen empty).
    """

    photo: str
    labels: Labels
    lab: Array
    bare: Array


def find_mistakes(photos: Sequence[Seen], lattice: Lattice) -> tuple[str, ...]:
    """What is wrong with one layout that these photos show, a sentence each; none: in order.

    The photos are judged together, so that a shadow or a reflection in one accuses nobody; two
    swapped pieces are also named where only one photo shows them, unless their colours lie too
    near for one photo's word (``doubted_swaps``).
    """
    bare = [words for seen in photos if (words := _all_bare(seen))]
    if bare:
        return tuple(bare)
    labels, where = photos[0].labels, _photos_in_words(photos)
    spots = np.mean([_features(seen) for seen in photos], axis=0)
    turned = _turned(spots, labels, lattice)
    if turned:
        return (f"{where}: {turned}",)
    if _says_nothing(spots, labels):
        return (
            f"{where}: the plan does not fit what lies there, however it is turned. "
            "Give the plan of this very layout, and the sheet of this very board.",
        )
    bareness = np.mean([seen.bare for seen in photos], axis=0)
    together = _misplaced(spots, bareness, labels)
    found = [(where, change) for change in together]
    found += [
        (photo, change)
        for photo, change in _swaps_of_one_photo(photos, together)
        if not _too_near(spots, labels, change)
    ]
    return _listed(found, labels, [cell.id for cell in lattice.cells])


def doubted_swaps(photos: Sequence[Seen], lattice: Lattice) -> tuple[str, ...]:
    """Swaps that one photo of a layout shows, of colours too near for one photo's word.

    A sentence each: glare on a dark piece looks just so, and a right plan must not be refused.
    """
    labels = photos[0].labels
    spots = np.mean([_features(seen) for seen in photos], axis=0)
    ids = [cell.id for cell in lattice.cells]
    return tuple(
        f"{photo}: {ids[i]} and {ids[j]} may be swapped: on this photo alone {at_i} seems to lie "
        f"in {ids[i]} and {at_j} in {ids[j]}, but the photos hardly tell the two colours apart. "
        "Compare both cells with the plan by eye."
        for photo, ((i, at_i), (j, at_j)) in _swaps_of_one_photo(photos, ())
        if _too_near(spots, labels, ((i, at_i), (j, at_j)))
    )


def _swaps_of_one_photo(
    photos: Sequence[Seen], known: Sequence[Change]
) -> list[tuple[str, Change]]:
    """The swaps that each photo shows by itself, each once, beside those that are known."""
    found: list[tuple[str, Change]] = []
    for seen in photos:
        for change in _misplaced(_features(seen), seen.bare, seen.labels):
            if len(change) == 2 and change not in [*known, *(other for _, other in found)]:
                found.append((seen.photo, change))
    return found


def _too_near(spots: Array, labels: Labels, change: Change) -> bool:
    """Whether most other swaps between the two labels of a swap would go unnoticed.

    The two accused pieces have no say: swapped in truth, they would lie in the wrong heaps.
    """
    cells = [cell for cell, _ in change]
    pair = sorted(str(labels[cell]) for cell in cells)
    others = np.delete(np.arange(len(labels)), cells)
    unnoticed = _unnoticed(spots[others], labels[others]).get((pair[0], pair[1]))
    return unnoticed is not None and float(unnoticed.mean()) > MOST


def _photos_in_words(photos: Sequence[Seen]) -> str:
    return ", ".join(seen.photo for seen in photos)


def _all_bare(seen: Seen) -> str:
    """What to say where a layout's photo looks as the empty board does; "" where it does not."""
    bare = seen.bare[seen.labels != EMPTY]
    share = float((bare > SAME).mean()) if bare.size else 0.0
    planned = seen.lab[seen.labels != EMPTY]
    apart = np.linalg.norm(planned - np.median(seen.lab, axis=0), axis=1)
    if share <= HARDLY_LAID or np.median(apart) > ONE_COLOUR:
        return ""
    return (
        f"{seen.photo}: {share:.0%} of the cells that should hold a piece look as they do on the "
        "photos of the empty board. Give empty boards with --empty and laid ones with --layout."
    )


def _features(seen: Seen) -> Array:
    """Where each cell lies (N, 4) among colours and bareness, in units of CIELAB."""
    bare = np.where(np.isnan(seen.bare), 0.0, np.clip(seen.bare, 0, 1))
    return np.column_stack([LIGHTNESS * seen.lab[:, 0], seen.lab[:, 1:], BARE * bare])


def _misfits(spots: Array, labels: Labels) -> Array:
    """How far (N,) each cell lies from the middle of its own label's heap."""
    far = np.zeros(len(labels))
    for name in set(labels):
        own = labels == name
        far[own] = np.linalg.norm(spots[own] - np.median(spots[own], axis=0), axis=1)
    return np.minimum(far, FAR)


def _turned(spots: Array, labels: Labels, lattice: Lattice) -> str:
    """How the plan lies, in words, where it fits clearly better another way round."""
    best, words = TURNED, ""
    for name, partner in _other_ways(lattice):
        cells = np.flatnonzero(partner >= 0)
        if len(cells) < 0.6 * len(labels):
            continue
        here = _misfits(spots[cells], labels[cells]).mean()
        there = _misfits(spots[cells], labels[partner[cells]]).mean()
        if there < best * here:
            best, words = there / here, name
    return words and (
        f"the pieces lie as in the plan {words}. Turn the plan, or, where --corners were given, "
        "begin them at the board's own top left corner."
    )


def _other_ways(lattice: Lattice) -> list[tuple[str, NDArray[np.int64]]]:
    """Ways to lay a plan wrongly: for each cell, the cell whose label it then shows, or -1."""
    ways = {
        "turned by 180 degrees": [[-1, 0], [0, -1]],
        "turned by 90 degrees": [[0, -1], [1, 0]],
        "turned by 270 degrees": [[0, 1], [-1, 0]],
        "mirrored left to right": [[-1, 0], [0, 1]],
        "mirrored top to bottom": [[1, 0], [0, -1]],
    }
    centres = np.array(cell_centres_mm(lattice))
    board = np.array(lattice.board_size_mm) / 2
    cells = (centres.min(axis=0) + centres.max(axis=0)) / 2
    reach = pitch_mm(lattice) / 2.5
    found = []
    for words, turn in ways.items():
        for middle in (cells, board):
            moved = middle + (centres - middle) @ np.array(turn, float).T
            gaps = np.linalg.norm(moved[:, None] - centres[None], axis=2)
            partner = np.where(gaps.min(axis=1) < reach, gaps.argmin(axis=1), -1)
            found.append((words, partner))
    return found


def find_laid(empty: Sequence[Seen]) -> tuple[str, ...]:
    """What to say of photos of the empty board, ``labels`` the plan's, that show the layout."""
    return tuple(
        f"{seen.photo}: was given as the empty board but shows the layout. Give empty boards with "
        "--empty and laid ones with --layout."
        for seen in empty
        if _misfit_against_chance(LIGHTNESS * seen.lab, seen.labels) < SHOWS_LAYOUT
    )


def _says_nothing(spots: Array, labels: Labels) -> bool:
    """Whether the plan fits hardly better than the same labels dealt out at random."""
    return _misfit_against_chance(spots, labels) > NO_PLAN


def _misfit_against_chance(spots: Array, labels: Labels) -> float:
    """The plan's misfit, as a share of that of the same labels dealt out at random."""
    rng = np.random.default_rng(0)
    dealt = [_misfits(spots, rng.permutation(labels)).mean() for _ in range(30)]
    return float(_misfits(spots, labels).mean() / max(np.mean(dealt), 1e-9))


def unnoticed_swaps(photos: Sequence[Seen], lattice: Lattice) -> tuple[str, ...]:
    """Which cells these photos could not check: swapped, their pieces would accuse nobody.

    A sentence for every two labels of which some pieces lie too near each other in this light; the
    plan of one layout is taken as right.
    """
    labels = photos[0].labels
    spots = np.mean([_features(seen) for seen in photos], axis=0)
    ids = np.array([cell.id for cell in lattice.cells])
    found = []
    for (one, other), unnoticed in _unnoticed(spots, labels).items():
        here, there = np.flatnonzero(labels == one), np.flatnonzero(labels == other)
        first = ", ".join(ids[here[unnoticed.any(axis=1)]])
        second = ", ".join(ids[there[unnoticed.any(axis=0)]])
        found.append(
            f"{one} and {other} lie so near each other on these photos that a swap between "
            f"{first} ({one}) and {second} ({other}) would not be noticed: compare these cells "
            "with the plan by eye."
        )
    return tuple(found)


def _unnoticed(spots: Array, labels: Labels) -> dict[tuple[str, str], NDArray[np.bool_]]:
    """For two labels of I and J cells, which of the (I, J) swaps would not be named.

    A swapped piece lies in the other heap's place; the heaps' middles hardly move for one piece.
    """
    names = sorted({str(label) for label in labels})
    own = np.array([names.index(str(label)) for label in labels])
    to = np.minimum(_ways_to_heaps(spots, own, len(names)), FAR)
    usual = max(float(np.median(to[np.arange(len(own)), own])), LEAST_MISFIT)
    found = {}
    for a, b in combinations(range(len(names)), 2):
        here, there = to[own == a], to[own == b]
        gain = (here[:, b] - here[:, a])[:, None] + (there[:, a] - there[:, b])
        one = here[:, a] + np.maximum(2 * usual, 0.5 * here[:, b]) < here[:, b]
        other = there[:, b] + np.maximum(2 * usual, 0.5 * there[:, a]) < there[:, a]
        named = (gain >= CLEARLY * usual) & one[:, None] & other
        if not named.all():
            found[names[a], names[b]] = ~named
    return found


Change = tuple[tuple[int, str], ...]
"""Cells (by index), each with the label that it seems to bear: two for a swap, or one."""


def _misplaced(spots: Array, bare: Array, labels: Labels) -> list[Change]:
    """Pieces that were swapped, or lie where the plan says something else."""
    labels = labels.copy()
    found: list[Change] = []
    while len(found) < MOST_SWAPS:
        usual = max(float(np.median(_misfits(spots, labels))), LEAST_MISFIT)
        gain, change = max(_changes(spots, bare, labels, usual), default=(0.0, ()))
        if gain < CLEARLY * usual:
            break
        found.append(change)
        for cell, name in change:
            labels[cell] = name
    return found


def _changes(spots: Array, bare: Array, labels: Labels, usual: float) -> list[tuple[float, Change]]:
    """Every swap and every single change that makes the plan fit better, with its gain.

    A change must bring every cell that it names clearly nearer to its new heap than to its old.
    """
    names = sorted({str(label) for label in labels})
    own = np.array([names.index(str(label)) for label in labels])
    rows = np.arange(len(own))
    to = np.minimum(_ways_to_heaps(spots, own, len(names)), FAR)
    at_home = to[rows, own]
    better = to + np.maximum(2 * usual, 0.5 * at_home)[:, None] < at_home[:, None]
    found: list[tuple[float, Change]] = []
    for i, j in combinations(range(len(own)), 2):
        if own[i] != own[j] and better[i, own[j]] and better[j, own[i]]:
            gain = at_home[i] + at_home[j] - to[i, own[j]] - to[j, own[i]]
            found.append((2 * float(gain), ((i, names[own[j]]), (j, names[own[i]]))))
    if EMPTY in names:
        better[bare < BARE_FOR_SURE, names.index(EMPTY)] = False
        better[(own == names.index(EMPTY)) & (bare > LAID_FOR_SURE)] = False
    for cell in np.flatnonzero(better.any(axis=1)).tolist():
        k = int(np.where(better[cell], to[cell], np.inf).argmin())
        found.append((float(at_home[cell] - to[cell, k]), ((cell, names[k]),)))
    return found


def _ways_to_heaps(spots: Array, own: NDArray[np.int64], heaps: int) -> Array:
    """How far (N, C) each cell lies from the middle of every heap, itself left out."""
    to = np.zeros((len(spots), heaps))
    for k in range(heaps):
        members = np.flatnonzero(own == k)
        to[:, k] = np.linalg.norm(spots - np.median(spots[members], axis=0), axis=1)
        for i in members:
            others = spots[members[members != i]]
            alone = len(others) == 0
            to[i, k] = 0.0 if alone else np.linalg.norm(spots[i] - np.median(others, axis=0))
    return to


def _listed(
    found: Sequence[tuple[str, Change]], labels: Labels, ids: Sequence[str]
) -> tuple[str, ...]:
    """The changes found, each with its photos, in words."""
    if len(found) >= MOST_SWAPS:
        cells = ", ".join(ids[cell] for _, change in found for cell, _ in change)
        return (
            f"{found[0][0]}: many pieces do not lie as the plan says. Compare them cell by cell, "
            f"beginning with {cells}.",
        )
    return tuple(f"{where}: {_in_words(change, labels, ids)}" for where, change in found)


def _in_words(change: Change, labels: Labels, ids: Sequence[str]) -> str:
    if len(change) == 2:
        (i, at_i), (j, at_j) = change
        return (
            f"{ids[i]} and {ids[j]}: the pieces look swapped; {at_i} seems to lie in {ids[i]} and "
            f"{at_j} in {ids[j]}. Lay them as planned, or mend the plan."
        )
    ((i, at_i),) = change
    return (
        f"{ids[i]}: the plan says {labels[i]}, but it looks like {at_i}. Lay it as planned, or "
        "mend the plan."
    )
