"""What happened, in the order it happened, on the disk before anybody is told that it is kept.

One SQLite file holds a log for each evening and each calibration. An event is never changed; the
state of a log is what its events add up to, so a killed server loses nothing it has acknowledged.
Two servers on one file see the same events.
"""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from desk.web.errors import Refusal

TABLES = """
CREATE TABLE IF NOT EXISTS events (
  log TEXT NOT NULL, version INTEGER NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,
  by TEXT NOT NULL, at TEXT NOT NULL, once TEXT,
  PRIMARY KEY (log, version), UNIQUE (log, once));
CREATE TABLE IF NOT EXISTS sessions (
  token_sha256 TEXT PRIMARY KEY, made_at REAL NOT NULL);
"""

LOCK_WAIT_S = 30


@dataclass(frozen=True)
class Event:
    """One thing that happened: its place in its log, what, the details, who said so and when."""

    version: int
    kind: str
    body: Mapping[str, Any]
    by: str
    at: str


@contextmanager
def disk_named(path: Path) -> Iterator[None]:
    """Say what is wrong with the disk or the file, and that what was told is kept is so."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        words = f"{path}: {error}. Nothing that was kept is lost; see to the disk, then try again."
        raise Refusal(507, words) from error


class Journal:
    """All logs of one data folder. Every method may be called from any thread."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._lock = threading.Lock()
        self._path = path
        self._db = sqlite3.connect(
            path, timeout=LOCK_WAIT_S, isolation_level=None, check_same_thread=False
        )
        with disk_named(path):
            self._db.execute("PRAGMA journal_mode = WAL").close()
            self._db.execute("PRAGMA synchronous = FULL").close()
            self._db.executescript(TABLES)

    def add(self, log: str, event: Event, once: str | None = None) -> int:
        """Write one event at the log's end; returns its version once it is on the disk.

        An event of the same ``once`` as an earlier one is that event sent again: it is not written
        a second time, and the earlier version is returned. Its own version is not looked at.
        """
        with self._lock, disk_named(self._path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                version = self._insert(log, event, once)
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")
            return version

    def _insert(self, log: str, event: Event, once: str | None) -> int:
        if once is not None:
            query = "SELECT version FROM events WHERE log = ? AND once = ?"
            before = self._db.execute(query, (log, once)).fetchone()
            if before:
                return before[0]
        query = "SELECT coalesce(max(version), 0) + 1 FROM events WHERE log = ?"
        version = self._db.execute(query, (log,)).fetchone()[0]
        body = json.dumps(event.body, ensure_ascii=False)
        row = (log, version, event.kind, body, event.by, event.at, once)
        self._db.execute("INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?)", row)
        return version

    def rewrite(self, changed: Mapping[str, Sequence[Event]], note: Event) -> None:
        """Put these events in place of those of the same versions, for an erasure alone.

        Each of the logs gets ``note`` at its end, so that whoever shows it looks again; what was
        there before is overwritten on the disk.
        """
        with self._lock:
            self._db.execute("PRAGMA secure_delete = ON").close()
            self._db.execute("BEGIN IMMEDIATE")
            try:
                for log, events in changed.items():
                    for event in events:
                        body = json.dumps(event.body, ensure_ascii=False)
                        query = "UPDATE events SET kind = ?, body = ?, by = ? "
                        query += "WHERE log = ? AND version = ?"
                        row = (event.kind, body, event.by, log, event.version)
                        self._db.execute(query, row).close()
                    self._insert(log, note, None)
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")
            for command in ("VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"):
                self._db.execute(command).close()

    def version(self, log: str) -> int:
        """The number of the log's last event; 0 where there is no such log."""
        query = "SELECT coalesce(max(version), 0) FROM events WHERE log = ?"
        with self._lock:
            return self._db.execute(query, (log,)).fetchone()[0]

    def events(self, log: str) -> list[Event]:
        """All events of a log, in order."""
        query = "SELECT version, kind, body, by, at FROM events WHERE log = ? ORDER BY version"
        with self._lock:
            rows = self._db.execute(query, (log,)).fetchall()
        return [
            Event(version, kind, json.loads(body), by, at) for version, kind, body, by, at in rows
        ]

    def logs(self, prefix: str) -> list[str]:
        """Names of the logs that begin so, the latest begun first."""
        query = (
            "SELECT log FROM events WHERE version = 1 AND substr(log, 1, ?) = ? ORDER BY rowid DESC"
        )
        with self._lock:
            return [row[0] for row in self._db.execute(query, (len(prefix), prefix))]

    def keep_session(self, token_sha256: str, made_at: float) -> None:
        """Remember a session; ``made_at`` in seconds since the epoch."""
        with self._lock:
            self._db.execute("INSERT INTO sessions VALUES (?, ?)", (token_sha256, made_at)).close()

    def session_made_at(self, token_sha256: str) -> float | None:
        """When a session was made; None where there is none such."""
        query = "SELECT made_at FROM sessions WHERE token_sha256 = ?"
        with self._lock:
            row = self._db.execute(query, (token_sha256,)).fetchone()
        return row[0] if row else None

    def end_session(self, token_sha256: str) -> None:
        """Forget a session."""
        query = "DELETE FROM sessions WHERE token_sha256 = ?"
        with self._lock:
            self._db.execute(query, (token_sha256,)).close()

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._db.close()
