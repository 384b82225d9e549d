"""Photos coming in: counted as they come, checked before they are decoded, stored once."""

from __future__ import annotations

import hashlib
from pathlib import PurePosixPath

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request

from desk.metadata import PhotoFormatError
from desk.web.errors import Refusal
from desk.web.files import Files
from vision.decode import check_photo
from vision.errors import PhotoError

LONGEST_NAME = 60


async def take_photo(request: Request, files: Files, name: str, sha256: str | None) -> str:
    """Store the photo that a request brings; returns the name it is stored under.

    ``sha256`` is of the file as the phone has it, where it says so. Raises Refusal in words.
    """
    try:
        data = b"".join([piece async for piece in request.stream()])
    except ClientDisconnect as error:
        raise Refusal(
            400, "The connection was lost before the photo was here. Send it again."
        ) from error
    return await run_in_threadpool(store, files, data, name, sha256)


def store(files: Files, data: bytes, name: str, sha256: str | None) -> str:
    """Check a photo by its first bytes and its header, take personal data out, keep it."""
    if not data:
        raise Refusal(422, "No photo came. Choose one and send it again.")
    if sha256 and hashlib.sha256(data).hexdigest() != sha256.lower():
        raise Refusal(422, "The photo was damaged on its way. Send it again.")
    try:
        check_photo(data, name)
        return files.keep_photo(data)
    except (PhotoError, PhotoFormatError) as error:
        raise Refusal(422, str(error)) from error


def plain_name(name: str) -> str:
    """A photo's name for showing: no folders, nothing that cannot be shown."""
    last = PurePosixPath(name.replace("\\", "/")).name
    shown = "".join(letter for letter in last if letter.isprintable()).strip()
    return shown[-LONGEST_NAME:] or "photo"
