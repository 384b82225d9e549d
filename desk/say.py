"""How the commands speak: progress on stderr, cautions in dim print, results on stdout."""

from __future__ import annotations

import errno
import sys
from collections.abc import Iterator
from contextlib import contextmanager

CAUTION = (
    "Ask before you photograph people or their things. Location and other personal data are taken "
    "out of kept photos. The event's rules and its referee decide, not this program."
)


@contextmanager
def working(words: str) -> Iterator[None]:
    """Show on stderr that something is being done, where a person is watching."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(f"{words} …"):
        yield


def quietly(words: str) -> None:
    """One line in dim print."""
    from rich.console import Console
    from rich.text import Text

    Console(highlight=False).print(Text(words, style="dim"), soft_wrap=True)


def complain(words: str) -> None:
    """A failure that does not end the command."""
    print(words, file=sys.stderr)


def asked(words: str) -> str:
    """What is typed; "" at the end of the input."""
    try:
        return input(words).strip()
    except EOFError:
        print()
        return ""


def so_many(count: int, one: str, more: str = "") -> str:
    """A number and what it counts: "1 photo", "2 photos"; ``more`` where the plural is another."""
    return f"{count} {one if count == 1 else more or one + 's'}"


def os_error_in_words(error: OSError) -> str:
    """A sentence about a file that could not be read or written."""
    where = error.filename or "The output"
    reason = {
        "FileNotFoundError": "there is no such file.",
        "IsADirectoryError": "this is a folder; a file is needed here.",
        "NotADirectoryError": "this is a file; a folder is needed here.",
        "PermissionError": "this program may not read or write here.",
        "FileExistsError": "something of this name is in the way.",
    }.get(type(error).__name__, f"{(error.strerror or str(error)).lower()}.")
    if error.errno == errno.EROFS:
        reason = "this place can only be read; choose another to write to."
    if "no space" in reason:
        reason = "the disk is full. Make room and run the command again."
    return f"{where}: {reason}"
