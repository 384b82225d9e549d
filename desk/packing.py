"""The command ``count``: loose pieces on a table against what the box should hold."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calibrate.store import load_table
from calibrate.types import Table
from desk.answers import quoted
from desk.durable import write_whole
from desk.given import GivenError
from desk.photo_file import photo_in
from desk.say import listed, working
from scoring.sheet import GameSheet
from vision.outlines import piece_of
from vision.spread import Spread, find_pieces
from vision.spread_colours import ToldPiece, colours_like_table, tell_pieces
from vision.types import Photo


@dataclass(frozen=True, eq=False)
class Counted:
    """What one photo shows: how many pieces are ``seen``, those ``counted`` by colour, why each
    other place was not counted, the colours ``hidden`` by a table that looks like them, and the
    levelled picture (PNG)."""

    seen: int
    counted: Counter[str]
    flags: tuple[str, ...]
    hidden: tuple[str, ...]
    picture: bytes


def count_photo(photo: Photo, table: Table) -> Counted:
    """The loose pieces in one photo. Raises PhotoError where it cannot be counted."""
    spread = find_pieces(photo, piece_of(table.sheet.lattice.cells[0].polygon_mm))
    told = tell_pieces(spread, table.palette)
    return Counted(
        len(told),
        Counter(one.candidates[0] for one in told if one.doubt is None),
        tuple(flag_words(spread, told)),
        colours_like_table(spread, table.palette),
        counted_png(spread, told, table.sheet),
    )


def run_count(
    table: Path, photos: Sequence[Path], out: Path, added: Sequence[str] = (), *, supply: bool
) -> None:
    """Count the pieces in all photos together, compare with the sheet, draw what is unsettled.

    ``added`` are the pieces that a person found at all open places together, as ``moss=2``; with
    ``supply``, the count is printed as the supply of the sheet's colours. Raises GivenError.
    """
    learned = load_table(table)
    sheet, counted, doubts = learned.sheet, Counter[str](), 0
    hidden: set[str] = set()
    for path in photos:
        photo = photo_in(path)
        with working(f"Counting {path.name}"):
            one = count_photo(photo, learned)
        counted += one.counted
        doubts += len(one.flags)
        hidden |= set(one.hidden)
        picture = out / f"{path.stem}-counted.png"
        write_whole(picture, one.picture)
        print(f"{path.name}: {one.seen} pieces seen (picture: {picture})")
        print(*(f"  {number}: {why}" for number, why in enumerate(one.flags, start=1)), sep="\n")
    by_hand = counted_by_hand(added, sheet)
    if by_hand:
        print(f"{sum(by_hand.values())} pieces more are counted by hand.")
        counted, doubts, hidden = counted + Counter(by_hand), 0, hidden - set(by_hand)
    print(*balance(sheet, counted, doubts), sep="\n")
    if hidden:
        print(hidden_words(sorted(hidden)))
    if supply and (doubts or hidden):
        raise GivenError(
            "--supply",
            "is only told by a whole count. Look at each open place, and say how many pieces of "
            f"each colour lie there, such as --and {sheet.colours[0].name}=2; name "
            f"{listed(sorted(hidden), 'and') or 'a colour'} with 0 if there are none.",
        )
    if supply:
        print("", supply_toml(sheet, counted), sep="\n")


def counted_by_hand(added: Sequence[str], sheet: GameSheet) -> dict[str, int]:
    """Pieces by colour of ``moss=2`` or ``M=2`` ... Raises GivenError."""
    names = {c.name: c.name for c in sheet.colours} | {c.letter: c.name for c in sheet.colours}
    found: dict[str, int] = {}
    for word in added:
        name, _, number = (part.strip() for part in word.partition("="))
        if name not in names or not number.isdigit():
            raise GivenError(
                f"--and {word}", f"write COLOUR=PIECES; there is {listed(list(names), 'and')}."
            )
        found[names[name]] = found.get(names[name], 0) + int(number)
    return found


def supply_toml(sheet: GameSheet, counted: Counter[str]) -> str:
    """The sheet's colours with the count as their supply; a person puts them into the sheet."""
    lines = ["# Counted: put these in place of the sheet's colours."]
    for colour in sheet.colours:
        lines += ["", "[[colours]]", f"name = {quoted(colour.name)}", f'letter = "{colour.letter}"']
        lines += [f"supply = {counted[colour.name]}"]
        lines += [] if colour.in_patterns else ["in_patterns = false"]
    return "\n".join(lines)


def hidden_words(colours: Sequence[str]) -> str:
    """What is said where a table looks like some of its pieces."""
    return (
        f"The table itself looks like {listed(colours, 'and')}: such a piece may lie there unseen. "
        "Count them by hand, or spread them out on a cloth of another colour."
    )


def flag_words(spread: Spread, told: Sequence[ToldPiece]) -> Iterator[str]:
    """Why each unsettled place was not counted, in the order of their numbers in the picture."""
    for one in told:
        if one.doubt:
            yield f"{one.doubt} ({listed(one.candidates, 'or') or 'anything'})"
    for place in spread.unsettled:
        yield place.why


def balance(sheet: GameSheet, counted: Counter[str], doubts: int) -> Iterator[str]:
    """A line a colour: counted, in the box, what is missing or too many."""
    for colour in sheet.colours:
        line = f"{colour.name} ({colour.letter}): {counted[colour.name]}"
        if colour.supply is not None:
            short = colour.supply - counted[colour.name]
            if short > 0:
                said = f"{'at most ' * bool(doubts)}{short} missing"
            else:
                said = f"{'at least ' * bool(doubts)}{-short} too many" if short else "complete"
            line += f" of {colour.supply}, {said}"
        yield line
    if doubts:
        yield (
            f"{doubts} places are not counted: look at the numbers in the picture. Counts are "
            "final only when every place is settled."
        )


def counted_png(spread: Spread, told: Sequence[ToldPiece], sheet: GameSheet) -> bytes:
    """The levelled photo: each counted piece with its letter, each open place in a numbered box."""
    picture = spread.level.copy()
    letters = {colour.name: colour.letter for colour in sheet.colours}
    boxes = [one.piece.outline_px for one in told if one.doubt]
    boxes += [place.box_px for place in spread.unsettled]
    for one in told:
        if not one.doubt:
            cv2.polylines(picture, [_whole(one.piece.outline_px)], True, (255, 255, 255), 1, 16)
            write(picture, letters[one.candidates[0]], one.piece.outline_px.mean(axis=0))
    for number, box in enumerate(boxes, start=1):
        low, high = _whole(box.min(axis=0) - 4).tolist(), _whole(box.max(axis=0) + 4).tolist()
        cv2.rectangle(picture, low, high, (0, 0, 0), 4)
        cv2.rectangle(picture, low, high, (255, 215, 0), 2)
        write(picture, str(number), box.mean(axis=0))
    return png(picture)


def png(picture: NDArray[np.uint8]) -> bytes:
    """A picture (H, W, 3), sRGB, as the bytes of a PNG file."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG")
    return out.getvalue()


def _whole(points: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.round(points).astype(np.int32)


def write(
    picture: NDArray[np.uint8], words: str, at: NDArray[np.float64], size: float = 0.55
) -> None:
    """Dark words with a light rim about a point, in place; ``size`` as OpenCV scales its font."""
    x, y = _whole(at).tolist()
    spot = (x - round(11 * size) * len(words), y + round(11 * size))
    for ink, width in (((255, 255, 255), 7 * size), ((20, 20, 20), 3.5 * size)):
        cv2.putText(
            picture, words, spot, cv2.FONT_HERSHEY_SIMPLEX, size, ink, max(1, round(width)), 16
        )
