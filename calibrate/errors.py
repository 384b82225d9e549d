"""Failures of calibration, each with what to do next."""

from __future__ import annotations

from collections.abc import Sequence

from scoring.errors import TallyglassError


class CalibrationError(TallyglassError):
    """Photos from which no table can be learned."""


class TableError(TallyglassError):
    """A table file that cannot be used."""

    def __init__(self, path: str, reason: str) -> None:
        self.path = path
        self.reason = reason
        super().__init__(f"{path}: {reason}")


class MistakesFound(CalibrationError):
    """Pieces that seem to lie otherwise than the plan says; ``mistakes`` holds a sentence each."""

    def __init__(self, mistakes: Sequence[str]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__(" ".join(self.mistakes))
