"""Files that people name: ordinary ones only, and never more of one than is wanted."""

from __future__ import annotations

import errno
import stat
from pathlib import Path


def read_given(path: Path, most_bytes: int) -> bytes:
    """The file's content; ``most_bytes + 1`` bytes of one that is longer, so that this shows.

    Raises OSError where it cannot be read, also for a pipe or a device, which may never end.
    """
    check_ordinary(path)
    with path.open("rb") as file:
        return file.read(most_bytes + 1)


def check_ordinary(path: Path) -> None:
    """Raise OSError for what is there and neither a file nor a folder."""
    mode = path.stat().st_mode
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        words = "is a pipe or a device; save it as a file first"
        raise OSError(errno.EINVAL, words, str(path))
