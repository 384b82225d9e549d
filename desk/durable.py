"""Write files so that they are whole or absent, whatever happens meanwhile."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_durably(path: Path, data: bytes) -> None:
    """Appear under the final name only when whole and on the disk: temp, sync, rename, sync."""
    path.parent.mkdir(exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".writing-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    for folder in (path.parent, path.parent.parent):
        sync_folder(folder)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable; where folders cannot be opened, the system does it."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
