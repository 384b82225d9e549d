"""What the commands under ``tallyglass table`` do and say."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from calibrate.store import load_table
from desk.durable import write_whole
from desk.given import GivenError
from desk.say import complain
from desk.shelf import SUFFIX, Shelf, Version, default_data_folder
from desk.table_file import limits_told, packed_table, take_in
from desk.table_sheet import with_sheet
from scoring.given_file import read_given
from scoring.limits import MOST_TABLE_BYTES
from scoring.sheet import load_sheet


def shelf_in(data: Path | None) -> Shelf:
    """The shelf in a data folder, or in this person's."""
    return Shelf((data or default_data_folder()) / "tables")


def run_list(data: Path | None) -> None:
    """One line a table."""
    shelf = shelf_in(data)
    for one in shelf.tables():
        older = f", {one.number - 1} older" if one.number > 1 else ""
        print(f"{one.name}: {one.game} (version {one.number} of {when(one)}{older})")
    for problem in shelf.damaged():
        complain(problem)
    if not shelf.tables():
        print(f"There is no table in {shelf.folder} yet; `calibrate --out NAME` puts one there.")


def run_history(data: Path | None, name: str) -> None:
    """One line a version, the oldest first."""
    print(*history_words(shelf_in(data).history(name)), sep="\n")


def history_words(versions: list[Version]) -> Iterator[str]:
    """Number, time and hash of each version."""
    for one in versions:
        used = ", used" if one is versions[-1] else ""
        yield f"{one.number:>3}  {when(one)}  {one.game}  sha256 {one.sha256[:12]}{used}"


def when(one: Version) -> str:
    """When a version came here, by this machine's clock."""
    return f"{one.put_at.astimezone():%Y-%m-%d %H:%M}"


def run_back(data: Path | None, name: str, number: int) -> None:
    """Bring a version back."""
    now = shelf_in(data).bring_back(name, number)
    print(f"{now.name}: version {number} is used again, as version {now.number}.")


def run_rename(data: Path | None, name: str, new: str) -> None:
    """Another name."""
    versions = shelf_in(data).rename(name, new)
    print(f"{name} is now called {versions[-1].name}.")


def run_sheet(data: Path | None, name: str, sheet: Path) -> None:
    """Give a table a changed sheet, as a new version of it."""
    shelf = shelf_in(data)
    now = shelf.put(with_sheet(shelf.table(name), load_sheet(sheet)))
    print(f"{now.name}: has the sheet {sheet} now, as version {now.number}.")


def run_export(data: Path | None, name: str, out: Path) -> None:
    """The file to share, and its hash to compare."""
    if out.suffix != SUFFIX:
        raise GivenError(str(out), f"a table's file ends in {SUFFIX}.")
    if out.exists():
        raise GivenError(str(out), "exists already; choose another name or move it away.")
    one = shelf_in(data).latest(name)
    packed = packed_table(load_table(one.path), one.name)
    write_whole(out, packed)
    print(f"{out}: {one.name}, version {one.number}, for {one.game}.")
    print(f"sha256 {hashlib.sha256(packed).hexdigest()}")


def run_import(data: Path | None, file: Path, name: str) -> None:
    """Take a file in, and say what it may cost."""
    shelf = shelf_in(data)
    content = read_given(file, MOST_TABLE_BYTES)
    one = take_in(shelf, content, str(file), name)
    print(f"sha256 {hashlib.sha256(content).hexdigest()}: compare it with its maker's.")
    print(f"{one.name}: a table for {one.game} is on the shelf.")
    print(*(f"- {words}" for words in limits_told(load_table(one.path))), sep="\n")
