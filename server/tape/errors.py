"""What the core refuses.

    TapeError
        BadImage        these bytes cannot be an image at all
        CannotBuild     this content cannot be written in this format or code
        CannotPrepare   this tape cannot be prepared for punching in the way asked for

Damage on a tape is never an error: it is a finding. See `server.tape.findings`.
"""


class TapeError(Exception):
    """The caller asked for what cannot be; says what, where on the tape, and how to mend it."""

    def __init__(self, what: str, *, frame: int | None = None, mend: str) -> None:
        super().__init__(what)
        self.what = what
        self.frame = frame
        self.mend = mend


class BadImage(TapeError):
    """The bytes cannot be an image."""


class CannotBuild(TapeError):
    """The content cannot be written in the format or code asked for."""


class CannotPrepare(TapeError):
    """A tape cannot be prepared in the way asked for without losing what it means.

    `choice` names the field of the preparation that is at fault, "" where it is none alone.
    """

    def __init__(self, what: str, *, frame: int | None = None, mend: str, choice: str = "") -> None:
        super().__init__(what, frame=frame, mend=mend)
        self.choice = choice
