"""Punchings as they are kept, turned into plain values."""

from typing import Any

from sqlalchemy import ColumnElement, Select, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog import named, read_back_words, verification
from server.catalog.errors import NotFound
from server.catalog.handling import do_not_run
from server.catalog.held import known, may_be_id, titles
from server.catalog.punching_values import (
    PunchingRecord,
    PunchingRow,
    ReadBackRecord,
    ReelLink,
    Status,
)
from server.catalog.records import VersionLink
from server.catalog.work import COMMAND, Work
from server.store.images import ImageRow, Reading
from server.store.people import Person
from server.store.programs import Program, Version
from server.store.punching import Punching, ReadBack
from server.store.tapes import Tape
from server.tape.image import Span


def punching_of(work: Work, punching_id: int, *, to_change: bool = False) -> Punching:
    """A punching; one that is to be changed is kept from everybody else until the work is done.

    Raises:
        NotFound: there is none of that id.
    """
    found = None
    if may_be_id(punching_id):
        # What somebody else may have changed meanwhile is read again once the row is ours.
        found = work.session.scalar(
            select(Punching)
            .where(col(Punching.id) == punching_id)
            .with_for_update()
            .execution_options(populate_existing=True)
            if to_change
            else select(Punching).where(col(Punching.id) == punching_id)
        )
    if found is None:
        raise NotFound(
            f"There is no punching {punching_id}.",
            where=str(punching_id),
            mend="Look for it in the list of punchings.",
        )
    return found


def move(work: Work, row: Punching, status: Status) -> None:
    """Let a punching stand at `status`, one revision on."""
    row.status = status
    row.updated_at = work.now
    row.revision += 1
    work.session.flush()


def rows(
    work: Work, condition: ColumnElement[bool], *, offset: int, limit: int
) -> tuple[PunchingRow, ...]:
    """The punchings that meet the condition, the newest first."""
    asked: Select[*tuple[Any, ...]] = (
        select(Punching, col(ImageRow.sha256), Tape, named.name_of(work))
        .join(ImageRow, col(ImageRow.id) == col(Punching.image_id))
        .outerjoin(Tape, col(Tape.id) == col(Punching.tape_id))
        .outerjoin(Person, col(Person.id) == col(Punching.prepared_by_id))
        .where(condition)
        .order_by(col(Punching.id).desc())
        .offset(offset)
        .limit(limit)
    )
    found = work.session.execute(asked).all()
    links = _versions(work, {row.version_id for row, *_ in found})
    titled = titles(work, {row.image_id for row, *_ in found})
    return tuple(
        PunchingRow(
            id=known(row.id),
            title=_title(links.get(row.version_id), titled[row.image_id].title),
            reel=row.reel,
            reels=row.reels,
            status=Status(row.status),
            image=sha256,
            version=links.get(row.version_id),
            tape=tape.accession_number if tape else None,
            frames=row.size,
            prepared_at=row.prepared_at,
            prepared_by=name or COMMAND.name,
            do_not_run=tape is not None and do_not_run(tape),
        )
        for row, sha256, tape, name in found
    )


def record(work: Work, punching_id: int) -> PunchingRecord:
    """All of a punching that is held."""
    puncher = aliased(Person)
    row, sha256, tape, prepared_by, punched_by = work.session.execute(
        select(
            Punching,
            col(ImageRow.sha256),
            col(Tape.accession_number),
            named.name_of(work),
            named.name_of(work, puncher),
        )
        .join(ImageRow, col(ImageRow.id) == col(Punching.image_id))
        .outerjoin(Tape, col(Tape.id) == col(Punching.tape_id))
        .outerjoin(Person, col(Person.id) == col(Punching.prepared_by_id))
        .outerjoin(puncher, col(puncher.id) == col(Punching.punched_by_id))
        .where(col(Punching.id) == punching_id)
    ).one()
    version = _versions(work, {row.version_id}).get(row.version_id)
    return PunchingRecord(
        id=punching_id,
        status=Status(row.status),
        title=_title(version, titles(work, [row.image_id])[row.image_id].title),
        reel=row.reel,
        reels=row.reels,
        together=together(work, row),
        image=sha256,
        from_verified=verification.state_of(work, row.image_id).verified,
        version=version,
        preparation=row.preparation,
        changes=tuple(row.changes),
        cautions=tuple(row.cautions),
        lettering=row.lettering,
        format=row.format,
        sha256=row.sha256,
        frames=row.size,
        levels=row.levels,
        data=Span(row.data_start, row.data_stop),
        prepared_at=row.prepared_at,
        prepared_by=prepared_by or COMMAND.name,
        punched_on=row.punched_on,
        punched_at=row.punched_at,
        punched_by=None if row.punched_at is None else punched_by or COMMAND.name,
        medium=row.medium or None,
        punch=row.punch,
        rate=row.rate,
        note=row.note,
        tape=tape,
        read_backs=_read_backs(work, punching_id),
        revision=row.revision,
    )


def together(work: Work, row: Punching) -> tuple[ReelLink, ...]:
    """The reels that were prepared together, in order, this one among them."""
    first = row.first_id or row.id
    found = work.session.execute(
        select(Punching, col(Tape.accession_number))
        .outerjoin(Tape, col(Tape.id) == col(Punching.tape_id))
        .where(or_(col(Punching.id) == first, col(Punching.first_id) == first))
        .order_by(col(Punching.reel))
    )
    return tuple(
        ReelLink(known(each.id), each.reel, Status(each.status), tape) for each, tape in found
    )


def _title(version: VersionLink | None, image: str) -> str:
    return f"{version.title}, version {version.label}" if version else image


def _versions(work: Work, ids: set[int | None]) -> dict[int | None, VersionLink]:
    found = work.session.execute(
        select(col(Version.id), col(Version.label), col(Program.id), col(Program.title))
        .join(Program, col(Program.id) == col(Version.program_id))
        .where(col(Version.id).in_(ids - {None}))
    )
    return {
        version: VersionLink(program=known(program), title=title, label=label, id=known(version))
        for version, label, program, title in found
    }


def _read_backs(work: Work, punching_id: int) -> tuple[ReadBackRecord, ...]:
    found = work.session.execute(
        select(ReadBack, named.name_of(work), col(ImageRow.sha256))
        .outerjoin(Person, col(Person.id) == col(ReadBack.compared_by_id))
        .outerjoin(Reading, col(Reading.id) == col(ReadBack.reading_id))
        .outerjoin(ImageRow, col(ImageRow.id) == col(Reading.image_id))
        .where(col(ReadBack.punching_id) == punching_id)
        .order_by(col(ReadBack.id))
    )
    return tuple(
        ReadBackRecord(
            id=known(row.id),
            comparison=read_back_words.of_words(row.comparison),
            sha256=row.sha256,
            frames=row.size,
            file_name=row.file_name,
            read_on=row.read_on,
            reader=row.reader,
            at=row.compared_at,
            by=name or COMMAND.name,
            image=image,
        )
        for row, name, image in found
    )
