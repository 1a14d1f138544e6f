"""Fixity: whether held frames are still those of their name, as the last audits found.

An audit (`server.catalog.audits`) hashes every image again. What it finds is kept as events: one
of the whole, and one on each image whose frames do not give the SHA-256 that is its name. Such an
image is not given out, prepared or punched until its frames are put back.
"""

import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Select, func, select, update
from sqlalchemy.exc import DatabaseError
from sqlmodel import col

from server.catalog import events
from server.catalog.errors import FixityFailed
from server.catalog.events import WHOLE, EventType, ObjectKind
from server.catalog.held import known, titles
from server.catalog.work import Work
from server.store.events import Event
from server.store.images import ImageRow

FAIL: Final = "fail"
ALGORITHM: Final = "SHA-256"

WHAT_TO_DO: Final = (
    "Upload the file of the same reading again if it was kept, or read the tape again and upload "
    "that: frames with the right SHA-256 are put back at once. Or name a backup that still has "
    "them in FEEDHOLE_REPLICA, and start an audit on the page Work."
)


@dataclass(frozen=True, slots=True)
class FixityFailure:
    """An image whose held frames are not those of its name: found when first, and what was found.

    `since` is when it was first found, after it was last known to be intact.
    """

    sha256: str
    since: datetime
    detail: str

    @property
    def mend(self) -> str:
        """What to do about it."""
        return WHAT_TO_DO


@dataclass(frozen=True, slots=True)
class FailingImage:
    """The same with what the image is called, for lists."""

    failure: FixityFailure
    title: str


@dataclass(frozen=True, slots=True)
class Audit:
    """An audit that went over all images there were at its start, and what it found.

    Of `images` hashed, the frames of `failing` were not those of their names; `mended` of these
    were put back in its course. `up_to` is the id of the newest image that it went over.
    """

    started: datetime
    ended: datetime
    by: str
    images: int
    failing: int
    mended: int
    up_to: int

    @property
    def left(self) -> int:
        """How many images were not those of their names at its end."""
        return self.failing - self.mended


def audits(work: Work, most: int = 1) -> tuple[Audit, ...]:
    """The last audits that came to their end, the newest first."""
    rows = work.session.scalars(
        _checks(select(Event), ObjectKind.LIBRARY)
        .where(col(Event.object_key) == WHOLE)
        .order_by(col(Event.id).desc())
        .limit(most)
    )
    return tuple(_audit(row) for row in rows)


def last_audit(work: Work) -> Audit | None:
    """The last audit that came to its end; None where none ever did."""
    found = audits(work)
    return found[0] if found else None


def _audit(row: Event) -> Audit:
    told: dict[str, Any] = row.facts
    return Audit(
        started=datetime.fromisoformat(told["started"]),
        ended=row.occurred_at,
        by=row.agent,
        images=told["images"],
        failing=told["failing"],
        mended=told["mended"],
        up_to=told["up_to"],
    )


def failures(work: Work) -> tuple[FixityFailure, ...]:
    """Every image whose held frames are not those of its name, the longest known first."""
    newest = (
        _checks(select(func.max(col(Event.id))), ObjectKind.IMAGE)
        .group_by(col(Event.object_key))
        .scalar_subquery()
    )
    keys = work.session.scalars(
        select(col(Event.object_key)).where(col(Event.id).in_(newest), col(Event.outcome) == FAIL)
    ).all()
    found = [_failure(work, key) for key in keys]
    return tuple(sorted(filter(None, found), key=lambda each: (each.since, each.sha256)))


def failing_images(work: Work) -> tuple[FailingImage, ...]:
    """The same, with their titles."""
    found = {each.sha256: each for each in failures(work)}
    ids = _ids(work, found)
    named = titles(work, ids.values())
    return tuple(
        FailingImage(failure, named[ids[sha256]].title if sha256 in ids else NAMELESS)
        for sha256, failure in found.items()
    )


NAMELESS: Final = "an image whose name itself is damaged"


def failing_ids(work: Work) -> set[int]:
    """The ids of the images whose held frames are not those of their names."""
    return set(_ids(work, [each.sha256 for each in failures(work)]).values())


def _ids(work: Work, sha256s: Collection[str]) -> dict[str, int]:
    if not sha256s:
        return {}
    rows = work.session.execute(
        select(col(ImageRow.sha256), col(ImageRow.id)).where(col(ImageRow.sha256).in_(sha256s))
    )
    return {sha256: known(image_id) for sha256, image_id in rows}


def failure_of(work: Work, sha256: str) -> FixityFailure | None:
    """What is wrong with the held frames of an image; None where nothing is known to be."""
    return _failure(work, sha256)


def _failure(work: Work, sha256: str) -> FixityFailure | None:
    rows = work.session.execute(
        _checks(
            select(col(Event.occurred_at), col(Event.outcome), col(Event.detail)),
            ObjectKind.IMAGE,
        )
        .where(col(Event.object_key) == sha256)
        .order_by(col(Event.id).desc())
    )
    found: FixityFailure | None = None
    for at, outcome, detail in rows:
        if outcome != FAIL:
            break
        found = FixityFailure(sha256, at, found.detail if found else detail)
    return found


def _checks(statement: Select[Any], kind: ObjectKind) -> Select[Any]:
    return statement.where(
        col(Event.type) == EventType.FIXITY, col(Event.object_kind) == kind.value
    )


def refusal(failure: FixityFailure) -> FixityFailed:
    """Why nothing is made of an image until it is mended."""
    return FixityFailed(
        f"{NOT_ITS_OWN.format(failure.since.date().isoformat())} It is not given out, prepared or "
        "punched until they are put back.",
        where=failure.sha256,
        mend=WHAT_TO_DO,
    )


NOT_ITS_OWN: Final = "The held frames of this image are not those of its name since {}."


def digest(frames: bytes) -> str:
    """The SHA-256 in hexadecimal digits, as images are named."""
    return hashlib.sha256(frames).hexdigest()


def require_own(work: Work, sha256: str, frames: bytes) -> bytes:
    """The frames, if they are those of the name; if not, that is also written down.

    Raises:
        FixityFailed: they are not.
    """
    failure = failure_of(work, sha256)
    if failure is None and digest(frames) == sha256:
        return frames
    if failure is None:
        failure = FixityFailure(sha256, work.now, described(frames))
        work.afterwards.append(lambda later: _found_in_use(later, sha256, frames))
    raise refusal(failure)


def _found_in_use(work: Work, sha256: str, frames: bytes) -> None:
    if failure_of(work, sha256) is None:
        record_failure(work, sha256, frames, "found as it was asked for")


def described(frames: bytes | None) -> str:
    """What was found in the place of an image's frames, as a clause."""
    if frames is None:
        return "the database cannot read the frames"
    return f"{len(frames):,} bytes whose {ALGORITHM} is {digest(frames)}"


def record_failure(
    work: Work, sha256: str, frames: bytes | None, remark: str, **facts: str
) -> None:
    """Write down that the held frames are not those of the name."""
    found = {} if frames is None else {"found": digest(frames), "bytes": len(frames)}
    events.record(
        work,
        EventType.FIXITY,
        ObjectKind.IMAGE,
        sha256,
        outcome=FAIL,
        detail=f"{described(frames)}; {remark}",
        facts={"algorithm": ALGORITHM, **found, **facts},
        agent=AGENT,
    )


def record_intact(work: Work, sha256: str, remark: str, **facts: str) -> None:
    """Write down that the held frames are those of the name again."""
    events.record(
        work,
        EventType.FIXITY,
        ObjectKind.IMAGE,
        sha256,
        detail=remark,
        facts={"algorithm": ALGORITHM, **facts},
        agent=AGENT,
    )


AGENT: Final = "fixity audit"


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
    if failure_of(work, sha256) is None:
        return False
    return put_back(work, sha256, frames, "a reading that was uploaded")
