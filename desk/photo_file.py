"""Photo files that people name: read whole, if they are ordinary files of a photo's size."""

from __future__ import annotations

from pathlib import Path

from scoring.given_file import read_given
from scoring.limits import MOST_PHOTO_BYTES
from vision.decode import load_photo
from vision.types import Photo


def photo_bytes(path: Path) -> bytes:
    """A photo file's content; one byte too many of a file that is too long for a photo."""
    return read_given(path, MOST_PHOTO_BYTES)


def photo_in(path: Path) -> Photo:
    """The photo in a file. Raises PhotoError where it is none, OSError where it is unreadable."""
    return load_photo(photo_bytes(path), shown_name(path))


def shown_name(path: Path) -> str:
    """A file's name as it can be said, shown and kept: what cannot be shown becomes ``?``."""
    return "".join(letter if letter.isprintable() else "?" for letter in path.name)
