"""Cards typed as letter drawings: put into a sheet's text, or taken out of it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from desk.answers import quoted
from desk.given import GivenError
from scoring.rules import Cards
from scoring.sheet import GameSheet, parse_sheet


@dataclass(frozen=True)
class Typed:
    """A card as a host types it: ``pattern`` in letters, ``missed`` points lost, 0 or less."""

    name: str
    points: int
    pattern: str
    turns: bool = True
    mirrors: bool = True
    each: bool = False
    common: bool = False
    missed: int = 0


def with_card(text: str, card: Typed) -> str:
    """The sheet's text with one more card, checked; and with a rule that counts cards."""
    sheet = parse_sheet(text)
    if card.name in [known.name for known in sheet.cards]:
        raise GivenError(card.name, "there is a card of this name already; take it out first.")
    added = text.rstrip() + "\n\n" + card_toml(card)
    if not any(isinstance(rule, Cards) for rule in sheet.rules):
        added += '\n[[rules]]\nkind = "cards"\nlabel = "cards"\n'
    parse_sheet(added, card.name)
    return added


def card_toml(card: Typed) -> str:
    """The lines of one card."""
    lines = ["[[cards]]", f"name = {quoted(card.name)}", f"points = {card.points}"]
    if card.missed:
        lines.append(f"missed = {card.missed}")
    if not card.turns:
        lines.append("turns = false")
    if not card.mirrors:
        lines.append("mirrors = false")
    lines += ['count = "each"'] if card.each else []
    lines += ['held = "common"'] if card.common else []
    pattern = card.pattern.replace("\r\n", "\n").strip("\n")
    if "'" in pattern or "\\" in pattern:
        raise GivenError(card.name, "a pattern holds letters, digits, *, _, full stops and spaces.")
    return "\n".join([*lines, f"pattern = '''\n{pattern}\n'''", ""])


def without_card(text: str, name: str) -> str:
    """The sheet's text without a card. Raises GivenError where it cannot be told where it ends."""
    sheet = parse_sheet(text)
    names = [card.name for card in sheet.cards]
    if name not in names:
        raise GivenError(name, "there is no card of this name.")
    starts = [found.start() for found in re.finditer(r"(?m)^\[\[cards\]\]", text)]
    start = starts[names.index(name)] if len(starts) == len(names) else -1
    end = re.compile(r"(?m)^\[").search(text, start + 2) if start >= 0 else None
    left = text[:start] + (text[end.start() :] if end else "")
    if start < 0 or not is_without(left, sheet, name):
        raise GivenError(name, "could not be taken out; edit the sheet's file by hand.")
    return left


def is_without(text: str, before: GameSheet, name: str) -> bool:
    """Whether a text holds all cards of a sheet but one, and all its rules."""
    after = parse_sheet(text)
    kept = [card for card in before.cards if card.name != name]
    return list(after.cards) == kept and after.rules == before.rules
