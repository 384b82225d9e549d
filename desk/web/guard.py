"""What every request passes first: the host, the session, where it came from, how much it brings.

A plain ASGI layer, so that nothing is read, parsed or decoded before it agreed.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, Collection, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

from desk.web.errors import Refusal
from desk.web.sessions import COOKIE, Sessions
from scoring.limits import MOST_PHOTO_BYTES, MOST_REQUEST_BYTES, REQUEST_S, STALL_S

Message = MutableMapping[str, Any]
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Asgi = Callable[[Scope, Receive, Send], Awaitable[None]]

LOG = logging.getLogger("tallyglass.desk")

KEY_NEEDED = "This desk opens with a key. Scan the QR code that it shows; each code opens it once."
SAFE = ("GET", "HEAD", "OPTIONS")
OPEN_PATHS = ("/join",)
HEADER = "x-tallyglass"
"""A header that no other site's page can make a browser send here without asking first."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)

HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), microphone=(), camera=(self)",
}


@dataclass(frozen=True)
class Door:
    """Who is let in: names this desk answers to, and whether a session is needed.

    ``stall_s`` and ``body_s``: seconds that a body may stall, and last in all.
    """

    hosts: Collection[str]
    needs_session: bool
    stall_s: float = STALL_S
    body_s: float = REQUEST_S
    most_photo_bytes: int = MOST_PHOTO_BYTES


@dataclass
class Guard:
    """The layer around the application."""

    app: Asgi
    door: Door
    sessions: Sessions
    _log: logging.Logger = field(default=LOG)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or refuse it in words."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def guarded_send(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                message["headers"] = [*message["headers"], *headers_for(scope["path"])]
            await send(message)

        try:
            self.check(scope)
            body = Body(receive, self.limit_of(scope), self.door)
            whole = body if is_photo(scope) else await body.read_first()
            await self.app(scope, whole, guarded_send)
        except Refusal as refusal:
            self._log.warning(
                "refused %s %s from %s: %s",
                scope["method"],
                ascii(scope["path"])[:200],
                (scope.get("client") or ("?",))[0],
                refusal.words,
            )
            if started:
                raise
            await refuse(refusal, guarded_send, wants_page(scope))

    def check(self, scope: Scope) -> None:
        """Raise Refusal unless host, session and origin are in order."""
        headers = headers_of(scope)
        host = headers.get("host", "")
        if name_of(host) not in self.door.hosts:
            raise Refusal(421, "This desk does not answer to that name. Use the address it showed.")
        token = token_of(headers)
        scope["session"] = token
        closed = self.door.needs_session and scope["path"] not in OPEN_PATHS
        if closed and not self.sessions.holds(token):
            raise Refusal(401, KEY_NEEDED)
        if scope["method"] not in SAFE:
            check_origin(headers, host)

    def limit_of(self, scope: Scope) -> int:
        """How many bytes this request may bring; raises Refusal where it announces more."""
        headers = headers_of(scope)
        limit = self.door.most_photo_bytes if is_photo(scope) else MOST_REQUEST_BYTES
        announced = headers.get("content-length", "0")
        if not (announced.isascii() and announced.isdigit()):
            raise Refusal(400, "The request does not say rightly how long it is. Send it again.")
        if int(announced) > limit:
            raise too_large(limit)
        return limit


class Body:
    """A request's body, counted and timed as it comes."""

    def __init__(self, receive: Receive, limit: int, door: Door) -> None:
        self._receive = receive
        self._limit = limit
        self._door = door
        self._came = 0
        self._until = 0.0
        self._whole = False

    async def __call__(self) -> Message:
        """The next piece. Raises Refusal where too much comes, or too slowly."""
        if self._whole:
            return await self._receive()  # waits for the browser to leave; no limit on that
        now = asyncio.get_running_loop().time()
        self._until = self._until or now + self._door.body_s
        wait = min(self._door.stall_s, self._until - now)
        try:
            message = await asyncio.wait_for(self._receive(), max(wait, 0.001))
        except TimeoutError as error:
            words = "The connection was too slow, and nothing was kept. Move closer and send again."
            raise Refusal(408, words) from error
        self._came += len(message.get("body", b""))
        if self._came > self._limit:
            raise too_large(self._limit)
        self._whole = not message.get("more_body", False)
        return message

    async def read_first(self) -> Receive:
        """Read a small body whole before anything looks at it; returns what hands it on."""
        pieces = []
        while not self._whole:
            message = await self()
            if message["type"] == "http.disconnect":
                break
            pieces.append(message.get("body", b""))
        first: list[Message] = [
            {"type": "http.request", "body": b"".join(pieces), "more_body": False}
        ]

        async def hand_on() -> Message:
            return first.pop() if first else await self._receive()

        return hand_on


def is_photo(scope: Scope) -> bool:
    """Whether this request brings a photo or a table, which is taken in piece by piece."""
    return scope["method"] == "PUT" and scope["path"].endswith(("/photo", "/photos", "/shelf"))


def too_large(limit: int) -> Refusal:
    """More bytes than are taken."""
    size = f"{limit / 1e6:.0f} MB" if limit >= 1_000_000 else f"{limit // 1000} kB"
    return Refusal(413, f"That is more than {size}, which is not taken. Send the original photo.")


def headers_of(scope: Scope) -> dict[str, str]:
    """Headers by name in lower case."""
    return {
        name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]
    }


def name_of(host: str) -> str:
    """A Host header's name without its port."""
    name, colon, port = host.rpartition(":")
    return (name if colon and port.isdigit() else host).strip("[]").lower()


def token_of(headers: dict[str, str]) -> str:
    """The session's token that a request brings; "" where it brings none."""
    try:
        jar = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[COOKIE].value if COOKIE in jar else ""


def check_origin(headers: dict[str, str], host: str) -> None:
    """Raise Refusal where another site's page may have made the browser send this."""
    origin = headers.get("origin")
    foreign = origin is not None and origin.partition("://")[2] != host
    foreign = foreign or headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")
    if foreign or HEADER not in headers:
        raise Refusal(
            403,
            "This did not come from the desk's own page, so nothing was done. "
            "A script sends the header X-Tallyglass: 1.",
        )


def headers_for(path: str) -> list[tuple[bytes, bytes]]:
    """Headers that every answer carries; nothing but pictures and program files may be cached."""
    lasting = path.startswith(("/static/", "/api/pictures/"))
    cache = "private, max-age=600" if path.startswith("/api/pictures/") else "no-cache"
    wanted = HEADERS | {"cache-control": cache if lasting else "no-store"}
    return [(name.encode(), value.encode()) for name, value in wanted.items()]


def wants_page(scope: Scope) -> bool:
    """Whether a person looks at the answer as a page."""
    return "text/html" in headers_of(scope).get("accept", "")


async def refuse(refusal: Refusal, send: Send, page: bool) -> None:
    """Say no in words, and end the connection: more may be coming that nobody reads."""
    text = refusal.words if page else json.dumps({"problem": refusal.words})
    body = text.encode()
    kind = b"text/plain; charset=utf-8" if page else b"application/json"
    headers = [
        (b"content-type", kind),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
