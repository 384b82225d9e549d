"""A table as one file to share: a table's own parts, and a manifest with the hash of each.

What comes in is not believed: names, sizes, packing and hashes are checked before anything is
unpacked, and only what was understood is written, never the stranger's own bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
import zlib
from dataclasses import replace

from calibrate.errors import TableError
from calibrate.judge import trust
from calibrate.store import PARTS, table_bytes, table_from_bytes
from calibrate.types import Table
from desk.shelf import Shelf, ShelfError, Version, checked_name
from desk.zips import is_packed_like_ours
from scoring.limits import MOST_TABLE_BYTES, MOST_TABLE_PART_BYTES

MANIFEST = "manifest.json"
FORMAT, VERSION = "tallyglass table", 1
LIMITS = (
    "It was learned with its maker's phone and pieces, in its maker's light. Each photo's own "
    "empty cells move its colours to your light, but what it knows of shine and of near colours "
    "stays its maker's. On our practice tables a changed light nearly doubled what was asked, "
    "and a cell read wrongly without asking became more likely.",
    "The first photos tell: where one looks unlike what was learned, its reading says so. Try it "
    "on one arranged board before a total counts (tallyglass trial). Where a cell is wrong or many "
    "are asked, calibrate here: one photo of the empty board, two of a layout.",
)
"""What a table of another phone may cost, in words for whoever takes it in."""


def packed_table(table: Table, name: str) -> bytes:
    """The file to share; the same table under the same name gives the same bytes.

    What it learned from its maker's games is of its maker's evenings, and stays there.
    """
    shared = replace(table, name=name, lessons=())
    with zipfile.ZipFile(io.BytesIO(table_bytes(shared))) as own:
        parts = {part: own.read(part) for part in PARTS}
    manifest = {
        "format": FORMAT,
        "version": VERSION,
        "name": name,
        "game": table.sheet.name,
        "sha256": {part: hashlib.sha256(data).hexdigest() for part, data in parts.items()},
    }
    parts[MANIFEST] = json.dumps(manifest, ensure_ascii=False, indent=1).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, data in parts.items():
            archive.writestr(zipfile.ZipInfo(part, date_time=(1980, 1, 1, 0, 0, 0)), data)
    return out.getvalue()


def unpacked_table(data: bytes, where: str) -> Table:
    """The table in a shared file. Raises TableError naming what is wrong; nothing is written."""
    if len(data) > MOST_TABLE_BYTES:
        raise TableError(where, "is too large to be a table.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_parts(archive, where)
            if MANIFEST in archive.namelist():
                _check_hashes(archive, where)
    except (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, NotImplementedError) as error:
        raise TableError(where, "is no table file, or is damaged; ask for it again.") from error
    table = table_from_bytes(data, where)
    try:
        return replace(table, name=checked_name(table.name))
    except ShelfError as error:
        raise TableError(where, f"names its table badly: {error}") from error


def _check_parts(archive: zipfile.ZipFile, where: str) -> None:
    names = [info.filename for info in archive.infolist()]
    if len(set(names)) < len(names):
        raise TableError(where, "has two parts of one name.")
    for info in archive.infolist():
        if info.filename not in (*PARTS, MANIFEST):
            raise TableError(where, f"has a part {info.filename[:80]!r} that no table has.")
        if info.file_size > MOST_TABLE_PART_BYTES:
            raise TableError(where, f"has a part {info.filename!r} that unpacks to too much.")
        if not is_packed_like_ours(info):
            raise TableError(where, f"has a part {info.filename!r} packed too tightly to be ours.")


def _check_hashes(archive: zipfile.ZipFile, where: str) -> None:
    """Every part is what the manifest says it is: a file damaged on its way is noticed."""
    try:
        manifest = json.loads(archive.read(MANIFEST))
        known = manifest["format"] == FORMAT and manifest["version"] == VERSION
        hashes = {str(part): str(digest) for part, digest in manifest["sha256"].items()}
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
        raise TableError(where, "has a manifest that cannot be read.") from error
    if not known:
        raise TableError(where, "was exported by another version; update both programs first.")
    for part in PARTS:
        if part not in archive.namelist():
            raise TableError(where, f"lacks its part {part}.")
        if hashes.get(part) != hashlib.sha256(archive.read(part)).hexdigest():
            raise TableError(where, f"was damaged on its way ({part}); ask for it again.")


def take_in(shelf: Shelf, data: bytes, where: str, name: str = "") -> Version:
    """Put a shared table on the shelf, under ``name`` if given.

    Raises ShelfError where a table of this name is here: somebody else's never takes its place.
    """
    table = unpacked_table(data, where)
    table = replace(table, name=checked_name(name or table.name))
    digest = hashlib.sha256(table_bytes(table)).hexdigest()
    for one in shelf.versions():
        if one.sha256 == digest:
            raise ShelfError(f"{where}: is here already, as {one.name}, version {one.number}.")
        if one.name.casefold() == table.name.casefold():
            raise ShelfError(
                f"{where}: you have a table {one.name} already. Give this one another name."
            )
    return shelf.put(table)


def limits_told(table: Table) -> tuple[str, ...]:
    """What a table of another phone may cost, and what its own light could not tell apart."""
    return (*LIMITS, *(f"In its own light: {advice}" for advice in trust(table)))
