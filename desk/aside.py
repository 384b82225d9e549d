"""Nothing that a person made is written over: an older file of a name is moved aside."""

from __future__ import annotations

from pathlib import Path


def move_aside(path: Path) -> Path | None:
    """Rename a file that is about to be written anew, if there is one; returns its new name."""
    if not path.exists():
        return None
    number = 1
    while (aside := path.with_name(f"{path.stem}.older-{number}{path.suffix}")).exists():
        number += 1
    return path.rename(aside)
