"""Photos of tapes: added by whoever saw the tape, described in words, and taken away if need be."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final, NamedTuple

from pydantic import Field
from sqlalchemy import ColumnElement, SQLColumnExpression, select
from sqlmodel import col

from server.catalog import events, named, pixels
from server.catalog.errors import Invalid, NotAllowed, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, may_be_id, tape_of
from server.catalog.inputs import Input, Name
from server.catalog.pixels import NotAPhoto, Rewritten
from server.catalog.work import COMMAND, Role, Work
from server.store.condition import ConditionReport
from server.store.people import Person
from server.store.photos import Photo, PhotoFile
from server.store.sight import lifted
from server.store.tapes import Tape

AT_ONCE: Final = 10
"""Photos in one form."""


class Shows(Input):
    """What a photo shows, for those who do not see it."""

    shows: Annotated[Name, Field(description="What the photo shows, in a sentence.")] = ""


class Sent(NamedTuple):
    """A file as it came: its name and its bytes."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class PhotoRecord:
    """A photo of a tape; `report` is the condition report that it belongs to, if any.

    `shows` says in words what is to be seen; empty where nobody said it yet. Width and height,
    in points, are those of the whole, and of the small one in lists.
    """

    id: int
    sha256: str
    tape: str
    report: int | None
    shows: str
    width: int
    height: int
    small_width: int
    small_height: int
    added: datetime
    by: str
    by_id: int | None

    @property
    def alt(self) -> str:
        """What stands in the place of the photo where it is not seen."""
        return self.shows or f"A photo of tape {self.tape} that nobody has described yet"


def rewritten(sent: Sequence[Sent], limit: int) -> tuple[Rewritten, ...]:
    """The photos as they would be kept: the slow part, which needs no database.

    Raises:
        Invalid: one is no photo or has more than `limit` bytes, or there are too many.
    """
    if len(sent) > AT_ONCE:
        raise _refused(f"{len(sent)} photos were sent.", f"Send at most {AT_ONCE} at a time.")
    return tuple(_rewritten(each, limit) for each in sent)


def _rewritten(sent: Sent, limit: int) -> Rewritten:
    if len(sent.data) > limit:
        raise _refused(
            f"{sent.name}: it has more than {limit:,} bytes.", "Send a smaller copy of it."
        )
    try:
        return pixels.rewrite(sent.data)
    except NotAPhoto as error:
        raise _refused(f"{sent.name}: {error.what}", error.mend) from None


def _refused(what: str, mend: str) -> Invalid:
    return Invalid(what, where="photos", mend=mend, fields={"photos": f"{what} {mend}"})


def add(
    work: Work,
    accession_number: str,
    taken: Sequence[Rewritten],
    shows: str = "",
    report_id: int | None = None,
) -> tuple[PhotoRecord, ...]:
    """Keep photos of a tape, all with the same words; one that it has already is left as it is.

    Raises:
        NotFound: there is no such tape, or no such report on it.
        Invalid: the words do not fit.
    """
    work.actor.require(Role.VOLUNTEER)
    given = Shows.of({"shows": shows})
    tape = tape_of(work, accession_number, to_change=True)
    _require_report_on(work, tape, report_id)
    ids = [_add(work, tape, each, given.shows, report_id) for each in taken]
    return tuple(get(work, each) for each in ids)


def _add(work: Work, tape: Tape, taken: Rewritten, shows: str, report_id: int | None) -> int:
    file_id = _keep_file(work, taken)
    held = work.session.scalar(
        select(col(Photo.id)).where(
            col(Photo.file_id) == file_id,
            col(Photo.tape_id) == tape.id,
            col(Photo.report_id) == report_id
            if report_id is not None
            else col(Photo.report_id).is_(None),
        )
    )
    if held is not None:
        return held
    photo = Photo(
        file_id=file_id,
        tape_id=known(tape.id),
        report_id=report_id,
        shows=shows,
        added_at=work.now,
        added_by_id=work.actor.person_id,
    )
    work.session.add(photo)
    work.session.flush()
    facts = {"photo": photo.id, "sha256": taken.sha256, "report": report_id}
    _log(work, EventType.IMAGING, tape, shows, facts)
    return known(photo.id)


def _keep_file(work: Work, taken: Rewritten) -> int:
    held = work.session.scalar(
        select(col(PhotoFile.id)).where(col(PhotoFile.sha256) == taken.sha256)
    )
    if held is not None:
        return held
    file = PhotoFile(
        sha256=taken.sha256,
        width=taken.whole.width,
        height=taken.whole.height,
        small_width=taken.small.width,
        small_height=taken.small.height,
        whole=taken.whole.data,
        small=taken.small.data,
    )
    work.session.add(file)
    work.session.flush()
    return known(file.id)


def _require_report_on(work: Work, tape: Tape, report_id: int | None) -> None:
    if report_id is None:
        return
    report = work.session.get(ConditionReport, report_id) if may_be_id(report_id) else None
    if report is None or report.tape_id != tape.id:
        raise NotFound(
            f"Tape {tape.accession_number} has no condition report {report_id}.",
            where=str(report_id),
            mend="Look at the reports of the tape.",
        )


def get(work: Work, photo_id: int) -> PhotoRecord:
    """What is known of a photo.

    Raises:
        NotFound: there is none of that number.
    """
    found = _records(work, col(Photo.id) == photo_id) if may_be_id(photo_id) else ()
    if not found:
        raise _unknown(photo_id)
    return found[0]


def of_tape(work: Work, accession_number: str) -> tuple[PhotoRecord, ...]:
    """The photos of a tape, the newest first.

    Raises:
        NotFound: there is no such tape.
    """
    return _records(work, col(Photo.tape_id) == tape_of(work, accession_number).id)


def of_report(work: Work, report_id: int) -> tuple[PhotoRecord, ...]:
    """The photos that belong to a condition report, the newest first."""
    return _records(work, col(Photo.report_id) == report_id)


def whole(work: Work, photo_id: int) -> bytes:
    """A photo as a JPEG file.

    Raises:
        NotFound: there is none of that number.
    """
    return _picture(work, photo_id, col(PhotoFile.whole))


def small(work: Work, photo_id: int) -> bytes:
    """The same, made small for lists.

    Raises:
        NotFound: there is none of that number.
    """
    return _picture(work, photo_id, col(PhotoFile.small))


def _picture(work: Work, photo_id: int, size: SQLColumnExpression[bytes]) -> bytes:
    found = None
    if may_be_id(photo_id):
        asked = select(size).join(Photo, col(Photo.file_id) == col(PhotoFile.id))
        found = work.session.scalar(asked.where(col(Photo.id) == photo_id))
    if found is None:
        raise _unknown(photo_id)
    return found


def _unknown(photo_id: int) -> NotFound:
    return NotFound(
        f"There is no photo {photo_id}.",
        where=str(photo_id),
        mend="Look at the photos of the tape.",
    )


def describe(work: Work, photo_id: int, shows: str) -> PhotoRecord:
    """Say in words what a photo shows.

    Raises:
        NotFound: there is none of that number.
        Invalid: the words do not fit.
    """
    work.actor.require(Role.VOLUNTEER)
    given = Shows.of({"shows": shows})
    before = get(work, photo_id)
    if given.shows == before.shows:
        return before
    photo = work.session.get_one(Photo, photo_id, with_for_update=True)
    photo.shows = given.shows
    work.session.flush()
    tape = tape_of(work, before.tape)
    facts = {"photo": photo_id, "before": {"shows": before.shows}, "after": {"shows": given.shows}}
    _log(work, EventType.MODIFICATION, tape, "what a photo shows", facts)
    return get(work, photo_id)


def may_remove(work: Work, photo: PhotoRecord) -> bool:
    """Whether the actor may take the photo away: whoever added it, or an archivist."""
    return work.actor.owns(photo.by_id)


def remove(work: Work, photo_id: int) -> PhotoRecord:
    """Take a photo away for good, as where it shows a person; the log keeps what it was.

    Raises:
        NotFound: there is none of that number.
        NotAllowed: somebody else added it, and the actor is no archivist.
    """
    work.actor.require(Role.VOLUNTEER)
    photo = get(work, photo_id)
    if not may_remove(work, photo):
        raise NotAllowed(
            f"Photo {photo_id} was added by {photo.by}.",
            where=str(photo_id),
            mend="Ask them, or an archivist, to take it away.",
        )
    row = work.session.get_one(Photo, photo_id)
    file_id = row.file_id
    work.session.delete(row)
    work.session.flush()
    if not _is_used(work, file_id):
        work.session.delete(work.session.get_one(PhotoFile, file_id))
    facts = {"photo": photo_id, "sha256": photo.sha256, "report": photo.report}
    _log(work, EventType.DELETION, tape_of(work, photo.tape), photo.shows, facts)
    return photo


def _is_used(work: Work, file_id: int) -> bool:
    """Whether any tape has the picture, one that is closed to the actor too."""
    held = select(col(Photo.id)).where(col(Photo.file_id) == file_id).limit(1)
    with lifted(work.session):
        return work.session.scalar(held) is not None


def _log(work: Work, kind: EventType, tape: Tape, detail: str, facts: Mapping[str, object]) -> None:
    number = tape.accession_number
    events.record(work, kind, ObjectKind.TAPE, number, detail=detail, facts=facts)


def _records(work: Work, condition: ColumnElement[bool]) -> tuple[PhotoRecord, ...]:
    rows = work.session.execute(
        select(Photo, PhotoFile, col(Tape.accession_number), named.name_of(work))
        .join(PhotoFile, col(PhotoFile.id) == col(Photo.file_id))
        .join(Tape, col(Tape.id) == col(Photo.tape_id))
        .outerjoin(Person, col(Person.id) == col(Photo.added_by_id))
        .where(condition)
        .order_by(col(Photo.id).desc())
    )
    return tuple(
        PhotoRecord(
            id=known(photo.id),
            sha256=file.sha256,
            tape=number,
            report=photo.report_id,
            shows=photo.shows,
            width=file.width,
            height=file.height,
            small_width=file.small_width,
            small_height=file.small_height,
            added=photo.added_at,
            by=name or COMMAND.name,
            by_id=photo.added_by_id,
        )
        for photo, file, number, name in rows
    )
