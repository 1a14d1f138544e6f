"""Whether a tape may go through the reader: the archive is asked before anything moves."""

from server.station.archive import Archive
from server.station.errors import NotPossible, Unreachable


def require_leave(archive: Archive, tape: str, *, unasked: bool = False) -> tuple[str, ...]:
    """What to heed while that tape is read; a tape that the archive does not know is not held back.

    Where the archive cannot be asked, `unasked` says that somebody looked at the tape and its
    record instead.

    Raises:
        NotPossible: it must not be run and nobody allowed it, or the archive cannot be asked.
        Refused: the archive does not answer whoever asks.
    """
    try:
        told = archive.running(tape)
    except Unreachable as away:
        if unasked:
            return (f"Nobody could be asked whether tape {tape} may be run: {away.what}",)
        raise NotPossible(
            f"Whether tape {tape} may be run cannot be asked: {away.what}",
            mend="Wait for the archive; or look at the tape, its box and its record yourself, and"
            " give --unasked.",
        ) from None
    heed = tuple(str(each) for each in told.get("warnings", ()))
    if told.get("may_run", True):
        return heed
    raise NotPossible(
        " ".join(heed) or f"Tape {tape} must not be run.",
        mend=f"Leave it in its box. An archivist can allow one reading on the page of tape {tape}.",
    )
