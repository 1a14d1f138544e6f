"""What a program has, put to another one: its versions, its tapes, its links."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from sqlalchemy import or_, select
from sqlmodel import col

from server.catalog import changes
from server.catalog.errors import Conflict
from server.catalog.events import ObjectKind
from server.catalog.held import known, may_lock
from server.catalog.inputs import NAME_LENGTH
from server.catalog.work import Work
from server.store.images import ImageRow
from server.store.programs import Program, ProgramLink, Version
from server.store.tapes import Tape

Facts = dict[str, Any]


def versions_of(work: Work, program: Program) -> Sequence[tuple[Version, str]]:
    """The versions of a program with the names of their images, the oldest first."""
    rows = work.session.execute(
        select(Version, col(ImageRow.sha256))
        .join(ImageRow, col(ImageRow.id) == col(Version.image_id))
        .where(col(Version.program_id) == program.id)
        .order_by(col(Version.id))
    )
    return [(version, sha256) for version, sha256 in rows]


def tapes_of(work: Work, program: Program) -> Sequence[Tape]:
    """The tapes that carry a program, kept from everybody else until the work is done."""
    held = select(Tape).where(col(Tape.program_id) == program.id).order_by(col(Tape.accession_key))
    return work.session.scalars(held.with_for_update() if may_lock(work) else held).all()


def links_of(work: Work, program: Program) -> Sequence[ProgramLink]:
    """The links that begin or end at a program."""
    return work.session.scalars(
        select(ProgramLink)
        .where(
            or_(col(ProgramLink.program_id) == program.id, col(ProgramLink.other_id) == program.id)
        )
        .order_by(col(ProgramLink.id))
    ).all()


def free_label(label: str, taken: Collection[str], title: str) -> str:
    """The label itself or, where it is taken, one that says of which program it was."""
    if label not in taken:
        return label
    number = 1
    while True:
        mark = f" ({title})" if number == 1 else f" ({title}, {number})"
        tried = f"{label[: NAME_LENGTH - len(mark[:NAME_LENGTH])]}{mark}"[:NAME_LENGTH]
        if tried not in taken:
            return tried
        number += 1


def move_version(work: Work, version: Version, to: Program, label: str) -> None:
    """Put a version to another program, under a label that is free there."""
    version.program_id = known(to.id)
    version.label = label
    version.revision += 1
    version.updated_at = work.now
    work.session.flush()


def move_tapes(
    work: Work, tapes: Collection[Tape], to: Program, why: str, part_of: int | None
) -> None:
    """Put tapes to another program, each with an entry of its own in its history."""
    for tape in tapes:
        changed = {"program_id": known(to.id)}
        number = tape.accession_number
        changes.apply(
            work, tape, changed, ObjectKind.TAPE, number, why=why, facts={"part_of": part_of}
        )
    work.session.flush()


def require_versions(
    held: Mapping[str, Version], told: Collection[Mapping[str, str]], title: str
) -> None:
    """Nothing, if each version that is told is held, under its label.

    Raises:
        Conflict: one was renamed, or is not there any more.
    """
    for each in told:
        version = held.get(each["image"])
        if version is None or version.label != each["label"]:
            raise Conflict(
                f"Version {each['label']} of {title} was changed or taken out since.",
                where=each["label"],
                mend="Undo that first.",
            )


def require_tapes(held: Mapping[str, Tape], told: Collection[str], title: str) -> None:
    """Nothing, if each tape that is told is held.

    Raises:
        Conflict: one was put to another program since.
    """
    for number in told:
        if number not in held:
            raise Conflict(
                f"Tape {number} does not carry {title} any more.",
                where=number,
                mend="Undo that first.",
            )
