"""A card read from a photo as letters: names of its cells, its drawing, its lines of TOML."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from PIL import Image

from desk.answers import quoted
from desk.given import GivenError
from scoring.patterns import symmetries
from scoring.regular import Step, cell_name
from vision.cards import CardLook
from vision.draw import write_words

TOPS = ("up", "right", "down", "left")
NO_CELL = "."
TWO_WIDE = ("square", "hex-flat")


def named_cells(look: CardLook) -> list[str]:
    """A name for each cell of a card: rows from the top, numbered from the left."""
    rows = sorted({cell.step[1] for cell in look.cells})
    taken = dict.fromkeys(rows, 0)
    names = []
    for cell in look.cells:
        names.append(cell_name(rows.index(cell.step[1]), taken[cell.step[1]]))
        taken[cell.step[1]] += 1
    return names


def turned_steps(steps: Sequence[Step], like: str, top: str) -> list[Step] | None:
    """Steps turned so that the side ``top`` of the drawing comes up; None where the lattice
    cannot lie so."""
    quarters = (-TOPS.index(top)) % 4
    turns = symmetries(like, True, False)
    if quarters * len(turns) % 4:
        return None
    move = turns[quarters * len(turns) // 4]
    return [move(u, v) for u, v in steps]


def pattern_letters(steps: Sequence[Step], needs: Sequence[str], like: str, top: str) -> str:
    """A card's drawing in letters with the side ``top`` up; cells that are none are left out.

    Raises GivenError where no cell is left, or where the lattice cannot lie so.
    """
    kept = [(step, need) for step, need in zip(steps, needs, strict=True) if need != NO_CELL]
    if not kept:
        raise GivenError("The card", "has no cell left.")
    turned = turned_steps([step for step, _ in kept], like, top)
    if turned is None:
        raise GivenError("The card", f"on a {like} board a pattern cannot have its top {top}.")
    return drawing(turned, [need for _, need in kept], like)


def drawing(steps: Sequence[Step], needs: Sequence[str], like: str) -> str:
    """The letters in the notation of a sheet's cards, one line a row."""
    wide = 2 if like in TWO_WIDE else 1
    left, top = min(u for u, _ in steps), min(v for _, v in steps)
    lines: dict[int, dict[int, str]] = {}
    for (u, v), need in zip(steps, needs, strict=True):
        lines.setdefault(v - top, {})[wide * (u - left)] = need
    rows = range(max(lines) + 1)
    filled = [lines.get(row, {}) for row in rows]
    return "\n".join(
        "".join(line.get(k, " ") for k in range(max(line, default=-1) + 1)) for line in filled
    )


def card_toml(name: str, points: int, letters: str) -> str:
    """The lines of one card, ready to be pasted into a sheet."""
    head = ["[[cards]]", f"name = {quoted(name)}", f"points = {points}"]
    return "\n".join([*head, 'pattern = """', letters, '"""', ""])


def look_png(look: CardLook, names: Sequence[str], doubts: Mapping[str, str]) -> bytes:
    """The levelled card with each cell outlined and named, those in doubt dashed, PNG."""
    picture = look.level.copy()
    for cell, name in zip(look.cells, names, strict=True):
        outline = np.round(cell.outline_px * 8).astype(np.int32)
        ink = (230, 30, 120) if name not in doubts else (255, 190, 0)
        cv2.polylines(picture, [outline], True, ink, 3, cv2.LINE_AA, 3)
        words = f"{name}?" if name in doubts else name
        write_words(
            picture, words, cell.outline_px.mean(axis=0), 0.7, (120, 0, 60), (255, 255, 255)
        )
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG")
    return out.getvalue()
