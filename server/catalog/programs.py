"""Programs, and the exact contents that each has had."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import changes, events, program_records, terms, versions
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import image_id_of, known, program_of
from server.catalog.program_values import (
    NewProgram,
    NewVersion,
    ProgramChange,
    ProgramQuery,
    ProgramRecord,
    ProgramRow,
)
from server.catalog.tape_values import Page
from server.catalog.terms import Vocabulary
from server.catalog.work import Role, Work
from server.store import search
from server.store.programs import Program, Version
from server.store.tapes import Tape
from server.store.texts import RECORDS, RecordText

_SAME_TITLE = 5
_ORDER = (func.lower(col(Program.title)), col(Program.id))


def standing() -> ColumnElement[bool]:
    """The condition that a program was neither merged nor withdrawn."""
    return col(Program.merged_into_id).is_(None) & col(Program.withdrawn_at).is_(None)


def page(work: Work, query: ProgramQuery) -> Page[ProgramRow]:
    """One page of the programs in whose texts `q` stands, and which have the words asked for."""
    conditions = [standing(), *_matches(work, query)]
    columns: Select[*tuple[Any, ...]] = select(
        col(Program.id),
        col(Program.title),
        col(Program.language),
        col(Program.machine),
        _count(Version, col(Version.program_id) == col(Program.id)),
        _count(
            Tape,
            col(Tape.program_id) == col(Program.id),
            col(Tape.deaccessioned_on).is_(None),
        ),
    )
    rows = work.session.execute(
        columns.where(*conditions)
        .order_by(*_ORDER)
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    )
    found, total = tuple(ProgramRow(*row) for row in rows), _total(work, conditions)
    return Page(found, total, query.page, query.page_size)


def count(work: Work) -> int:
    """How many programs there are."""
    return _total(work, [standing()])


def by_title(work: Work, most: int) -> tuple[tuple[int, str], ...]:
    """The numbers and titles of programs, in the order of their titles; the first of them."""
    rows = work.session.execute(
        select(col(Program.id), col(Program.title)).where(standing()).order_by(*_ORDER).limit(most)
    )
    return tuple((known(number), title) for number, title in rows)


def titled(work: Work, title: str) -> tuple[int, ...]:
    """The programs of exactly this title, in either case of its letters; the first few."""
    rows = work.session.scalars(
        select(col(Program.id))
        .where(standing(), func.lower(col(Program.title)) == func.lower(title))
        .order_by(col(Program.id))
        .limit(_SAME_TITLE)
    )
    return tuple(known(each) for each in rows)


def get(work: Work, program_id: int) -> ProgramRecord:
    """A program, its links and versions, and the tapes that carry it.

    Raises:
        NotFound: there is none of that id, or it was withdrawn.
        Moved: it was merged into another one.
    """
    return program_records.record_of(work, program_of(work, program_id))


def create(work: Work, new: NewProgram) -> ProgramRecord:
    """Enter a program.

    Raises:
        Invalid: a word is not one of its vocabulary.
    """
    work.actor.require(Role.ARCHIVIST)
    values = worded(work, new.model_dump(mode="json"))
    program = Program(**values, created_at=work.now, updated_at=work.now)
    work.session.add(program)
    work.session.flush()
    program_records.index(work, program)
    key = known(program.id)
    events.record(work, EventType.CREATION, ObjectKind.PROGRAM, key, detail=new.title)
    return program_records.record_of(work, program)


def change(
    work: Work, program_id: int, change: ProgramChange, revision: int | None = None
) -> ProgramRecord:
    """Change what is given, if the program is still at `revision`.

    Raises:
        NotFound: there is none of that id.
        Conflict: somebody else changed it meanwhile.
        Invalid: a word is not one of its vocabulary.
    """
    work.actor.require(Role.ARCHIVIST)
    program = program_of(work, program_id, to_change=True)
    changes.require_revision(program, revision, program.title)
    told = change.model_dump(mode="json", exclude_unset=True)
    given = {name: value for name, value in told.items() if value is not None}
    changed = changes.differing(program, worded(work, given, program))
    changes.apply(work, program, changed, ObjectKind.PROGRAM, program_id)
    program_records.index(work, program)
    return program_records.record_of(work, program)


def worded(work: Work, values: Mapping[str, Any], held: Program | None = None) -> dict[str, Any]:
    """The values, with the words of vocabularies as these write them.

    Raises:
        Invalid: a word is not one of its vocabulary; what the program `held` it may keep.
    """
    taken = dict(values)
    for name, vocabulary in (("language", Vocabulary.LANGUAGE), ("machine", Vocabulary.MACHINE)):
        if name in taken:
            before = (getattr(held, name),) if held else ()
            taken[name] = terms.accepted(work, vocabulary, taken[name], field=name, held=before)
    if "peripherals" in taken:
        taken["peripherals"] = terms.all_accepted(
            work,
            Vocabulary.PERIPHERAL,
            taken["peripherals"],
            field="peripherals",
            held=held.peripherals if held else (),
        )
    return taken


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
    versions.require_as_closed(work, program, image_id)
    version = Version(
        program_id=program_id,
        image_id=image_id,
        created_at=work.now,
        created_by_id=work.actor.person_id,
        **new.model_dump(exclude={"sha256"}),
    )
    try:
        with work.session.begin_nested():
            work.session.add(version)
    except IntegrityError as error:
        raise versions.taken(new.label, new.sha256, error) from None
    facts = {"label": new.label, "image": new.sha256}
    detail = f"version {new.label} added"
    events.record(
        work, EventType.MODIFICATION, ObjectKind.PROGRAM, program_id, detail=detail, facts=facts
    )
    program_records.index(work, program)
    return program_records.record_of(work, program)


def _matches(work: Work, query: ProgramQuery) -> list[ColumnElement[bool]]:
    conditions: list[ColumnElement[bool]] = []
    if query.q:
        found = select(col(RecordText.object_id)).where(
            col(RecordText.kind) == "program", search.holds(work.session, RECORDS, query.q)
        )
        conditions.append(col(Program.id).in_(found))
    if query.language:
        conditions.append(col(Program.language).in_(query.language))
    if query.machine:
        conditions.append(col(Program.machine).in_(query.machine))
    if query.peripheral:
        conditions.append(col(Program.id).in_(_with_peripherals(work, set(query.peripheral))))
    return conditions


def _with_peripherals(work: Work, wanted: set[str]) -> list[int]:
    """Databases look into lists in ways of their own; of programs there are not that many."""
    rows = work.session.execute(select(col(Program.id), col(Program.peripherals)))
    return [known(number) for number, held in rows if wanted & set(held)]


def _total(work: Work, conditions: Sequence[ColumnElement[bool]]) -> int:
    counted = select(func.count()).select_from(Program).where(*conditions)
    return work.session.scalar(counted) or 0


def _count(
    table: type[Version] | type[Tape], *conditions: ColumnElement[bool]
) -> ColumnElement[int]:
    counted = select(func.count()).select_from(table).where(*conditions)
    return counted.correlate(Program).scalar_subquery()
