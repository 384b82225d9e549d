"""Who may use the desk over the house's network: one-time keys traded for sessions that end."""

from __future__ import annotations

import hashlib
import secrets
import threading
import time
from collections.abc import Callable

from desk.web.journal import Journal

SESSION_S = 12 * 3600
"""A session ends after so long: an evening, and no other evening."""

KEY_S = 15 * 60
"""A key that nobody used is worthless after so long."""

COOKIE = "tallyglass"

Seconds = Callable[[], float]


class Sessions:
    """Keys waiting to be used, and the sessions that came of them."""

    def __init__(self, journal: Journal, clock: Seconds = time.time) -> None:
        self._journal = journal
        self._clock = clock
        self._lock = threading.Lock()
        self._keys: dict[str, float] = {}

    def new_key(self, lasts_s: float = KEY_S) -> str:
        """A key that one phone may use once."""
        key = secrets.token_urlsafe(18)
        with self._lock:
            now = self._clock()
            self._keys = {old: until for old, until in self._keys.items() if until > now}
            self._keys[key] = now + lasts_s
        return key

    def trade(self, key: str) -> str | None:
        """A session's token for a key, which is thereby used up; None where the key is no good."""
        with self._lock:
            until = self._keys.pop(key, 0.0)
        if until <= self._clock():
            return None
        return self.begin()

    def begin(self) -> str:
        """A new session's token."""
        token = secrets.token_urlsafe(24)
        self._journal.keep_session(hashed(token), self._clock())
        return token

    def holds(self, token: str) -> bool:
        """Whether a session lasts still."""
        made_at = self._journal.session_made_at(hashed(token)) if token else None
        return made_at is not None and self._clock() < made_at + SESSION_S

    def end(self, token: str) -> None:
        """End a session."""
        self._journal.end_session(hashed(token))


def hashed(token: str) -> str:
    """What is kept of a token: a stolen data folder opens no session."""
    return hashlib.sha256(token.encode()).hexdigest()
