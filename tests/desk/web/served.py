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
    """Where it is, and the process that serves it."""

    address: str
    process: subprocess.Popen[str]

    def kill(self) -> None:
        """End it at once, workers too, as a power cut would."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(10)


@contextmanager
def served(data: Path, archive: Path | None, *more: str) -> Iterator[Served]:
    """``tallyglass serve`` on a free port, ended at the end."""
    command = [sys.executable, "-m", "desk.cli", "serve", "--port", "0", "--data", str(data), *more]
    process = subprocess.Popen(
        [*command, "--archive", str(archive)] if archive else command,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    said = process.stdout.readline()
    found = re.search(r"http://[\d.]+:\d+", said)
    assert found, said
    try:
        yield Served(found[0], process)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait(10)
        process.stdout.close()
