"""Fixity: whether held frames are still those of their name, as the last audits found.

An audit (`server.catalog.audits`) hashes every image again. What it finds is kept as events: one
of the whole, and one on each image whose frames do not give the SHA-256 that is its name. Such an
image is not given out, prepared or punched until its frames are put back.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, and_, func, select
from sqlmodel import col

from server.catalog import named
from server.catalog.errors import FixityFailed
from server.catalog.events import WHOLE, EventType, ObjectKind
from server.catalog.fixity_events import FAIL, described, digest, record_failure
from server.catalog.held import known, titles
from server.catalog.named import Naming
from server.catalog.work import Work
from server.store.events import Event
from server.store.images import ImageRow
from server.store.remembered import remembered

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
        select(Event)
        .where(_of(ObjectKind.LIBRARY), col(Event.object_key) == WHOLE)
        .order_by(col(Event.id).desc())
        .limit(most)
    )
    naming = named.naming(work)
    return tuple(_audit(row, naming) for row in rows)


def last_audit(work: Work) -> Audit | None:
    """The last audit that came to its end; None where none ever did."""
    found = audits(work)
    return found[0] if found else None


def _audit(row: Event, naming: Naming) -> Audit:
    told: dict[str, Any] = row.facts
    return Audit(
        started=datetime.fromisoformat(told["started"]),
        ended=row.occurred_at,
        by=naming(row.agent, row.person_id),
        images=told["images"],
        failing=told["failing"],
        mended=told["mended"],
        up_to=told["up_to"],
    )


def failures(work: Work) -> tuple[FixityFailure, ...]:
    """Every image whose held frames are not those of its name, the longest known first.

    Every page asks for them: they are read again only once something has changed.
    """
    return remembered(work.session, "images that fail the fixity check", lambda: _failures(work))


def _failures(work: Work) -> tuple[FixityFailure, ...]:
    newest = (
        select(func.max(col(Event.id)))
        .where(_of(ObjectKind.IMAGE))
        .group_by(col(Event.object_key))
        .scalar_subquery()
    )
    failing = select(col(Event.object_key)).where(
        col(Event.id).in_(newest), col(Event.outcome) == FAIL
    )
    found = _failing(work, col(Event.object_key).in_(failing))
    return tuple(sorted(found.values(), key=lambda each: (each.since, each.sha256)))


def failure_of(work: Work, sha256: str) -> FixityFailure | None:
    """What is wrong with the held frames of an image; None where nothing is known to be."""
    return _failing(work, col(Event.object_key) == sha256).get(sha256)


def _failing(work: Work, condition: ColumnElement[bool]) -> dict[str, FixityFailure]:
    """What is wrong with those of the images that fail, by name.

    Checks are read from the newest back to the last that an image passed.
    """
    rows = work.session.execute(
        select(col(Event.object_key), col(Event.occurred_at), col(Event.outcome), col(Event.detail))
        .where(_of(ObjectKind.IMAGE), condition)
        .order_by(col(Event.id).desc())
    )
    found: dict[str, FixityFailure] = {}
    passed: set[str] = set()
    for sha256, at, outcome, detail in rows:
        if outcome != FAIL:
            passed.add(sha256)
        elif sha256 not in passed:
            newest = found.get(sha256)
            found[sha256] = FixityFailure(sha256, at, newest.detail if newest else detail)
    return found


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


def checked(work: Work, image_id: int) -> datetime | None:
    """When the last audit ended that went over the image; None where none did yet."""
    last = last_audit(work)
    return last.ended if last and image_id <= last.up_to else None


def _of(kind: ObjectKind) -> ColumnElement[bool]:
    """The condition that an event is a fixity check of that kind of object."""
    return and_(col(Event.type) == EventType.FIXITY, col(Event.object_kind) == kind.value)


def refusal(failure: FixityFailure) -> FixityFailed:
    """Why nothing is made of an image until it is mended."""
    return FixityFailed(
        f"{NOT_ITS_OWN.format(failure.since.date().isoformat())} It is not given out, prepared or "
        "punched until they are put back.",
        where=failure.sha256,
        mend=WHAT_TO_DO,
    )


NOT_ITS_OWN: Final = "The held frames of this image are not those of its name since {}."


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
