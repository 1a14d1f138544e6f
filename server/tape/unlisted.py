"""Listings that are cut, for no roll holds so many lines; and what is said of the rest."""

from typing import Final

from server.tape.dump import WIDTH, dump_lines
from server.tape.findings import Finding, Severity
from server.tape.image import Span
from server.tape.listing import MOST_LINES, Listing

NO_SUCH_TAPE: Final = "no tape is so long: check the reader, or cut the file into its tapes"


def lines_unlisted(start: int, stop: int, kept: str, advice: str = NO_SUCH_TAPE) -> Finding:
    """What is said of frames `start` up to `stop`, whose lines are not listed.

    `kept` says what is kept of them nevertheless.
    """
    return Finding(
        kind="lines-unlisted",
        severity=Severity.WARNING,
        frame=start,
        frames=stop - start,
        message=f"only the first {MOST_LINES} lines are listed; {kept}",
        advice=advice,
    )


def bare_dump(data: bytes, span: Span) -> tuple[Listing, tuple[Finding, ...]]:
    """The dump of the frames `data`, which are those of `span`, counted from the first."""
    most = MOST_LINES * WIDTH
    listing = Listing(dump_lines(data[:most], span.start))
    if len(data) <= most:
        return listing, ()
    return listing, (lines_unlisted(span.start + most, span.stop, "the image is kept whole"),)
