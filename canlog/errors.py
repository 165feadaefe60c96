"""The one exception a user may see."""


class CanlogError(Exception):
    """Something the user can put right: one line, one hint, exit code 2."""

    def __init__(self, what: str, *, hint: str) -> None:
        super().__init__(what)
        self.hint = hint


class CaptureError(CanlogError):
    """A capture that cannot be opened or is no capture."""


class SheetError(CanlogError):
    """A job sheet or names file with a field that is wrong; names file, line and field."""


class LinkError(CanlogError):
    """A link key that cannot be read."""
