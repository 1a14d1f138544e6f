"""Programs, and the exact contents that each has had."""

from typing import Any

from sqlalchemy import ColumnElement, Select, SQLColumnExpression, func, select, true
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import changes, events, handling, verification
from server.catalog.errors import Conflict, Invalid
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import access_of, image_id_of, known, program_of
from server.catalog.program_values import (
    NewProgram,
    NewVersion,
    ProgramChange,
    ProgramQuery,
    ProgramRecord,
    ProgramRow,
    VersionRecord,
)
from server.catalog.records import TapeLink
from server.catalog.tape_values import Page
from server.catalog.vocabulary import Access
from server.catalog.work import Role, Work
from server.store import search
from server.store.images import Decoding, ImageRow
from server.store.programs import Program, Version
from server.store.tapes import Tape
from server.store.texts import RECORDS, RecordText
from server.tape.findings import CheckStatus

_SEARCHED = ("title", "description")
_SAME_TITLE = 5


def page(work: Work, query: ProgramQuery) -> Page[ProgramRow]:
    """One page of the programs whose title, language, machine or description holds `q`."""
    condition = _matches(work, query.q)
    total = work.session.scalar(select(func.count()).select_from(Program).where(condition)) or 0
    columns: Select[*tuple[Any, ...]] = select(
        col(Program.id),
        col(Program.title),
        col(Program.language),
        col(Program.machine),
        _count(Version, col(Version.program_id)),
        _count(Tape, col(Tape.program_id)),
    )
    rows = work.session.execute(
        columns.where(condition)
        .order_by(func.lower(col(Program.title)), col(Program.id))
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    )
    return Page(tuple(ProgramRow(*row) for row in rows), total, query.page, query.page_size)


def titled(work: Work, title: str) -> tuple[int, ...]:
    """The programs of exactly this title, in either case of its letters; the first few."""
    rows = work.session.scalars(
        select(col(Program.id))
        .where(func.lower(col(Program.title)) == func.lower(title))
        .order_by(col(Program.id))
        .limit(_SAME_TITLE)
    )
    return tuple(known(each) for each in rows)


def get(work: Work, program_id: int) -> ProgramRecord:
    """A program, its versions, and the tapes that carry it.

    Raises:
        NotFound: there is none of that id.
    """
    return _record(work, program_of(work, program_id))


def create(work: Work, new: NewProgram) -> ProgramRecord:
    """Enter a program."""
    work.actor.require(Role.ARCHIVIST)
    program = Program(**new.model_dump(), created_at=work.now, updated_at=work.now)
    work.session.add(program)
    work.session.flush()
    _index(work, program)
    key = known(program.id)
    events.record(work, EventType.CREATION, ObjectKind.PROGRAM, key, detail=new.title)
    return _record(work, program)


def change(
    work: Work, program_id: int, change: ProgramChange, revision: int | None = None
) -> ProgramRecord:
    """Change what is given, if the program is still at `revision`.

    Raises:
        NotFound: there is none of that id.
        Conflict: somebody else changed it meanwhile.
    """
    work.actor.require(Role.ARCHIVIST)
    program = program_of(work, program_id, to_change=True)
    changes.require_revision(program, revision, program.title)
    given = {name: value for name, value in change.given().items() if value is not None}
    changed = changes.differing(program, given)
    changes.apply(work, program, changed, ObjectKind.PROGRAM, program_id)
    _index(work, program)
    return _record(work, program)


def add_version(work: Work, program_id: int, new: NewVersion) -> ProgramRecord:
    """Say that an image is the master of a version of a program.

    Raises:
        NotFound: there is no such program, or the image is not held.
        Conflict: the program has a version of that label, or from that image.
        Invalid: the image is more closed than the program, and would be opened by it.
    """
    work.actor.require(Role.ARCHIVIST)
    program = program_of(work, program_id)
    image_id = image_id_of(work, new.sha256)
    _require_as_closed(work, program, image_id)
    version = Version(
        program_id=program_id,
        image_id=image_id,
        label=new.label,
        note=new.note,
        created_at=work.now,
        created_by_id=work.actor.person_id,
    )
    try:
        with work.session.begin_nested():
            work.session.add(version)
    except IntegrityError as error:
        raise _version_taken(new, error) from None
    facts = {"label": new.label, "image": new.sha256}
    detail = f"version {new.label} added"
    events.record(
        work, EventType.MODIFICATION, ObjectKind.PROGRAM, program_id, detail=detail, facts=facts
    )
    return _record(work, program)


def _require_as_closed(work: Work, program: Program, image_id: int) -> None:
    image = access_of(work, image_id)
    if image.shut > Access(program.access).shut:
        raise Invalid(
            f"The image is {image}, the program {program.access}: as its version the image would"
            " be as open as the program.",
            where="sha256",
            mend=f"Make the program {image} first, or open the tape of the image.",
            fields={"sha256": f"it is {image}, the program {program.access}"},
        )


def _version_taken(new: NewVersion, error: IntegrityError) -> Conflict:
    by_label = "label" in str(error.orig)
    what = f"a version {new.label}" if by_label else "a version from this image"
    return Conflict(
        f"The program has {what} already.",
        where=new.label if by_label else new.sha256,
        mend="Give another label." if by_label else "Look at the versions of the program.",
        fields={"label" if by_label else "sha256": f"there is {what} already"},
    )


def _matches(work: Work, words: str) -> ColumnElement[bool]:
    if not words:
        return true()
    found = select(col(RecordText.object_id)).where(
        col(RecordText.kind) == "program", search.holds(work.session, RECORDS, words)
    )
    listed = [col(Program.language), col(Program.machine)]
    condition: ColumnElement[bool] = col(Program.id).in_(found)
    for column in listed:
        condition |= func.lower(column).contains(words.lower(), autoescape=True)
    return condition


def _count(
    table: type[Version] | type[Tape], program: SQLColumnExpression[Any]
) -> ColumnElement[int]:
    counted = select(func.count()).select_from(table).where(program == col(Program.id))
    return counted.correlate(Program).scalar_subquery()


def _index(work: Work, program: Program) -> None:
    fields = {name: getattr(program, name) for name in _SEARCHED}
    search.index_record(work.session, "program", known(program.id), fields)


def _record(work: Work, program: Program) -> ProgramRecord:
    return ProgramRecord(
        id=known(program.id),
        title=program.title,
        language=program.language,
        machine=program.machine,
        description=program.description,
        rights=program.rights,
        revision=program.revision,
        created=program.created_at,
        changed=program.updated_at,
        versions=_versions(work, known(program.id)),
        tapes=_tapes(work, known(program.id)),
        rights_uri=program.rights_uri,
        licence=program.licence,
        access=Access(program.access),
    )


def _versions(work: Work, program_id: int) -> tuple[VersionRecord, ...]:
    rows = work.session.execute(
        select(
            Version,
            col(ImageRow.sha256),
            col(Decoding.format),
            col(Decoding.check_status),
        )
        .join(ImageRow, col(ImageRow.id) == col(Version.image_id))
        .join(Decoding, col(Decoding.image_id) == col(Version.image_id))
        .where(col(Version.program_id) == program_id, ~col(Decoding.superseded))
        .order_by(col(Version.id).desc())
    ).all()
    words = verification.words_of(work, [version.image_id for version, *_ in rows])
    return tuple(
        VersionRecord(
            id=known(version.id),
            label=version.label,
            sha256=sha256,
            note=version.note,
            added=version.created_at,
            format=form,
            check_status=CheckStatus(check_status),
            verification=words[version.image_id],
        )
        for version, sha256, form, check_status in rows
    )


def _tapes(work: Work, program_id: int) -> tuple[TapeLink, ...]:
    tapes = work.session.scalars(
        select(Tape).where(col(Tape.program_id) == program_id).order_by(col(Tape.accession_key))
    )
    return tuple(
        TapeLink(each.accession_number, each.title, handling.do_not_run(each)) for each in tapes
    )
