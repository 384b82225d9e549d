"""How several things are said in a sentence."""

from __future__ import annotations

from collections.abc import Sequence


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words as a list in a sentence: "Ana, Ben and Cleo"."""
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))
