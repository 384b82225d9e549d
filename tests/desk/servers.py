"""A PostgreSQL server of the tests' own: made, started, stopped and thrown away."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

PROGRAMS = sorted(Path("/usr/lib/postgresql").glob("*/bin"))


class NoServer(Exception):
    """Why no server can be started here."""


def program(name: str) -> str:
    found = shutil.which(name, path=str(PROGRAMS[-1]) if PROGRAMS else None)
    if not found:
        raise NoServer(f"PostgreSQL's {name} is not installed (apt-get install postgresql)")
    return found


def someone() -> tuple[str, ...]:
    """What a command begins with so that PostgreSQL, which refuses root, will run."""
    if os.geteuid() != 0:
        return ()
    for user in ("postgres", "nobody"):
        with contextlib.suppress(KeyError):
            pwd.getpwnam(user)
            return ("runuser", "-u", user, "--")
    raise NoServer("this is root, and there is no other user whom PostgreSQL would run as")


def run(*words: str) -> None:
    ended = subprocess.run(
        [*someone(), *words], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, cwd="/"
    )
    if ended.returncode:
        raise NoServer(f"{Path(words[0]).name} failed: {ended.stderr.strip()}")


@contextlib.contextmanager
def server() -> Iterator[str]:
    """A running server on a socket of its own; gives its URL."""
    initdb, pg_ctl = program("initdb"), program("pg_ctl")
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    with tempfile.TemporaryDirectory(prefix="tallyglass-pg-", dir=memory) as folder:
        place = Path(folder)
        place.chmod(0o777)
        data = str(place / "data")
        options = f"-k {place} -c listen_addresses='' -c fsync=off"
        run(initdb, "-D", data, "-U", "tester", "-A", "trust", "-E", "UTF8", "--no-sync")
        run(pg_ctl, "-D", data, "-w", "-l", str(place / "log"), "-o", options, "start")
        try:
            yield f"postgresql://tester@/postgres?host={place}"
        finally:
            run(pg_ctl, "-D", data, "-w", "-m", "immediate", "stop")
            run("/bin/rm", "-rf", data)
