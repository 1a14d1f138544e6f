"""The steps of a fixity audit: hash an image again, mend it, say what was found of the whole.

Each may be done twice for the same audit and comes to the same: `audit` is the name that the
engine gives the audit, and goes into every event of it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import Engine, func, select
from sqlalchemy.exc import DatabaseError, OperationalError
from sqlmodel import col

from server.catalog import events, fixity, mending
from server.catalog.events import WHOLE, EventType, ObjectKind
from server.catalog.fixity import Audit
from server.catalog.fixity_events import ALGORITHM, FAIL, digest, record_failure, record_intact
from server.catalog.work import COMMAND, Work, unit_of_work
from server.store.events import Event
from server.store.images import ImageRow
from server.store.replica import frames_in

NO_REPLICA: Final = "no replica is named"
OF_THE_REPLICA: Final = "the replica"


@dataclass(frozen=True, slots=True)
class Checked:
    """An image hashed again: `frames` as they are held, None where they cannot be read."""

    sha256: str
    size: int
    frames: bytes | None

    @property
    def is_intact(self) -> bool:
        """Whether frames and size are those of the name."""
        return (
            self.frames is not None
            and len(self.frames) == self.size
            and digest(self.frames) == self.sha256
        )


@dataclass(frozen=True, slots=True)
class Good:
    """What a replica has to offer: frames that are those of the name, or why there are none."""

    frames: bytes | None
    why: str


def check(engine: Engine, image_id: int) -> Checked:
    """Hash one image again, in short transactions that only read.

    Raises:
        OperationalError: the database is away, or held by somebody.
    """
    held = col(ImageRow.id) == image_id
    with unit_of_work(engine, COMMAND, writes=False) as work:
        sha256, size = work.session.execute(
            select(col(ImageRow.sha256), col(ImageRow.size)).where(held)
        ).one()
    try:
        with unit_of_work(engine, COMMAND, writes=False) as work:
            frames = work.session.scalar(select(col(ImageRow.frames)).where(held))
    except OperationalError:
        raise
    except DatabaseError:
        frames = None  # the medium under the database is damaged
    return Checked(sha256, size, frames)


def good_copy(replica: Engine | None, sha256: str) -> Good:
    """The frames of that name in the replica, if it has them and they are intact."""
    if replica is None:
        return Good(None, NO_REPLICA)
    try:
        found = frames_in(replica, sha256)
    except DatabaseError as error:
        return Good(None, f"the replica cannot be read ({type(error.orig).__name__})")
    if found is None:
        return Good(None, "the replica does not hold it")
    if digest(found) != sha256:
        return Good(None, "the frames in the replica are not those of the name either")
    return Good(found, "")


def settle(work: Work, audit: str, checked: Checked, good: Good) -> None:
    """Write down that the frames of an image are not those of its name, and mend it if we can.

    Frames that the database cannot read it cannot replace either.
    """
    if checked.frames is not None and _mended_meanwhile(work, checked):
        return
    is_first = not _told(work, audit, checked.sha256)
    if is_first:
        record_failure(work, checked.sha256, checked.frames, _remark(checked, good), audit=audit)
    if good.frames is None or checked.frames is None:
        return
    mended = mending.put_back(work, checked.sha256, good.frames, OF_THE_REPLICA, audit=audit)
    if is_first and not mended:
        remark = "the database refused to put them back"
        record_failure(work, checked.sha256, checked.frames, remark, audit=audit)


def _mended_meanwhile(work: Work, checked: Checked) -> bool:
    row = work.session.execute(
        select(col(ImageRow.frames), col(ImageRow.size)).where(
            col(ImageRow.sha256) == checked.sha256
        )
    ).one()
    return Checked(checked.sha256, row.size, row.frames).is_intact


def _remark(checked: Checked, good: Good) -> str:
    if checked.frames is None:
        return "the database itself is damaged, and is to be restored from a backup"
    return good.why or "the replica has the right ones"


def _told(work: Work, audit: str, sha256: str) -> bool:
    return any(
        each.type is EventType.FIXITY and each.facts.get("audit") == audit
        for each in events.of(work, ObjectKind.IMAGE, sha256)
    )


def failing_among(work: Work, sha256s: Iterable[str]) -> list[str]:
    """Those of the images that are known to fail."""
    return sorted({each.sha256 for each in fixity.failures(work)}.intersection(sha256s))


def acquit(work: Work, audit: str, sha256s: Iterable[str]) -> None:
    """Write down that images which failed before were found intact by this audit."""
    for sha256 in failing_among(work, sha256s):
        record_intact(work, sha256, "found intact again", audit=audit)


def conclude(
    work: Work, audit: str, *, by: str, started: datetime, images: int, up_to: int
) -> Audit:
    """Write down once what an audit of so many images found in all."""
    done = [
        each
        for each in events.of(work, ObjectKind.LIBRARY, WHOLE)[:1]
        if each.facts.get("audit") == audit
    ]
    if not done:
        failing, mended = _found(work, audit, started)
        left = failing - mended
        events.record(
            work,
            EventType.FIXITY,
            ObjectKind.LIBRARY,
            WHOLE,
            outcome=FAIL if left else "success",
            detail=f"{images:,} images hashed, {failing:,} failing, {mended:,} of them mended",
            facts={
                "audit": audit,
                "algorithm": ALGORITHM,
                "started": started.isoformat(),
                "ended": work.now.isoformat(),
                "images": images,
                "failing": failing,
                "mended": mended,
                "up_to": up_to,
            },
            agent=by,
        )
        work.session.flush()
    found = fixity.last_audit(work)
    assert found is not None
    return found


def _found(work: Work, audit: str, started: datetime) -> tuple[int, int]:
    rows = work.session.execute(
        select(col(Event.object_key), col(Event.outcome), col(Event.type), col(Event.facts)).where(
            col(Event.object_kind) == ObjectKind.IMAGE.value,
            col(Event.type).in_([EventType.FIXITY, EventType.REPLICATION]),
            col(Event.occurred_at) >= started,
        )
    ).all()
    ours = [each for each in rows if each.facts.get("audit") == audit]
    failing = {each.object_key for each in ours if each.outcome == FAIL}
    mended = {each.object_key for each in ours if each.type == EventType.REPLICATION}
    return len(failing), len(mended & failing)


def is_due(work: Work, days: float) -> bool:
    """Whether the last audit, or the first image before any, is longer ago than so many days."""
    if not days:
        return False
    last = fixity.last_audit(work)
    since = last.ended if last else work.session.scalar(select(func.min(col(ImageRow.created_at))))
    return since is not None and work.now - since >= timedelta(days=days)
