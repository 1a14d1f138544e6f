"""What can stop a pass at the machine.

    StationError
        NotPossible     what was asked for makes no sense; nothing was started
        PortUnusable    the port is missing, busy, forbidden or no serial port; nothing was started
        LineLost        the line failed midway; what came in or went out until then is known
        NotAsMeant      the frames are not those that were meant; nothing was started
        Unreachable     the archive does not answer now, and may later
        Refused         the archive answered, and will not take it as it is

What is on a tape is never an error here: it is kept as it came.
"""


class StationError(Exception):
    """Says what is wrong, and how to mend it."""

    def __init__(self, what: str, *, mend: str) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend


class NotPossible(StationError):
    """What was asked for makes no sense."""


class PortUnusable(StationError):
    """The port cannot be opened."""


class LineLost(StationError):
    """The line failed while frames were under way."""


class NotAsMeant(StationError):
    """The frames have another digest than the one that was meant."""


class Unreachable(StationError):
    """The archive does not answer."""


class Refused(StationError):
    """The archive will not take it."""
