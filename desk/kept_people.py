"""What the commands that change or erase names and photos do and say, in archive and desk alike."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from desk.archive import Archive
from desk.kept import NoArchive, open_kept
from desk.say import so_many

if TYPE_CHECKING:
    from desk.keeping.erase import Erased
    from desk.web.erasing import DeskFolder, Forgotten


def run_pseudonymise(person: str, name: str, by: str, where: str | None, data: Path | None) -> None:
    """Change a name everywhere."""
    from desk.keeping.erase import pseudonymise

    desk = desk_of(where, data, by)
    if desk:
        desk.check_apart(person, name)
    done, at_desk = in_both(
        where,
        desk,
        lambda archive: pseudonymise(archive, person, name, by),
        lambda desk: desk.rename_person(person, name),
    )
    if done:
        entries = so_many(done.games, "entry has", "entries have")
        print(f"{entries} the name {name} now. Exports and backups made before do not.")
    print(*desk_words(desk, at_desk, person), sep="\n")


def run_erase_person(person: str, by: str, where: str | None, data: Path | None) -> None:
    """Take a person out."""
    from desk.keeping.erase import erase_person, name_for_erased

    name = name_for_erased()
    desk = desk_of(where, data, by)
    done, at_desk = in_both(
        where,
        desk,
        lambda archive: erase_person(archive, person, by, name),
        lambda desk: desk.erase_person(person, name),
    )
    if done:
        entries = so_many(done.games, "entry has", "entries have")
        photos = so_many(done.photos, "photo is", "photos are")
        print(f"{entries} the name {done.name} now; {photos} gone.")
        print("Exports and backups made before are as they were.")
    print(*desk_words(desk, at_desk, person), sep="\n")


def run_erase_photos(evening: str, by: str, where: str | None, data: Path | None) -> None:
    """Take an evening's photos away."""
    from desk.keeping.erase import erase_photos

    desk = desk_of(where, data, by)
    done, at_desk = in_both(
        where,
        desk,
        lambda archive: erase_photos(archive, evening, by),
        lambda desk: desk.erase_photos(evening),
    )
    if done:
        entries = so_many(done.games, "entry", "entries")
        print(f"{so_many(done.photos, 'photo')} of {entries} taken away.")
    print(*desk_words(desk, at_desk, ""), sep="\n")


def desk_of(where: str | None, data: Path | None, by: str) -> DeskFolder | None:
    """The web desk's folder; with another archive than one's own it must be named."""
    from desk.archive import now_utc
    from desk.shelf import default_data_folder
    from desk.web.erasing import DeskFolder

    if data is None and where is not None:
        return None
    return DeskFolder(data or default_data_folder(), by, now_utc)


def in_both(
    where: str | None,
    desk: DeskFolder | None,
    at_archive: Callable[[Archive], Erased],
    at_desk: Callable[[DeskFolder], Forgotten],
) -> tuple[Erased | None, Forgotten | None]:
    """What was erased in the archive and at the desk; refused only where neither knows of it."""
    from desk.keeping.erase import NothingKnown

    done, unknown = None, None
    try:
        done = at_archive(open_kept(where))
    except (NothingKnown, NoArchive) as error:
        unknown = error
    forgotten = at_desk(desk) if desk else None
    if unknown and not (forgotten and forgotten.logs):
        raise unknown
    return done, forgotten


def desk_words(desk: DeskFolder | None, done: Forgotten | None, person: str) -> Iterator[str]:
    """What was erased at the web desk, and what this cannot reach."""
    if desk is None or done is None:
        yield "The web desk's folder was not looked at; name it with --data, as `serve` has it."
        return
    logs = so_many(done.logs, "evening or calibration", "evenings or calibrations")
    photos = so_many(done.photos, "photo is", "photos are")
    yield f"At the web desk {logs} changed; {photos} gone."
    yield from desk.left_words(person)
