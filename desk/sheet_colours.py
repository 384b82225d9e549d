"""A sheet's colours replaced in its text: by those of a photo, or with a counted supply."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from desk.answers import quoted
from desk.given import GivenError
from scoring.rules import Card
from scoring.sheet import GameSheet, letters, parse_sheet
from scoring.toml import parse_toml
from scoring.types import Colour

BLOCK = re.compile(r"^\[\[colours\]\][^\n]*\n(?:[^\n\[][^\n]*\n?)*\n*", re.MULTILINE)
"""The lines of one colour: its head, and all that follows up to an empty line or another head."""


def with_colours(text: str, colours: Sequence[Colour]) -> str:
    """The sheet's text with these colours in place of its own; all else stays as it was.

    Raises GivenError where a card would then ask for another colour than before, or where the
    lines of the colours cannot be told; SheetError where the rules name a colour that is gone.
    """
    before = parse_sheet(text)
    blocks = list(BLOCK.finditer(text))
    if len(blocks) != len(before.colours):
        raise _by_hand(before)
    for card in before.cards:
        _check_card(card, letters(before), {colour.letter: colour.name for colour in colours})
    start = blocks[0].start()
    lines = "\n".join(colour_toml(colour) for colour in colours)
    rest = BLOCK.sub("", text[start:])
    changed = text[:start] + (f"{lines}\n{rest}" if rest else lines)
    after = parse_sheet(changed)
    if after.colours != tuple(colours) or _others(changed) != _others(text):
        raise _by_hand(before)
    return changed


def _others(text: str) -> dict[str, Any]:
    return {key: value for key, value in parse_toml(text).items() if key != "colours"}


def _by_hand(sheet: GameSheet) -> GivenError:
    return GivenError(sheet.name, "its colours could not be replaced; edit the sheet's file.")


def _check_card(card: Card, before: Mapping[str, str], after: Mapping[str, str]) -> None:
    for letter in [spot.needs for spot in card.pattern] + [needs for _, needs in card.at]:
        if letter in before and before[letter] != after.get(letter):
            now = after.get(letter, "none of them")
            raise GivenError(
                f"The card {card.name}",
                f"asks for {letter}, which is {before[letter]} and would be {now}. Keep name and "
                "letter of that colour, or take the card out first.",
            )


def colour_toml(colour: Colour) -> str:
    """The lines of one colour; a supply that is not known is left as a remark."""
    lines = ["[[colours]]", f"name = {quoted(colour.name)}", f'letter = "{colour.letter}"']
    lines += [f"supply = {colour.supply}"] if colour.supply else ["# supply = 30"]
    lines += [] if colour.in_patterns else ["in_patterns = false"]
    return "\n".join([*lines, ""])


def supplied(sheet: GameSheet, counted: Mapping[str, int]) -> list[Colour]:
    """The sheet's colours with a whole count as their supply. Raises GivenError where one has none:
    a colour of which the box holds no piece is no colour of the game."""
    for colour in sheet.colours:
        if not counted.get(colour.name):
            raise GivenError(
                colour.name, "no piece was counted. Count again, or take it out of the sheet."
            )
    return [replace(colour, supply=counted[colour.name]) for colour in sheet.colours]
