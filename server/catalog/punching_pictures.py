"""Pictures of a punching: strips of what was prepared and of what was read, differences marked."""

from sqlalchemy import select
from sqlmodel import col

from server.catalog import read_back_words
from server.catalog.pictures import Pictured
from server.catalog.punching_records import punching_of
from server.catalog.read_backs import as_image
from server.catalog.work import Work
from server.store.punching import ReadBack
from server.tape.findings import Finding, Severity
from server.tape.image import Image, Orientation
from server.tape.read_back import Comparison, Kind


def of(work: Work, punching_id: int) -> tuple[Pictured, Pictured | None]:
    """The prepared tape, and the reading of it that differed last: strips, differences marked."""
    row = punching_of(work, punching_id)
    newest = work.session.scalar(
        select(ReadBack)
        .where(col(ReadBack.punching_id) == punching_id)
        .order_by(col(ReadBack.id).desc())
        .limit(1)
    )
    prepared = Image(row.frames, row.levels)
    if newest is None or newest.frames is None:
        return Pictured(prepared, Orientation.AS_READ, ()), None
    comparison = read_back_words.of_words(newest.comparison)
    return (
        Pictured(prepared, Orientation.AS_READ, _findings(comparison, read=False)),
        Pictured(
            as_image(newest.frames, row.levels),
            comparison.orientation,
            _findings(comparison, read=True),
        ),
    )


def _findings(comparison: Comparison, *, read: bool) -> tuple[Finding, ...]:
    """The places that differ, as marks on a strip of what was prepared or of what was `read`."""
    return tuple(
        Finding(
            kind=place.kind,
            severity=Severity.DAMAGE,
            frame=place.read_frame if read else place.frame,
            frames=0 if place.kind is (Kind.MISSING if read else Kind.EXTRA) else place.frames,
            message=read_back_words.place_in_words(place),
            advice="",
        )
        for place in comparison.places
    )
