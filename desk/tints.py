"""A tint for each colour of piece, for pictures only: a letter always stands beside it.

A sheet names its colours and does not say how they look. A tint is taken from the name where a
word of it is known, else from a row of plain tints; it never takes part in reading a photo.
"""

from __future__ import annotations

from functools import cache

from scoring.sheet import GameSheet

WORDS = {
    "amber": "#d99a1c",
    "ash": "#b9bbb6",
    "bone": "#e6dcc3",
    "brick": "#a6452f",
    "charcoal": "#3c4045",
    "clay": "#b5704a",
    "coal": "#2c2e31",
    "copper": "#c06a3a",
    "cream": "#f1e7c9",
    "fern": "#5b8c4a",
    "gilt": "#c9a13b",
    "heather": "#8d6a94",
    "heron": "#8fa0ad",
    "ink": "#26304f",
    "iris": "#6b5b9a",
    "lantern": "#e0a83a",
    "lead": "#6d747c",
    "lichen": "#a7b28a",
    "moss": "#6f8248",
    "ochre": "#c38a35",
    "pale": "#d9dade",
    "pearl": "#e9e7e1",
    "peat": "#4a3a2e",
    "pine": "#2f5d43",
    "plum": "#6a3a5a",
    "reed": "#9aa35a",
    "rose": "#d98a93",
    "rust": "#a4532d",
    "sand": "#dcc79a",
    "sky": "#8fb8d8",
    "slate": "#66788a",
    "smoke": "#8e9197",
    "stone": "#9c978b",
    "straw": "#dcc36a",
    "wine": "#722f40",
}
"""Words that name things rather than web colours (chosen by eye)."""

PLAIN = ("#c7d3e3", "#e5cfb8", "#cfe0c3", "#e3c7d6", "#ddd7a8", "#c4dcdc", "#d3c9e6", "#d0d0d0")


def tints_of(sheet: GameSheet) -> dict[str, str]:
    """``#rrggbb`` by colour name."""
    spare = iter(PLAIN * len(sheet.colours))
    return {colour.name: tint_named(colour.name) or next(spare) for colour in sheet.colours}


MOST_NAMED = 48
ADDED = ("white", "cream")
"""Looks of pieces that are rare on screens."""


@cache
def plain_colours() -> dict[str, str]:
    """``#rrggbb`` by plain name: the 48 names most often given to a colour, and two more.

    Source: Randall Munroe, "Color Survey Results", blog.xkcd.com/2010/05/03 (222,500 people; the
    most often named stand last in Matplotlib's table of it, which is in the public domain).
    """
    from matplotlib.colors import XKCD_COLORS

    names = [*list(XKCD_COLORS)[-MOST_NAMED:], *(f"xkcd:{name}" for name in ADDED)]
    return {name.removeprefix("xkcd:"): str(XKCD_COLORS[name]) for name in names}


def tint_named(name: str) -> str:
    """The tint that a name speaks of, its last word first; "" where none is known."""
    from PIL import ImageColor

    words = name.replace("-", " ").split()
    if len(words) > 1 and (tint := plain_colours().get(name)):
        return tint
    for word in [name.replace(" ", ""), *reversed(words)]:
        if word in WORDS:
            return WORDS[word]
        if word in ImageColor.colormap:
            red, green, blue = ImageColor.getrgb(word)[:3]
            return f"#{red:02x}{green:02x}{blue:02x}"
    return ""
