"""What a load sheet is of, as rows: a version with its program, or an image."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlmodel import col

from server.catalog.errors import Moved, NotFound
from server.catalog.events import ObjectKind
from server.catalog.held import by_id, image_id_of, known, program_of
from server.catalog.load_sheet_values import SheetOf
from server.catalog.work import Work
from server.store.events import Event
from server.store.images import Decoding, ImageRow
from server.store.programs import Program, Version


@dataclass(frozen=True, slots=True)
class Subject:
    """What a sheet is of, as rows."""

    image_id: int
    version: Version | None = None
    program: Program | None = None


def subject_of(work: Work, of: SheetOf, *, to_change: bool) -> Subject:
    """The rows; what is to be changed is kept from everybody else until the work is done."""
    if of.sha256:
        image_id = image_id_of(work, of.sha256)
        if to_change:
            work.session.execute(
                select(col(ImageRow.id)).where(col(ImageRow.id) == image_id).with_for_update()
            )
        return Subject(image_id)
    program = program_of(work, of.program)
    version = by_id(work, Version, of.version, to_change=to_change)
    if version is not None and _was_of(work, version, known(program.id)):
        raise Moved(
            f"Version {version.label} is one of another program now.",
            where=str(of.version),
            mend="Look at the history of the program.",
            before=f"/programs/{program.id}/versions/",
            after=f"/programs/{version.program_id}/versions/",
        )
    if version is None or version.program_id != program.id:
        raise NotFound(
            f"{program.title} has no version of number {of.version}.",
            where=str(of.version),
            mend="Look at the versions of the program.",
        )
    return Subject(version.image_id, version, program)


def _was_of(work: Work, version: Version, program_id: int) -> bool:
    """Whether a version was split off a program."""
    if version.program_id == program_id:
        return False
    split = select(Event).where(
        col(Event.object_kind) == ObjectKind.PROGRAM,
        col(Event.object_key) == str(program_id),
        col(Event.facts)["new"].as_integer() == version.program_id,
    )
    return work.session.scalar(split.limit(1)) is not None


def best_for(work: Work, sha256: str) -> SheetOf:
    """Whose sheet goes with an image: a version's, where a master holds the same content.

    Raises:
        NotFound: the image is not held.
    """
    image_id = image_id_of(work, sha256)
    content = select(col(Decoding.content_sha256)).where(
        col(Decoding.image_id) == image_id, ~col(Decoding.superseded)
    )
    found = work.session.execute(
        select(col(Version.program_id), col(Version.id))
        .join(Decoding, col(Decoding.image_id) == col(Version.image_id))
        .where(
            col(Decoding.content_sha256) == content.correlate(None).scalar_subquery(),
            ~col(Decoding.superseded),
        )
        .order_by(col(Version.image_id) != image_id, col(Version.id))
        .limit(1)
    ).first()
    if found is None:
        return SheetOf(sha256=sha256.lower())
    return SheetOf(program=found[0], version=known(found[1]))
