"""Versions of programs: what is said of one, taken out and put in again; the image is its own."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import changes, events, program_records
from server.catalog.errors import Conflict, Invalid, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import (
    access_of,
    by_id,
    image_id_of,
    known,
    may_lock,
    program_ever,
    program_of,
)
from server.catalog.program_values import ProgramRecord, VersionChange
from server.catalog.vocabulary import Access
from server.catalog.work import Role, Work
from server.store.events import Event
from server.store.images import ImageRow
from server.store.load_sheets import LoadSheet
from server.store.programs import Program, Version
from server.store.punching import Punching

TOLD = ("label", "note", "instructions", "faults")
"""What is said of a version."""


def change(
    work: Work,
    program_id: int,
    version_id: int,
    change: VersionChange,
    revision: int | None = None,
) -> ProgramRecord:
    """Change what is said of a version, if it is still at `revision`.

    Raises:
        NotFound: the program has no version of that number.
        Conflict: somebody else changed it meanwhile, or the label is taken.
    """
    work.actor.require(Role.ARCHIVIST)
    program = program_of(work, program_id, to_change=True)
    version = version_of(work, program, version_id)
    changes.require_revision(version, revision, f"Version {version.label}")
    given = {name: value for name, value in change.given().items() if value is not None}
    try:
        with work.session.begin_nested():
            apply(work, version, changes.differing(version, given), "", None)
    except IntegrityError as error:
        raise taken(given.get("label", ""), "", error) from None
    return program_records.record_of(work, program)


def version_of(work: Work, program: Program, version_id: int) -> Version:
    """A version of a program, kept from everybody else until the work is done.

    Raises:
        NotFound: the program has none of that number.
    """
    version = by_id(work, Version, version_id, to_change=True)
    if version is None or version.program_id != program.id:
        raise NotFound(
            f"{program.title} has no version of number {version_id}.",
            where=str(version_id),
            mend="Look at the versions of the program.",
        )
    return version


def apply(
    work: Work, version: Version, changed: Mapping[str, Any], why: str, corrects: int | None
) -> None:
    """Say something else of a version; the program's history has it."""
    if not changed:
        return
    label = version.label
    before = {name: getattr(version, name) for name in changed}
    for name, value in changed.items():
        setattr(version, name, value)
    version.revision += 1
    version.updated_at = work.now
    facts = {
        "action": "change version",
        "image": _sha256(work, version),
        "before": before,
        "after": dict(changed),
    }
    detail = f"version {label} changed" + (f": {why}" if why else "")
    _log(work, version.program_id, detail, facts, corrects)
    program_records.index(work, work.session.get_one(Program, version.program_id))


def of_image(work: Work, program_id: int, sha256: str) -> Version | None:
    """The version of a program, or of what it was merged into, with that master image."""
    held = (
        select(Version)
        .join(ImageRow, col(ImageRow.id) == col(Version.image_id))
        .where(
            col(Version.program_id) == present_program(work, program_id),
            col(ImageRow.sha256) == sha256.lower(),
        )
    )
    return work.session.scalar(held.with_for_update(of=Version) if may_lock(work) else held)


def present_program(work: Work, program_id: int) -> int:
    """The program that took the place of one, through however many merges."""
    program = program_ever(work, program_id)
    while program.merged_into_id is not None:
        program = program_ever(work, program.merged_into_id)
    return known(program.id)


def refuses_to_go(work: Work, version: Version) -> str:
    """Why a version cannot be taken out, in a sentence; empty where it can."""
    punched = select(col(Punching.id)).where(col(Punching.version_id) == version.id)
    sheet = select(col(LoadSheet.id)).where(col(LoadSheet.version_id) == version.id)
    for held, words in ((punched, "tapes were punched from it"), (sheet, "it has a load sheet")):
        if work.session.scalar(held.limit(1)) is not None:
            return f"Version {version.label} stays: {words}."
    return ""


def take_out(work: Work, version: Version, why: str, corrects: int | None) -> None:
    """Take a version off a program, on which nothing else stands; the image stays held."""
    program = work.session.get_one(Program, version.program_id)
    facts = {
        "action": "take version out",
        "image": _sha256(work, version),
        **{name: getattr(version, name) for name in TOLD},
    }
    work.session.delete(version)
    work.session.flush()
    _log(work, known(program.id), f"version {version.label} taken out: {why}", facts, corrects)
    program_records.index(work, program)


def put_in(work: Work, event: Event, why: str) -> None:
    """Give a program again the version that an entry says was taken out."""
    program = program_of(work, present_program(work, int(event.object_key)), to_change=True)
    told = {name: event.facts.get(name, "") for name in TOLD}
    image = event.facts["image"]
    require_room(work, program, told["label"], image)
    require_as_closed(work, program, image_id_of(work, image))
    work.session.add(
        Version(
            program_id=known(program.id),
            image_id=image_id_of(work, image),
            created_at=work.now,
            created_by_id=work.actor.person_id,
            **told,
        )
    )
    work.session.flush()
    facts = {"action": "add version", "label": told["label"], "image": image}
    detail = f"version {told['label']} put in again: {why}"
    _log(work, known(program.id), detail, facts, event.id)
    program_records.index(work, program)


def require_as_closed(work: Work, program: Program, image_id: int) -> None:
    """Nothing, if an image is not opened to more people by being a version of a program.

    Raises:
        Invalid: it would be.
    """
    image = access_of(work, image_id)
    if image.shut > Access(program.access).shut:
        raise Invalid(
            f"The image is {image}, the program {program.access}: as its version the image would"
            " be as open as the program.",
            where="sha256",
            mend=f"Make the program {image} first, or open the tape of the image.",
            fields={"sha256": f"it is {image}, the program {program.access}"},
        )


def require_room(work: Work, program: Program, label: str, sha256: str) -> None:
    """Nothing, if a program has neither a version of that label nor one of that image.

    Raises:
        Conflict: it has.
    """
    held = (
        select(col(Version.label))
        .join(ImageRow, col(ImageRow.id) == col(Version.image_id))
        .where(
            col(Version.program_id) == program.id,
            (col(Version.label) == label) | (col(ImageRow.sha256) == sha256.lower()),
        )
    )
    if work.session.scalar(held.limit(1)) is not None:
        raise Conflict(
            f"{program.title} has a version {label}, or one from the same image, already.",
            where=label,
            mend="Look at the versions of the program.",
        )


def taken(label: str, sha256: str, error: IntegrityError) -> Conflict:
    """The refusal of a version, whose label or image the program has already."""
    by_label = "label" in str(error.orig)
    what = f"a version {label}" if by_label else "a version from this image"
    return Conflict(
        f"The program has {what} already.",
        where=label if by_label else sha256,
        mend="Give another label." if by_label else "Look at the versions of the program.",
        fields={"label" if by_label else "sha256": f"there is {what} already"},
    )


def _sha256(work: Work, version: Version) -> str:
    return work.session.scalars(
        select(col(ImageRow.sha256)).where(col(ImageRow.id) == version.image_id)
    ).one()


def _log(
    work: Work, program_id: int, detail: str, facts: Mapping[str, Any], corrects: int | None
) -> None:
    events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.PROGRAM,
        program_id,
        detail=detail,
        facts=facts,
        corrects=corrects,
    )
