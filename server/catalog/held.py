"""What is held under a name: an image, a tape, a program; and by what title an image goes."""

from collections.abc import Collection
from typing import NamedTuple, TypeVar

from sqlalchemy import bindparam, select
from sqlmodel import col

from server.catalog.errors import Gone, Moved, NotFound
from server.catalog.vocabulary import Access, forbids_running
from server.catalog.work import Work
from server.store.engine import only_reads
from server.store.images import ImageRow, Reading
from server.store.programs import Program, Version
from server.store.rights import ClosedImage
from server.store.row import Row
from server.store.search import readable
from server.store.tapes import Tape

SHORT_DIGEST = 12

RowT = TypeVar("RowT", bound=Row)


class Title(NamedTuple):
    """What to call an image, and the accession number of its first tape, and if that may be run."""

    title: str
    accession: str | None
    do_not_run: bool = False


def image_id_of(work: Work, sha256: str) -> int:
    """The id of an image.

    Raises:
        NotFound: it is not held.
    """
    found = work.session.scalar(_IMAGE_ID, {"sha256": readable(sha256.lower())})
    if found is None:
        raise NotFound(
            f"No image {sha256[:64]} is held.",
            where=sha256[:64],
            mend="Search for the program, or upload the image.",
        )
    return found


def access_of(work: Work, image_id: int) -> Access:
    """Who may see an image that is held."""
    closed = select(col(ClosedImage.access)).where(col(ClosedImage.image_id) == image_id)
    return Access(work.session.scalar(closed) or Access.PUBLIC)


_IMAGE_ID = select(col(ImageRow.id)).where(col(ImageRow.sha256) == bindparam("sha256"))


def tape_of(
    work: Work, accession_number: str, *, to_change: bool = False, gone_too: bool = False
) -> Tape:
    """A tape; one that is to be changed is kept from everybody else until the work is done.

    Raises:
        NotFound: there is none of that number.
        Gone: it is to be changed, and left the collection; unless one that is `gone_too` will do.
    """
    statement = _TAPE.with_for_update() if to_change and may_lock(work) else _TAPE
    found = work.session.scalar(statement, {"number": readable(accession_number)})
    if found is None:
        raise NotFound(
            f"There is no tape {accession_number[:40]}.",
            where=accession_number[:40],
            mend="Look for it in the list of tapes; some are shown to people who signed in.",
        )
    if to_change and not gone_too:
        require_here(found)
    return found


def require_here(tape: Tape) -> None:
    """Nothing, if a tape is in the collection.

    Raises:
        Gone: it left.
    """
    if tape.deaccessioned_on is not None:
        raise Gone(
            f"Tape {tape.accession_number} left the collection on {tape.deaccessioned_on}.",
            where=tape.accession_number,
            mend="Its record stays as it is. If it came back, an archivist enters that first.",
        )


_TAPE = select(Tape).where(col(Tape.accession_number) == bindparam("number"))


def program_of(work: Work, program_id: int, *, to_change: bool = False) -> Program:
    """A program; one that is to be changed is kept from everybody else until the work is done.

    Raises:
        NotFound: there is none of that id, or it was withdrawn.
        Moved: it was merged into another one.
    """
    found = program_ever(work, program_id, to_change=to_change)
    if found.merged_into_id is not None:
        raise Moved(
            f"{found.title} was merged into another program.",
            where=str(program_id),
            mend=f"Use program {found.merged_into_id}.",
            before=f"/programs/{program_id}",
            after=f"/programs/{found.merged_into_id}",
        )
    if found.withdrawn_at is not None:
        raise NotFound(
            f"Program {program_id}, {found.title}, was withdrawn on {found.withdrawn_at:%Y-%m-%d}.",
            where=str(program_id),
            mend=f"What became of it stands at /programs/{program_id}/history.",
        )
    return found


def program_ever(work: Work, program_id: int, *, to_change: bool = False) -> Program:
    """As `program_of`, but one that was merged or withdrawn too.

    Raises:
        NotFound: there never was one of that id.
    """
    found = by_id(work, Program, program_id, to_change=to_change)
    if found is None:
        raise NotFound(
            f"There is no program {program_id}.",
            where=str(program_id),
            mend="Look for it in the list of programs.",
        )
    return found


def titles(work: Work, image_ids: Collection[int]) -> dict[int, Title]:
    """What to call each image: by its tape, else by its program, else by its file."""
    named: dict[int, Title] = {}
    asked, connection = {"image_ids": sorted(image_ids)}, work.session.connection()
    rows = connection.execute(_READ, asked).all()
    for image_id, sha256, file_name, number, title, condition, hazard, unfit in rows:
        best = title or file_name or f"image {sha256[:SHORT_DIGEST]}"
        image = known(image_id)
        if image not in named or (number and named[image].accession is None):
            barred = bool(number) and forbids_running(condition, hazard, unfit)
            named[image] = Title(best, number, barred)
    for image_id, title, label in connection.execute(_VERSIONS, asked).all():
        if named[image_id].accession is None:
            named[image_id] = Title(f"{title}, {label}", None)
    return named


_READ = (
    select(
        col(ImageRow.id),
        col(ImageRow.sha256),
        col(Reading.file_name),
        col(Tape.accession_number),
        col(Tape.title),
        col(Tape.condition),
        col(Tape.hazard),
        col(Tape.reported_unfit),
    )
    .outerjoin(Reading, col(Reading.image_id) == col(ImageRow.id))
    .outerjoin(Tape, col(Tape.id) == col(Reading.tape_id))
    .where(col(ImageRow.id).in_(bindparam("image_ids", expanding=True)))
    .order_by(col(ImageRow.id), col(Reading.id))
)

_VERSIONS = (
    select(col(Version.image_id), col(Program.title), col(Version.label))
    .join(Program, col(Program.id) == col(Version.program_id))
    .where(col(Version.image_id).in_(bindparam("image_ids", expanding=True)))
    .order_by(col(Version.id).desc())
)


def by_id(work: Work, table: type[RowT], number: int, *, to_change: bool = False) -> RowT | None:
    """The row of a number that somebody gave; None where there is none, or it can be no id.

    One that is to be changed is kept from everybody else until the work is done.
    """
    if not may_be_id(number):
        return None
    lock = True if to_change and may_lock(work) else None
    return work.session.get(table, number, with_for_update=lock)


def may_lock(work: Work) -> bool:
    """Whether a row may be kept from others: who only reads makes nobody wait, and waits not."""
    return not only_reads(work.session)


def known(row_id: int | None) -> int:
    """The id of a row that has been stored."""
    assert row_id is not None
    return row_id


def may_be_id(number: int) -> bool:
    """Whether the number can be an id at all; databases refuse larger ones with an error."""
    return 0 < number < 2**31
