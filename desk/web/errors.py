"""What the web desk refuses, each with the status that a browser is told."""

from __future__ import annotations

from scoring.errors import TallyglassError


class Refusal(TallyglassError):
    """A request that is refused: the HTTP status, and a sentence a person can act on."""

    def __init__(self, status: int, words: str) -> None:
        self.status = status
        self.words = words
        super().__init__(words)


def no_such(what: str) -> Refusal:
    """What is asked for is not here."""
    return Refusal(404, f"There is no such {what} here. Go back to the first page.")
