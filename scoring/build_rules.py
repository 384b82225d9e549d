"""From the cards, rules and tie-breaks of a sheet's form to rules, contradictions refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from scoring.errors import SheetError
from scoring.lattice import cells_at_edge, columns_of, rows_of
from scoring.patterns import Spots, orientations, parse_pattern, placements
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
    Table,
    TieBreak,
    Variety,
)
from scoring.sheet_form import (
    AdjacentForm,
    CardForm,
    CardsForm,
    EmptiesForm,
    EndsForm,
    ExtrasForm,
    GroupsForm,
    RegionsForm,
    RuleForm,
    TieBreakForm,
    VarietyForm,
)
from scoring.types import Colour, Lattice

ANY_PIECE, NO_PIECE = "*", "_"


def cards_of(
    forms: Sequence[CardForm], lattice: Lattice, colours: Sequence[Colour]
) -> tuple[Card, ...]:
    """The cards of a sheet, each proven to fit the board and to ask only for known colours."""
    cards = tuple(_card(form, lattice) for form in forms)
    for name, times in Counter(card.name for card in cards).items():
        if times > 1:
            raise SheetError(f"cards, {name}", "two cards have this name")
    for card in cards:
        _check_needs(card, colours)
        _check_fit(card, lattice)
    return cards


def rules_of(
    forms: Sequence[RuleForm], lattice: Lattice, colours: Sequence[Colour], has_cards: bool
) -> tuple[Rule, ...]:
    """The rules of a sheet in their order; cards come first if no rule says how they score."""
    rules = [
        _rule(form, f"rules, number {i} ({form.label})", lattice, colours)
        for i, form in enumerate(forms, start=1)
    ]
    card_rules = sum(isinstance(rule, Cards) for rule in rules)
    if card_rules > 1:
        raise SheetError("rules", "only one rule may be of the kind cards")
    if has_cards and not card_rules:
        rules.insert(0, Cards("cards"))
    for label, times in Counter(rule.label for rule in rules).items():
        if times > 1:
            raise SheetError(f"rules, {label}", "two rules have this label")
    return tuple(rules)


def tie_breaks_of(
    forms: Sequence[TieBreakForm], rules: Sequence[Rule], colours: Sequence[Colour]
) -> tuple[TieBreak, ...]:
    """The tie-breaks in their order."""
    for i, form in enumerate(forms, start=1):
        where = f"tie_breaks, number {i}"
        if form.by == "rule" and form.of not in {rule.label for rule in rules}:
            raise SheetError(where, f"there is no rule labelled {form.of!r}")
        if form.by in ("pieces", "largest-group") and form.of:
            _known(colours, form.of, where)
        if form.by == "fact" and not form.of:
            raise SheetError(where, "of must name the fact")
    return tuple(TieBreak(form.by, form.of, form.prefer == "fewer") for form in forms)


def _card(form: CardForm, lattice: Lattice) -> Card:
    where = f"cards, {form.name}"
    if (form.pattern is None) == (not form.at):
        raise SheetError(where, "give either pattern or at")
    if form.missed and (form.held == "common" or form.count == "each"):
        raise SheetError(f"{where}, missed", "is for cards that are claimed and count once")
    return Card(
        name=form.name,
        points=form.points,
        pattern=_pattern(form.pattern, lattice, where) if form.pattern else (),
        at=tuple(sorted(form.at.items())),
        turns=form.turns,
        mirrors=form.mirrors,
        each=form.count == "each",
        common=form.held == "common",
        missed=form.missed,
    )


def _pattern(text: str, lattice: Lattice, where: str) -> Spots:
    if not lattice.like:
        raise SheetError(where, "a drawn board takes patterns only with board.like; use at instead")
    try:
        return parse_pattern(text, lattice.like)
    except ValueError as error:
        raise SheetError(f"{where}, pattern", str(error)) from error


def _check_needs(card: Card, colours: Sequence[Colour]) -> None:
    by_letter = {colour.letter: colour for colour in colours}
    needs = [spot.needs for spot in card.pattern] + [need for _, need in card.at]
    where = f"cards, {card.name}"
    for need in needs:
        if need in (ANY_PIECE, NO_PIECE) or (len(need) == 1 and need in "123456789"):
            continue
        if need not in by_letter:
            raise SheetError(where, f"{need!r} is not the letter of a colour, nor *, _ or 1 to 9")
        if not by_letter[need].in_patterns:
            raise SheetError(where, f"{by_letter[need].name} never counts in patterns")
    for need, times in Counter(needs).items():
        supply = by_letter[need].supply if need in by_letter else None
        if supply is not None and times > supply:
            name = by_letter[need].name
            raise SheetError(where, f"needs {times} pieces of {name}; the box holds {supply}")
    digits = {need for need in needs if need.isdigit()}
    usable = sum(colour.in_patterns for colour in colours)
    if len(digits) > usable:
        raise SheetError(where, f"needs {len(digits)} different colours; there are {usable}")


def _check_fit(card: Card, lattice: Lattice) -> None:
    ids = set(lattice.neighbours)
    for cell, _ in card.at:
        if cell not in ids:
            raise SheetError(f"cards, {card.name}, at", f"there is no cell {cell}")
    if card.at:
        return
    steps = {step: cell for cell, step in lattice.places.items()}
    ways = orientations(card.pattern, lattice.like, card.turns, card.mirrors)
    if not any(True for way in ways for _ in placements(way, steps)):
        raise SheetError(f"cards, {card.name}, pattern", "does not fit on the board in any way")


def _rule(form: RuleForm, where: str, lattice: Lattice, colours: Sequence[Colour]) -> Rule:
    match form:
        case GroupsForm():
            names = tuple(_known(colours, name, where) for name in form.colours)
            names = names or tuple(colour.name for colour in colours)
            return Groups(
                form.label,
                names,
                form.min_size,
                form.each,
                form.flat,
                _table(form.by_size),
                form.only,
            )
        case CardsForm():
            return Cards(form.label, form.share_between_cards, form.share_between_copies)
        case ExtrasForm():
            return Extras(form.label, _known(colours, form.colour, where), form.each)
        case RegionsForm():
            regions = _regions(form.over, form.cells, lattice, where)
            return Regions(form.label, regions, form.points, form.need)
        case VarietyForm():
            regions = {} if form.around else _regions(form.over, form.cells, lattice, where)
            around = _known(colours, form.around, where) if form.around else ""
            return Variety(form.label, regions, around, form.each, _table(form.by_count))
        case AdjacentForm():
            a, b = (_known(colours, name, where) for name in form.colours)
            return Adjacent(form.label, (a, b), form.each)
        case EmptiesForm():
            return Empties(form.label, form.each)
        case EndsForm():
            return Ends(form.label, form.fact, form.points)


def _known(colours: Sequence[Colour], name: str, where: str) -> str:
    if name not in {colour.name for colour in colours}:
        raise SheetError(where, f"there is no colour {name!r}")
    return name


def _table(form: Mapping[str, int]) -> Table:
    return tuple(sorted((int(number), points) for number, points in form.items()))


Regions_ = Mapping[str, tuple[str, ...]]


def _regions(
    over: str, named: Mapping[str, list[str]], lattice: Lattice, where: str
) -> dict[str, tuple[str, ...]]:
    if not named:
        return {name: tuple(cells) for name, cells in _everywhere(over, lattice).items()}
    for name, cells in named.items():
        strangers = [cell for cell in cells if cell not in lattice.neighbours]
        if strangers or not cells:
            reason = f"there is no cell {strangers[0]}" if strangers else "the region has no cell"
            raise SheetError(f"{where}, cells, {name}", reason)
    return {name: tuple(dict.fromkeys(cells)) for name, cells in named.items()}


def _everywhere(over: str, lattice: Lattice) -> dict[str, list[str]]:
    match over:
        case "rows":
            return {f"row {name}": cells for name, cells in rows_of(lattice).items()}
        case "columns":
            return {f"column {name}": cells for name, cells in columns_of(lattice).items()}
        case "rings":
            return _rings(lattice)
        case _:
            return {"board": [cell.id for cell in lattice.cells]}


def _rings(lattice: Lattice) -> dict[str, list[str]]:
    """Rings from the rim inward: the rim, then the cells beside it, and so on."""
    rings: dict[str, list[str]] = {}
    ring: Iterable[str] = cells_at_edge(lattice, "rim")
    left = dict.fromkeys(lattice.neighbours)
    while ring := [cell for cell in ring if cell in left]:
        rings[f"ring {len(rings) + 1}"] = ring
        for cell in ring:
            del left[cell]
        beside = {b for cell in ring for b in lattice.neighbours[cell]}
        ring = [cell for cell in left if cell in beside]
    return rings
