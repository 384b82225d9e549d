"""The rules once more, in the plainest way: networkx, scipy, dictionaries and millimetres.

Slow and straightforward on purpose. Tests hold the real program to it, the bench measures against
it. Patterns are turned as drawings in mm and laid over the cells' centres, so that nothing is
shared with the program's own steps, turns and bits.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import combinations

import networkx as nx
import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.spatial import KDTree

from scoring.lattice import cell_centres_mm
from scoring.rules import (
    Adjacent,
    Card,
    Cards,
    Empties,
    Ends,
    Extras,
    Groups,
    Regions,
    Rule,
    Variety,
)
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Lattice

Grid = Mapping[str, str]
Place = tuple[tuple[str, str], ...]
"""(cell, what is needed there) of every spot of a card."""

TURNS = {"square": 4, "diamond": 4, "courses": 2, "hex-pointy": 6, "hex-flat": 6}


def plain_total(
    sheet: GameSheet, grid: Grid, claimed: Sequence[str] = (), facts: Sequence[str] = ()
) -> int:
    """One player's total."""
    return sum(plain_rule(sheet, rule, grid, claimed, facts) for rule in sheet.rules)


def plain_rule(
    sheet: GameSheet, rule: Rule, grid: Grid, claimed: Sequence[str], facts: Sequence[str]
) -> int:
    """Points of one rule."""
    match rule:
        case Groups():
            return plain_groups(sheet, rule, grid)
        case Cards():
            return plain_cards(sheet, rule, grid, claimed)
        case Extras():
            return rule.each * sum(colour == rule.colour for colour in grid.values())
        case Empties():
            return rule.each * sum(colour == EMPTY for colour in grid.values())
        case Ends():
            return rule.points if rule.fact in facts else 0
        case Regions():
            return plain_regions(rule, grid)
        case Variety():
            return plain_variety(sheet, rule, grid)
        case Adjacent():
            graph = lattice_graph(sheet.lattice)
            pair = sorted(rule.colours)
            return rule.each * sum(sorted((grid[a], grid[b])) == pair for a, b in graph.edges)


@lru_cache(maxsize=256)
def lattice_graph(lattice: Lattice) -> nx.Graph:
    """Cells joined by whole sides."""
    graph = nx.Graph()
    graph.add_nodes_from(cell.id for cell in lattice.cells)
    graph.add_edges_from((a, b) for a, beside in lattice.neighbours.items() for b in beside)
    return graph


def plain_components(lattice: Lattice, grid: Grid) -> list[tuple[str, frozenset[str]]]:
    """(colour, cells) of every group."""
    graph = lattice_graph(lattice)
    found = []
    for colour in sorted(set(grid.values()) - {EMPTY}):
        own = graph.subgraph([cell for cell, lies in grid.items() if lies == colour])
        found += [(colour, frozenset(group)) for group in nx.connected_components(own)]
    return found


def plain_groups(sheet: GameSheet, rule: Groups, grid: Grid) -> int:
    sizes: dict[str, list[int]] = {colour: [] for colour in rule.colours}
    for colour, cells in plain_components(sheet.lattice, grid):
        if colour in sizes:
            sizes[colour].append(len(cells))
    if rule.only == "all":
        return sum(plain_group_points(rule, n) for ns in sizes.values() for n in ns)
    if rule.only == "largest":
        return plain_group_points(rule, max([n for ns in sizes.values() for n in ns], default=0))
    return sum(plain_group_points(rule, max(ns, default=0)) for ns in sizes.values())


def plain_group_points(rule: Groups, size: int) -> int:
    if size == 0 or size < rule.min_size:
        return 0
    by_size = 0
    for least, points in sorted(rule.by_size):
        if size >= least:
            by_size = points
    return rule.flat + rule.each * size + by_size


def plain_regions(rule: Regions, grid: Grid) -> int:
    good = 0
    for cells in rule.regions.values():
        lying = [grid[cell] for cell in cells]
        if EMPTY in lying:
            continue
        kinds = len(set(lying))
        good += {"full": True, "one-colour": kinds == 1, "all-different": kinds == len(lying)}[
            rule.need
        ]
    return rule.points * good


def plain_variety(sheet: GameSheet, rule: Variety, grid: Grid) -> int:
    regions: Iterable[Sequence[str]] = rule.regions.values()
    if rule.around:
        graph = lattice_graph(sheet.lattice)
        regions = [list(graph[cell]) for cell, lies in grid.items() if lies == rule.around]
    points = 0
    for cells in regions:
        distinct = len({grid[cell] for cell in cells} - {EMPTY})
        by_count = [p for least, p in sorted(rule.by_count) if least <= distinct]
        points += rule.each * distinct + (by_count[-1] if by_count else 0)
    return points


def plain_cards(sheet: GameSheet, rule: Cards, grid: Grid, claimed: Sequence[str]) -> int:
    counting = [card for card in sheet.cards if card.common or card.name in claimed]
    found = {card.name: plain_completions(sheet, card, grid) for card in counting}
    points = sum(card.missed for card in counting)
    chosen: list[tuple[Card, frozenset[str]]] = []
    for card in counting:
        cells = found[card.name]
        if card.points < 0 or (rule.share_cards and (rule.share_copies or not card.each)):
            times = len(cells) if card.each else min(1, len(cells))
            points += times * (card.points - card.missed)
        else:
            chosen += [(card, each) for each in cells]
    return points + plain_packing(chosen, rule)


def plain_packing(candidates: Sequence[tuple[Card, frozenset[str]]], rule: Cards) -> int:
    """The greatest worth of candidates that may count together, by one integer programme."""
    if not candidates:
        return 0
    worth = np.array([card.points - card.missed for card, _ in candidates], dtype=float)
    rows = []
    for (i, (a, own)), (j, (b, other)) in combinations(enumerate(candidates), 2):
        once = a is b and not a.each
        shared = rule.share_copies if a is b else rule.share_cards
        if once or (own & other and not shared):
            row = np.zeros(len(candidates))
            row[[i, j]] = 1
            rows.append(row)
    answer = milp(
        -worth,
        constraints=LinearConstraint(np.array(rows), ub=1) if rows else None,
        integrality=np.ones(len(candidates)),
        bounds=Bounds(0, 1),
    )
    return round(-answer.fun)


def plain_completions(sheet: GameSheet, card: Card, grid: Grid) -> list[frozenset[str]]:
    """Distinct sets of cells that complete a card."""
    places = plain_places(sheet, card)
    return list({frozenset(c for c, _ in place): 0 for place in places if fits(sheet, place, grid)})


def fits(sheet: GameSheet, place: Place, grid: Grid) -> bool:
    """Whether a grid holds what a card needs in this place."""
    colours = {colour.letter: colour for colour in sheet.colours}
    never = {colour.name for colour in sheet.colours if not colour.in_patterns} | {EMPTY}
    digits: dict[str, str] = {}
    for cell, needs in place:
        lies = grid[cell]
        if needs in colours:
            if lies != colours[needs].name:
                return False
        elif needs == "_":
            if lies != EMPTY:
                return False
        elif lies in never or (needs != "*" and digits.setdefault(needs, lies) != lies):
            return False
    return len(set(digits.values())) == len(digits)


@lru_cache(maxsize=4096)
def plain_places(sheet: GameSheet, card: Card) -> tuple[Place, ...]:
    """Wherever a card fits on the board, turned and mirrored as drawings in mm."""
    if card.at:
        return (card.at,)
    lattice = sheet.lattice
    ids = [cell.id for cell in lattice.cells]
    centres = np.array(cell_centres_mm(lattice))
    steps = np.array([lattice.places[id] for id in ids], dtype=float)
    # The lattice in mm is an affine picture of its steps; a few cells tell which.
    affine = np.linalg.lstsq(np.c_[steps, np.ones(len(ids))], centres, rcond=None)[0]
    drawing = np.array([[s.u, s.v] for s in card.pattern]) @ affine[:2]
    tree = KDTree(centres)
    places: dict[Place, None] = {}
    for turned in _turned(drawing, TURNS[lattice.like], card):
        for centre in centres:
            far, at = tree.query(turned - turned[0] + centre)
            if far.max() < 0.5:
                spots = [(ids[i], s.needs) for i, s in zip(at, card.pattern, strict=True)]
                places[tuple(sorted(spots))] = None
    return tuple(places)


def _turned(drawing: np.ndarray, times: int, card: Card) -> Iterable[np.ndarray]:
    for mirrored in (1.0, -1.0) if card.mirrors else (1.0,):
        for k in range(times if card.turns else 1):
            angle = 2 * math.pi * k / times
            turn = np.array(
                [[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]]
            )
            yield drawing * [mirrored, 1.0] @ turn
