"""Splitting a program: some of its versions and tapes become a program of their own."""

from typing import Annotated

from pydantic import Field

from server.catalog import events, program_records
from server.catalog import program_parts as parts
from server.catalog.errors import Invalid
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, program_of
from server.catalog.inputs import Input, RequiredName, Text
from server.catalog.program_parts import Facts
from server.catalog.program_values import DescribedProgram, ProgramRecord
from server.catalog.tape_values import Numbers, Words
from server.catalog.work import Role, Work
from server.store.programs import Program, Version
from server.store.tapes import Tape


class NewSplit(Input):
    """What becomes a program of its own: versions by their numbers, tapes by theirs."""

    title: RequiredName
    versions: Numbers = ()
    tapes: Words = ()
    note: Annotated[Text, Field(description="Why it is another program.")] = ""


def split(work: Work, program_id: int, new: NewSplit) -> ProgramRecord:
    """Make a program of some versions and tapes of another one; gives the new one.

    It begins with all that was said of the other, but for the titles; both histories say so.

    Raises:
        NotFound: there is no such program.
        Invalid: nothing is chosen, or the program has no such version or tape.
    """
    work.actor.require(Role.ARCHIVIST)
    source = program_of(work, program_id, to_change=True)
    versions, tapes = _chosen_versions(work, source, new), _chosen_tapes(work, source, new)
    if not versions and not tapes:
        raise Invalid(
            "Nothing is chosen that could be a program of its own.",
            where="versions",
            mend="Tick at least one version or tape.",
            fields={"versions": "tick at least one version or tape"},
        )
    program = _copied(work, source, new.title)
    told = [{"image": sha256, "label": version.label} for version, sha256 in versions]
    for version, _ in versions:
        parts.move_version(work, version, program, version.label)
    numbers = [tape.accession_number for tape in tapes]
    facts = {"program": known(source.id), "new": known(program.id)}
    entry = log(
        work, source, program, new.note, {**facts, "versions": told, "tapes": numbers}, None
    )
    parts.move_tapes(work, tapes, program, f"split off {source.title}", entry)
    for each in (source, program):
        program_records.index(work, each)
    return program_records.record_of(work, program)


def _chosen_versions(work: Work, source: Program, new: NewSplit) -> list[tuple[Version, str]]:
    held = {version.id: (version, sha256) for version, sha256 in parts.versions_of(work, source)}
    missing = [number for number in new.versions if number not in held]
    if missing:
        raise _not_of_it("versions", f"{source.title} has no version of number {missing[0]}")
    return [held[number] for number in dict.fromkeys(new.versions)]


def _chosen_tapes(work: Work, source: Program, new: NewSplit) -> list[Tape]:
    held = {tape.accession_number: tape for tape in parts.tapes_of(work, source)}
    missing = [number for number in new.tapes if number not in held]
    if missing:
        raise _not_of_it("tapes", f"tape {missing[0]} does not carry {source.title}")
    return [held[number] for number in dict.fromkeys(new.tapes)]


def _not_of_it(field: str, what: str) -> Invalid:
    return Invalid(what, where=field, mend="Look at the program again.", fields={field: what})


def _copied(work: Work, source: Program, title: str) -> Program:
    said = {name: getattr(source, name) for name in DescribedProgram.model_fields}
    program = Program(
        **said | {"variant_titles": []}, title=title, created_at=work.now, updated_at=work.now
    )
    source.revision += 1
    source.updated_at = work.now
    work.session.add(program)
    work.session.flush()
    return program


def log(
    work: Work,
    source: Program,
    program: Program,
    note: str,
    facts: Facts,
    corrects: int | None,
    action: str = "split program",
) -> int:
    """Write into both histories that a program was split off, or joined again."""
    because = f": {note}" if note else ""
    how = "split off it" if action == "split program" else "joined with it again"
    entry = events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.PROGRAM,
        known(source.id),
        detail=f"{program.title} (no. {program.id}) {how}{because}",
        facts={"action": action, **facts},
        corrects=corrects,
    )
    work.session.flush()
    how = "split off" if action == "split program" else "joined again with"
    events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.PROGRAM,
        known(program.id),
        detail=f"{how} {source.title} (no. {source.id}){because}",
        facts={"action": action, "part_of": entry.id},
    )
    return known(entry.id)
