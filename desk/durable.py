"""Write files so that they are whole or absent, whatever happens meanwhile."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import tempfile
from collections.abc import Iterator
from itertools import chain, count
from pathlib import Path
from typing import BinaryIO

TEMPORARY = ".writing-"
"""In the name of every file that is not whole yet; one that stays is from a stopped program."""


def write_whole(path: Path, data: bytes) -> None:
    """Appear under the final name only when whole; an older file of that name stays until then."""
    with whole_file(path) as file:
        file.write(data)


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write into that takes its name when the block ends well, and else never was.

    Raises FileExistsError where a device or a pipe has the name: it would be gone for everybody.
    """
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    path.parent.mkdir(parents=True, exist_ok=True)
    with blaming(path):
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=TEMPORARY)
        try:
            with os.fdopen(handle, "w+b") as file:
                os.chmod(temporary, 0o666 & ~current_umask())
                yield file
                file.flush()
                os.fsync(file.fileno())
            os.replace(temporary, path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise


@contextlib.contextmanager
def blaming(path: Path) -> Iterator[None]:
    """Let an error name the file that was wanted: a full disk names none, others the temporary."""
    try:
        yield
    except OSError as error:
        if error.filename is None or TEMPORARY in str(error.filename):
            raise OSError(error.errno, error.strerror, str(path)) from error
        raise


def write_durably(path: Path, data: bytes) -> None:
    """As ``write_whole``, and the new name itself is on the disk before this returns."""
    write_whole(path, data)
    for folder in (path.parent, path.parent.parent):
        sync_folder(folder)


def reserved(folder: Path, name: str, suffix: str) -> Path:
    """Take a file name, ``name`` in plain letters, that none in the folder has, for this caller
    alone: the file is empty, and as good as absent, until something whole takes its place."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "table"
    folder.mkdir(parents=True, exist_ok=True)
    for ending in chain([""], (f"-{number}" for number in count(2))):
        path = folder / f"{plain}{ending}{suffix}"
        try:
            path.touch(exist_ok=False)
        except FileExistsError:
            continue
        return path
    raise AssertionError("there is always a next number")


def current_umask() -> int:
    """The permissions that this process takes away; they can only be read by setting them."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable; where folders cannot be opened, the system does it."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
