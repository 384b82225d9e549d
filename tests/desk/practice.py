"""The program run in this process, and where the practice photos lie."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from desk import cli

SAMPLES = Path(__file__).parents[2] / "samples"
SHEET = SAMPLES / "sheets" / "penmarrow.toml"
PRACTICE = SAMPLES / "photos" / "penmarrow"


@dataclass(frozen=True)
class Ended:
    """How a run ended: exit code, what it printed, what it complained of."""

    code: int
    out: str
    err: str


Run = Callable[..., Ended]


def run_main(*words: str | Path) -> int:
    """Run the command as if typed; returns its exit code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["tallyglass", *map(str, words)])
        try:
            cli.main()
        except SystemExit as ended:
            return int(ended.code or 0)
    return 0
