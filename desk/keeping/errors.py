"""What can go wrong with an archive, said so that a person knows what is still safe."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import sqlalchemy as sa

from scoring.errors import TallyglassError


class ArchiveError(TallyglassError):
    """The archive could not be opened, read or written; nothing saved before is lost."""

    def __init__(self, folder: Path | str, reason: str) -> None:
        self.folder = folder
        self.reason = reason
        super().__init__(f"The archive in {folder} {reason}")


@contextlib.contextmanager
def errors_named(where: Path | str) -> Iterator[None]:
    """Turn what databases and disks complain of into an ArchiveError."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        raise ArchiveError(where, reason_of(error.orig)) from error
    except sqlite3.Error as error:
        raise ArchiveError(where, reason_of(error)) from error
    except OSError as error:
        reason = f"cannot be written: {error.strerror or error}. Nothing was saved."
        raise ArchiveError(where, reason) from error


def reason_of(complaint: object) -> str:
    """What a person can do about the database's complaint."""
    words = " ".join(str(complaint).split())
    if "not a database" in words or "malformed" in words:
        return "is damaged or is no archive of this program. Choose another with --archive."
    if "locked" in words:
        return "is in use by another program. Nothing was saved; try again in a moment."
    if "full" in words:
        return "found the disk full. Nothing was saved; make room and save again."
    if "connection" in words and ("failed" in words or "refused" in words):
        return f"cannot be reached: {words}. Nothing was saved; does the server run?"
    return f"could not be used: {words}. Nothing was saved; is the folder writable?"
