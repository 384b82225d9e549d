"""A real desk in a process of its own, for browsers and for what kills it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True)
class Served:
    """Where it is, what it said there, the process that serves it, and the file it logs into."""

    address: str
    said: str
    process: subprocess.Popen[str]
    log: Path

    def kill(self) -> None:
        """End it at once, workers too, as a power cut would."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(10)


@contextmanager
def served(data: Path, archive: Path | None, *more: str) -> Iterator[Served]:
    """``tallyglass serve`` on a free port, ended at the end."""
    command = [
        sys.executable,
        "-m",
        "desk.start",
        "serve",
        "--port",
        "0",
        "--data",
        str(data),
        *more,
    ]
    data.mkdir(parents=True, exist_ok=True)
    log = data / "served.log"
    with log.open("w") as told:
        process = subprocess.Popen(
            [*command, "--archive", str(archive)] if archive else command,
            cwd=ROOT,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
            stderr=told,
            text=True,
            start_new_session=True,
        )
    assert process.stdout is not None
    said, found = "", None
    while not found:  # with --lan a QR code comes first
        line = process.stdout.readline()
        assert line, said + log.read_text()
        said += line
        found = re.search(r"http://[\d.]+:\d+", line)
    try:
        yield Served(found[0], said, process, log)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait(10)
        process.stdout.close()
