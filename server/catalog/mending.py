"""Giving a damaged image its frames again: the one change of an image that there is."""

from sqlalchemy import update
from sqlalchemy.exc import DatabaseError
from sqlmodel import col

from server.catalog import events, fixity
from server.catalog.events import EventType, ObjectKind
from server.catalog.fixity_events import ALGORITHM, record_intact
from server.catalog.work import Work
from server.store.images import ImageRow


def put_back(work: Work, sha256: str, frames: bytes, source: str, **facts: str) -> bool:
    """Give a damaged image its frames again, from `source`; whether that could be done.

    The database lets only frames of the right digest pass, and those only in the place of others
    (migration `mended_images`). Where it cannot write there at all, nothing changes.
    """
    mended = (
        update(ImageRow)
        .where(col(ImageRow.sha256) == sha256)
        .values(frames=frames, size=len(frames))
    )
    try:
        with work.session.begin_nested():
            work.session.connection().execute(mended)
    except DatabaseError:
        return False
    events.record(
        work,
        EventType.REPLICATION,
        ObjectKind.IMAGE,
        sha256,
        detail=f"frames put back from {source}",
        facts={"algorithm": ALGORITHM, "bytes": len(frames), **facts},
    )
    record_intact(work, sha256, "the frames are those of the name again", **facts)
    return True


def mend_by_upload(work: Work, sha256: str, frames: bytes) -> bool:
    """Put frames that came in by upload in the place of damaged ones, if there are such."""
    if fixity.failure_of(work, sha256) is None:
        return False
    return put_back(work, sha256, frames, "a reading that was uploaded")
