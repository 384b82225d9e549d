"""Failures of calibration, each with what to do next."""

from scoring.errors import TallyglassError


class CalibrationError(TallyglassError):
    """Photos from which no table can be learned."""


class TableError(TallyglassError):
    """A table file that cannot be used."""

    def __init__(self, path: str, reason: str) -> None:
        self.path = path
        self.reason = reason
        super().__init__(f"{path}: {reason}")
