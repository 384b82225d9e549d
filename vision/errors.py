"""Failures of reading a photo, each with what to do next."""

from scoring.errors import TallyglassError


class PhotoError(TallyglassError):
    """A file that is not a usable photo."""

    def __init__(self, photo: str, reason: str, hint: str) -> None:
        self.photo = photo
        self.reason = reason
        self.hint = hint
        super().__init__(f"{photo}: {reason} {hint}")


class BoardNotFound(TallyglassError):
    """No registration of the board in this photo could be proven."""

    def __init__(self, photo: str, reason: str, hint: str) -> None:
        self.photo = photo
        self.reason = reason
        self.hint = hint
        super().__init__(f"{photo}: {reason} {hint}")


class DifferentBoards(TallyglassError):
    """Photos that were given as one board's show different ones."""

    def __init__(self, photo: str, other: str, cells: tuple[str, ...]) -> None:
        self.photo = photo
        self.other = other
        self.cells = cells
        self.reason = (
            f"they differ in {len(cells)} cells that both show clearly, "
            f"such as {', '.join(cells[:3])}."
        )
        self.hint = "Give photos of the same board, taken without moving a piece."
        super().__init__(f"{photo} and {other} show different boards: {self.reason} {self.hint}")
