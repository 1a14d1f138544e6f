"""What is told of programs: their records, and the words by which they are found."""

from collections.abc import Iterator, Sequence

from sqlalchemy import or_, select
from sqlmodel import col

from server.catalog import handling, verification
from server.catalog.held import known
from server.catalog.program_values import (
    Attribution,
    LinkKind,
    LinkRecord,
    ProgramRecord,
    VersionRecord,
)
from server.catalog.records import TapeLink
from server.catalog.vocabulary import Access
from server.catalog.work import Work
from server.store import search
from server.store.images import Decoding, ImageRow
from server.store.programs import Program, ProgramLink, Version
from server.store.tapes import Tape
from server.tape.findings import CheckStatus


def record_of(work: Work, program: Program) -> ProgramRecord:
    """All that is told of a program."""
    number = known(program.id)
    return ProgramRecord(
        id=number,
        title=program.title,
        variant_titles=tuple(program.variant_titles),
        language=program.language,
        machine=program.machine,
        memory=program.memory,
        peripherals=tuple(program.peripherals),
        description=program.description,
        instructions=program.instructions,
        faults=program.faults,
        attributions=tuple(Attribution.model_validate(each) for each in program.attributions),
        rights=program.rights,
        revision=program.revision,
        created=program.created_at,
        changed=program.updated_at,
        links=_links(work, number),
        versions=_versions(work, number),
        tapes=_tapes(work, number),
        rights_uri=program.rights_uri,
        licence=program.licence,
        access=Access(program.access),
    )


def index(work: Work, program: Program) -> None:
    """Make a program findable by what is said of it and its versions."""
    number = known(program.id)
    fields = searched(program, _versions_of(work, number))
    search.index_record(work.session, "program", number, fields)


def take_out(work: Work, program: Program) -> None:
    """Make a program unfindable that was merged or withdrawn."""
    nothing = dict.fromkeys(("title", "description", "details"), "")
    search.index_record(work.session, "program", known(program.id), nothing)


def searched(program: Program, versions: Sequence[Version]) -> dict[str, str]:
    """The texts of a program by the fields under which a search tells of them."""
    return {
        "title": program.title,
        "description": program.description,
        "details": "\n".join(_details(program, versions)),
    }


def text_of(work: Work, program: Program, field: str) -> str:
    """The text of one of the searched fields."""
    return searched(program, _versions_of(work, known(program.id)))[field]


def _details(program: Program, versions: Sequence[Version]) -> Iterator[str]:
    for title in program.variant_titles:
        yield f"also called: {title}"
    needs = (program.language, program.machine, program.memory, *program.peripherals)
    if any(needs):
        yield f"needs: {', '.join(filter(None, needs))}"
    for each in program.attributions:
        yield f"{each['about']} ({each['certainty']}): {each['note']}"
    if program.instructions:
        yield f"instructions: {program.instructions}"
    if program.faults:
        yield f"known faults: {program.faults}"
    for version in versions:
        texts = (version.note, version.instructions, version.faults)
        yield ": ".join((f"version {version.label}", *filter(None, texts)))


def _versions_of(work: Work, program_id: int) -> Sequence[Version]:
    work.session.flush()
    return work.session.scalars(
        select(Version).where(col(Version.program_id) == program_id).order_by(col(Version.id))
    ).all()


def _links(work: Work, program_id: int) -> tuple[LinkRecord, ...]:
    here, there = col(ProgramLink.program_id), col(ProgramLink.other_id)
    rows = work.session.execute(
        select(ProgramLink, col(Program.id), col(Program.title))
        .join(
            Program,
            or_(
                (col(Program.id) == there) & (here == program_id),
                (col(Program.id) == here) & (there == program_id),
            ),
        )
        .order_by(col(ProgramLink.kind), col(Program.title), col(ProgramLink.id))
    )
    return tuple(
        LinkRecord(
            id=known(link.id),
            kind=LinkKind(link.kind),
            words=LinkKind(link.kind) if link.program_id == program_id
            else LinkKind(link.kind).backwards,
            made_here=link.program_id == program_id,
            program=known(other),
            title=title,
            note=link.note,
        )
        for link, other, title in rows
    )  # fmt: skip


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
            instructions=version.instructions,
            faults=version.faults,
            revision=version.revision,
        )
        for version, sha256, form, check_status in rows
    )


def _tapes(work: Work, program_id: int) -> tuple[TapeLink, ...]:
    tapes = work.session.scalars(
        select(Tape)
        .where(col(Tape.program_id) == program_id, col(Tape.deaccessioned_on).is_(None))
        .order_by(col(Tape.accession_key))
    )
    return tuple(
        TapeLink(each.accession_number, each.title, handling.do_not_run(each)) for each in tapes
    )
