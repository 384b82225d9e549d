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
