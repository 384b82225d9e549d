"""What can go wrong, said so that a person at a game table can act on it."""


class TallyglassError(Exception):
    """Base of every expected failure; its text says what is wrong, where, and what to do next."""


class SheetError(TallyglassError):
    """A game sheet, grid or claim that cannot be used."""

    def __init__(self, where: str, reason: str) -> None:
        self.where = where
        self.reason = reason
        super().__init__(f"{where}: {reason}")
