"""The command ``count``: loose pieces on a table against what the box should hold."""

from __future__ import annotations

import hashlib
import io
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calibrate.store import load_table
from calibrate.types import Table
from desk.durable import write_durably, write_whole
from desk.given import GivenError, is_count
from desk.photo_file import photo_bytes, photo_in
from desk.say import working
from desk.sheet_colours import colour_toml, supplied, with_colours
from desk.shelf import table_file
from scoring.sheet import GameSheet, load_sheet
from scoring.types import Colour
from scoring.words import listed
from vision.draw import write_words
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
        colours_like_table(spread, told, table.palette),
        counted_png(spread, told, table.sheet),
    )


@dataclass(frozen=True)
class Whole:
    """All photos of a box together, and what a person found at the open places: pieces by colour,
    how many places are still ``open``, which colours may lie unseen on a table like them."""

    counted: Counter[str]
    open: int
    hidden: tuple[str, ...]

    @property
    def final(self) -> bool:
        """Whether nothing is left to look at."""
        return not self.open and not self.hidden


def whole_count(photos: Sequence[Counted], by_hand: Mapping[str, int]) -> Whole:
    """The photos added up; with pieces counted ``by_hand`` every open place counts as settled, and
    so does each colour that was named by hand, if only with 0."""
    counted = sum((one.counted for one in photos), Counter[str]())
    hidden = sorted({name for one in photos for name in one.hidden} - set(by_hand))
    places = 0 if by_hand else sum(len(one.flags) for one in photos)
    return Whole(counted + Counter(by_hand), places, tuple(hidden))


def checked_whole(whole: Whole, sheet: GameSheet) -> Whole:
    """The count, if it may become the box's supply. Raises GivenError."""
    if not whole.final:
        raise GivenError(
            "The supply",
            "is only told by a whole count. Look at each open place, and say how many pieces of "
            f"each colour lie there (at the terminal --and {sheet.colours[0].name}=2); say "
            f"{listed(whole.hidden) or 'a colour'} with 0 if there are none.",
        )
    return whole


@dataclass(frozen=True)
class CountJob:
    """What was asked for: the table, photos, a folder for pictures; pieces that a person ``added``
    at all open places together, as ``moss=2``; whether a whole count is printed as the ``supply``
    of the sheet's colours, and the sheet to ``put`` it into."""

    table: Path
    photos: Sequence[Path]
    out: Path
    added: Sequence[str] = ()
    supply: bool = False
    put: Path | None = None


def run_count(job: CountJob) -> None:
    """Count the pieces in all photos together, compare with the sheet, draw what is unsettled.

    Raises GivenError.
    """
    learned = load_table(table_file(job.table))
    sheet = learned.sheet
    by_hand = counted_by_hand(job.added, sheet)
    shown = []
    for path in different(job.photos):
        photo = photo_in(path)
        with working(f"Counting {path.name}"):
            one = count_photo(photo, learned)
        shown.append(one)
        picture = job.out / f"{path.stem}-counted.png"
        write_whole(picture, one.picture)
        print(f"{path.name}: {one.seen} pieces seen (picture: {picture})")
        print(*(f"  {number}: {why}" for number, why in enumerate(one.flags, start=1)), sep="\n")
    if by_hand:
        print(f"{sum(by_hand.values())} pieces more are counted by hand.")
    whole = whole_count(shown, by_hand)
    print(*(line.words for line in balance(sheet, whole)), *notes(whole), sep="\n")
    if job.put:
        put_supply(job.put, sheet, whole)
        print(
            f"{job.put}: the box's supply is in it; `tallyglass table sheet` gives it to a table."
        )
    if job.supply:
        colours = supplied(sheet, checked_whole(whole, sheet).counted)
        print("", "# Counted: put these in place of the sheet's colours.", "", sep="\n")
        print(*map(colour_toml, colours), sep="\n")


def put_supply(path: Path, sheet: GameSheet, whole: Whole) -> None:
    """Write a whole count into a sheet's file as its supply. Raises GivenError where the count is
    not whole, or where that sheet has other colours than ``sheet``, by which was counted."""
    counted = checked_whole(whole, sheet).counted
    target = load_sheet(path)
    if {colour.name for colour in target.colours} != {colour.name for colour in sheet.colours}:
        raise GivenError(target.name, "has other colours than the table by which was counted.")
    text = with_colours(target.text, supplied(target, counted))
    write_durably(path, text.encode())


def different(photos: Sequence[Path]) -> Sequence[Path]:
    """The photos, no two alike: each piece would count twice. Raises GivenError."""
    seen: dict[bytes, Path] = {}
    for path in photos:
        digest = hashlib.sha256(photo_bytes(path)).digest()
        if digest in seen:
            raise GivenError(
                str(path), f"is the same photo as {seen[digest]}; its pieces would count twice."
            )
        seen[digest] = path
    return photos


def counted_by_hand(added: Sequence[str], sheet: GameSheet) -> dict[str, int]:
    """Pieces by colour of ``moss=2`` or ``M=2`` ... Raises GivenError."""
    names = {c.name: c.name for c in sheet.colours} | {c.letter: c.name for c in sheet.colours}
    found: dict[str, int] = {}
    for word in added:
        name, _, number = (part.strip() for part in word.partition("="))
        if name not in names or not is_count(number):
            raise GivenError(
                f"--and {word}", f"write COLOUR=PIECES; there is {listed(list(names))}."
            )
        found[names[name]] = found.get(names[name], 0) + int(number)
    return found


def hidden_words(colours: Sequence[str]) -> str:
    """What is said where a table may look like some of its pieces."""
    return (
        f"In this light {listed(colours)} may look like the table itself: such a piece may "
        "lie there unseen. Look for them by eye and count them by hand, or spread the pieces out "
        "on a cloth of another colour."
    )


def flag_words(spread: Spread, told: Sequence[ToldPiece]) -> Iterator[str]:
    """Why each unsettled place was not counted, in the order of their numbers in the picture."""
    for one in told:
        if one.doubt:
            yield f"{one.doubt} ({listed(one.candidates, 'or') or 'anything'})"
    for place in spread.unsettled:
        yield place.why


@dataclass(frozen=True)
class Line:
    """What is said of one colour: counted, the box's supply, what is missing ("" where the supply
    is not known), and all of it in words."""

    colour: Colour
    counted: int
    said: str

    @property
    def words(self) -> str:
        """The line for a terminal."""
        start = f"{self.colour.name} ({self.colour.letter}): {self.counted}"
        return f"{start} of {self.colour.supply}, {self.said}" if self.said else start


def balance(sheet: GameSheet, whole: Whole) -> Iterator[Line]:
    """A line a colour. A place that is open may hold a piece of any colour, so that a colour lacks
    at most, or has too many by at least, what is said."""
    for colour in sheet.colours:
        counted = whole.counted[colour.name]
        unsure = whole.open or colour.name in whole.hidden
        short = 0 if colour.supply is None else colour.supply - counted
        if colour.supply is None:
            said = ""
        elif short > 0:
            said = f"{'at most ' * bool(unsure)}{short} missing"
        elif short < 0:
            said = f"{'at least ' * bool(unsure)}{-short} too many"
        else:
            said = "complete"
        yield Line(colour, counted, said)


def notes(whole: Whole) -> Iterator[str]:
    """What keeps a count from being final."""
    if whole.open:
        number = f"{whole.open} places are" if whole.open > 1 else "One place is"
        yield (
            f"{number} not counted: look at the numbers in the picture. Counts are final only "
            "when every place is settled."
        )
    if whole.hidden:
        yield hidden_words(whole.hidden)


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
    write_words(picture, words, at, size, (20, 20, 20), (255, 255, 255))
