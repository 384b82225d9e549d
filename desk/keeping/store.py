"""The files of an archive: photos and tables, each once, named by the SHA-256 of its bytes.

``photos/ab/ab12...jpg`` and ``tables/cd/cd34....table``, in a folder or under any fsspec URL.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

from desk.durable import TEMPORARY, write_durably
from desk.keeping.errors import ArchiveError

FILE_NAME = re.compile(
    r"photos/([0-9a-f]{2})/(\1[0-9a-f]{62})\.(?:jpg|png|webp|heic)|"
    r"tables/([0-9a-f]{2})/(\3[0-9a-f]{62})\.table"
)
"""The only names that a kept file may have."""

KINDS = ("photos", "tables")


class Store(Protocol):
    """Where files lie. Names are relative, with forward slashes."""

    root: str

    def put(self, name: str, data: bytes) -> None:
        """Keep bytes under a name, whole or not at all; the same name again changes nothing."""

    def get(self, name: str) -> bytes:
        """A file's bytes. Raises FileNotFoundError where there is none."""

    def has(self, name: str) -> bool:
        """Whether there is such a file."""

    def names(self) -> Iterator[str]:
        """All files that lie there, in no order."""

    def remove(self, name: str) -> None:
        """Take a file away; none there is no error."""


class FolderStore:
    """Files in a local folder, durable when ``put`` returns."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.root = str(folder)

    def put(self, name: str, data: bytes) -> None:
        """Write, sync, rename, sync the folders."""
        path = self.folder / name
        if not path.exists():
            write_durably(path, data)

    def get(self, name: str) -> bytes:
        """Read the file."""
        return (self.folder / name).read_bytes()

    def has(self, name: str) -> bool:
        """Look."""
        return (self.folder / name).is_file()

    def names(self) -> Iterator[str]:
        """Walk both kinds."""
        for kind in KINDS:
            for path in (self.folder / kind).rglob("*"):
                if path.is_file():
                    yield path.relative_to(self.folder).as_posix()

    def remove(self, name: str) -> None:
        """Unlink."""
        (self.folder / name).unlink(missing_ok=True)


class FarStore:
    """Files under an fsspec URL (S3, SFTP, WebDAV...); as durable as what is behind the URL."""

    def __init__(self, url: str) -> None:
        import fsspec

        try:
            self.files, self.path = fsspec.core.url_to_fs(url)
        except (ImportError, ValueError) as error:
            reason = f"is no place for photos that can be opened: {error}"
            raise ArchiveError(url, reason) from error
        self.root = url.rstrip("/")

    def put(self, name: str, data: bytes) -> None:
        """Write beside, then rename: many file systems show half a file while it is written."""
        place = self._place(name)
        if self.files.exists(place):
            return
        self.files.makedirs(place.rpartition("/")[0], exist_ok=True)
        beside = f"{place}{TEMPORARY}"
        self.files.pipe_file(beside, data)
        self.files.mv(beside, place)

    def get(self, name: str) -> bytes:
        """Fetch."""
        return self.files.cat_file(self._place(name))

    def has(self, name: str) -> bool:
        """Look."""
        return self.files.isfile(self._place(name))

    def names(self) -> Iterator[str]:
        """Walk both kinds."""
        # Listings may be remembered from before another program wrote.
        self.files.invalidate_cache()
        start = self._place("")
        for kind in KINDS:
            for path in self.files.find(self._place(kind)):
                yield path[path.index(start) + len(start) :] if start in path else path

    def remove(self, name: str) -> None:
        """Delete where there is something."""
        if self.has(name):
            self.files.rm_file(self._place(name))

    def _place(self, name: str) -> str:
        return f"{self.path.rstrip('/')}/{name}"


def open_store(place: str | Path) -> Any:
    """The files in a folder, or under a URL."""
    if isinstance(place, str) and "://" in place:
        return FarStore(place)
    return FolderStore(Path(place))


def file_name(kind: str, data: bytes, suffix: str) -> str:
    """The name under which bytes are kept; ``kind`` is ``photos`` or ``tables``."""
    digest = hashlib.sha256(data).hexdigest()
    return f"{kind}/{digest[:2]}/{digest}{suffix}"


def table_file(digest: str) -> str:
    """The name of a kept table."""
    return f"tables/{digest[:2]}/{digest}.table"


def digest_in(name: str) -> str:
    """The SHA-256 that a kept file's name promises; empty where the name is none of ours."""
    match = FILE_NAME.fullmatch(name)
    return (match[2] or match[4]) if match else ""


def is_whole(name: str, data: bytes) -> bool:
    """Whether a file's bytes are those that its name promises."""
    return hashlib.sha256(data).hexdigest() == digest_in(name)
