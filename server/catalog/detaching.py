"""Taking an image off a tape to which it was attached by mistake; no reading is lost by that."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlmodel import col

from server.catalog import events
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import image_id_of, known
from server.catalog.work import Role, Work
from server.store.images import Reading
from server.store.merging import MergedSource
from server.store.tapes import Tape


def detach(
    work: Work, tape: Tape, sha256: str, until: datetime, *, why: str, corrects: int | None
) -> None:
    """Say that an image was not read from a tape after all; its reading stays, and has no tape.

    Readings that were received after `until` are passes of the tape, and stay with it. Ask
    `refuses` before.
    """
    work.actor.require(Role.VOLUNTEER)
    for reading in _readings(work, tape, sha256, until):
        reading.tape_id = None
    work.session.flush()
    facts = {"action": "detach image", "tape": tape.accession_number, "image": sha256.lower()}
    for kind, key in ((ObjectKind.TAPE, facts["tape"]), (ObjectKind.IMAGE, facts["image"])):
        events.record(
            work,
            EventType.MODIFICATION,
            kind,
            key,
            detail=f"detached: {why}",
            facts=facts,
            corrects=corrects if kind is ObjectKind.TAPE else None,
        )


def refuses(work: Work, tape: Tape, sha256: str, until: datetime) -> str:
    """Why an image cannot be taken off a tape, in a sentence; empty where it can."""
    held = [known(each.id) for each in _readings(work, tape, sha256, until)]
    if not held:
        return "The image is not attached to the tape any more."
    merged = select(col(MergedSource.merged_id)).where(col(MergedSource.reading_id).in_(held))
    if work.session.scalar(merged.limit(1)) is not None:
        return "A merged reading was made with it."
    return ""


def _readings(work: Work, tape: Tape, sha256: str, until: datetime) -> Sequence[Reading]:
    return work.session.scalars(
        select(Reading).where(
            col(Reading.image_id) == image_id_of(work, sha256),
            col(Reading.tape_id) == tape.id,
            col(Reading.accepted_at) <= until,
        )
    ).all()
