"""Physical tapes: entered, described, found again, and joined with what was read from them."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import (
    changes,
    condition,
    events,
    facets,
    images,
    movements,
    numbering,
    shelf,
    terms,
)
from server.catalog.errors import Invalid, Moved, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import access_of, image_id_of, program_of, require_here, tape_of
from server.catalog.records import ImageRecord
from server.catalog.tape_values import (
    ARCHIVISTS_ONLY,
    NewTape,
    Page,
    TapeChange,
    TapeQuery,
    TapeRecord,
    TapeRow,
)
from server.catalog.terms import Vocabulary
from server.catalog.vocabulary import Access, Acquired, Condition, Hazard, TapeForm
from server.catalog.work import Role, Work
from server.store import search
from server.store.images import ImageRow, Reading
from server.store.programs import Program
from server.store.punching import Punching
from server.store.tapes import Tape

_SEARCHED = ("accession_number", "title", "origin", "notes")


def page(work: Work, query: TapeQuery) -> Page[TapeRow]:
    """One page of the tapes that match, and what else they could be narrowed by."""
    counted = facets.count(work.session, query)
    rows = shelf.rows(work.session, query)
    return Page(rows, counted.total, query.page, query.page_size, counted.facets)


def get(work: Work, accession_number: str) -> TapeRecord:
    """A tape and all that is known about it.

    Raises:
        NotFound: there is none of that number.
    """
    return _record(work, tape_of(work, accession_number))


def has_left(work: Work, accession_number: str) -> bool:
    """Whether a tape left the collection, so that only its record is here.

    Raises:
        NotFound: there is none of that number.
    """
    return tape_of(work, accession_number).deaccessioned_on is not None


def create(work: Work, new: NewTape) -> TapeRecord:
    """Enter a tape in the register.

    Raises:
        NotAllowed: only an archivist says what is in `ARCHIVISTS_ONLY`.
        Conflict: the accession number is taken, or was given before, or its place is closed.
        Invalid: there is no such program, or its place cannot be one.
    """
    work.actor.require(Role.VOLUNTEER)
    if any(getattr(new, name) != NewTape.model_fields[name].default for name in ARCHIVISTS_ONLY):
        work.actor.require(Role.ARCHIVIST)
    _require_program(work, new.program)
    columns = _columns(new.model_dump())
    place = columns.pop("place")
    tape = Tape(
        **worded(work, columns),
        hazard=Hazard.NONE,
        created_at=work.now,
        created_by_id=work.actor.person_id,
        updated_at=work.now,
    )
    tape.accession_number = new.accession_number or ""
    numbering.enter(work, tape)
    _index(work, tape)
    events.record(work, EventType.ACCESSION, ObjectKind.TAPE, tape.accession_number)
    movements.enter(work, tape, place)
    return _record(work, tape)


def change(
    work: Work, accession_number: str, change: TapeChange, revision: int | None = None
) -> TapeRecord:
    """Change what is given, if the tape is still at `revision`.

    Raises:
        NotFound: there is none of that number.
        NotAllowed: only an archivist changes its number, moves it to another program, or says
            what is in `ARCHIVISTS_ONLY`.
        Conflict: somebody else changed it meanwhile, the new number is taken, or it is lent.
        Invalid: there is no such program, a report says in what condition the tape is, or what is
            given as its place cannot be one.
    """
    work.actor.require(Role.VOLUNTEER)
    tape = tape_of(work, accession_number, to_change=True)
    changes.require_revision(tape, revision, tape.accession_number)
    columns = worded(work, _columns(change.given()), tape)
    place = columns.pop("place", tape.place)
    changed = changes.differing(tape, columns)
    _require_right_to(work, tape, changed)
    if "program_id" in changed:
        _require_program(work, changed["program_id"])
    if "condition" in changed:
        _require_unreported(work, tape)
    before = tape.revision
    changes.apply(work, tape, changed, ObjectKind.TAPE, tape.accession_number)
    if place != tape.place:
        movements.write(work, tape, place)
        # Moved and described in one change, it is one revision older.
        tape.revision = min(tape.revision, before + 1)
    if "accession_number" in changed:
        _rename(work, tape, accession_number)
    _index(work, tape)
    return _record(work, tape)


def put_back(work: Work, tape: Tape, values: Mapping[str, Any], *, why: str, corrects: int) -> None:
    """Let a tape say again what it said before a change, which `corrects` names.

    Raises:
        NotAllowed, Conflict, Invalid: as for a change.
    """
    work.actor.require(Role.VOLUNTEER)
    taken, number = worded(work, dict(values)), tape.accession_number
    _require_right_to(work, tape, taken)
    if "program_id" in taken:
        _require_program(work, taken["program_id"])
    if "condition" in taken:
        _require_unreported(work, tape)
    if "place" in taken:
        movements.write(work, tape, taken.pop("place"), why)
    changes.apply(work, tape, taken, ObjectKind.TAPE, number, why=why, corrects=corrects)
    if "accession_number" in taken:
        _rename(work, tape, number)
    _index(work, tape)


def attach(
    work: Work,
    accession_number: str,
    sha256: str,
    *,
    why: str = "",
    corrects: int | None = None,
) -> TapeRecord:
    """Say that an image was read from a tape; `corrects` is the entry that this undoes.

    Raises:
        NotFound: there is no such tape, or the image is not held.
        NotAllowed: only an archivist puts an image to a tape that is more open.
    """
    work.actor.require(Role.VOLUNTEER)
    tape = tape_of(work, accession_number)
    require_here(tape)
    image_id = image_id_of(work, sha256)
    if access_of(work, image_id).shut > Access(tape.access).shut:
        work.actor.require(Role.ARCHIVIST)
    if not is_attached(work, tape, sha256):
        _attach(work, tape, image_id)
        number, image = tape.accession_number, sha256.lower()
        facts = {"action": "attach image", "tape": number, "image": image}
        detail = f"attached: {why}" if why else "attached"
        for kind, key, undoes in (
            (ObjectKind.TAPE, number, corrects),
            (ObjectKind.IMAGE, image, None),
        ):
            events.record(
                work,
                EventType.MODIFICATION,
                kind,
                key,
                detail=detail,
                facts=facts,
                corrects=undoes,
            )
    return _record(work, tape)


def is_attached(work: Work, tape: Tape, sha256: str) -> bool:
    """Whether some reading says that an image was read from a tape.

    Raises:
        NotFound: the image is not held.
    """
    attached = select(col(Reading.id)).where(
        col(Reading.image_id) == image_id_of(work, sha256), col(Reading.tape_id) == tape.id
    )
    return work.session.scalar(attached.limit(1)) is not None


def _attach(work: Work, tape: Tape, image_id: int) -> None:
    """Give the tape the oldest reading of the image that has none, or a reading of its own."""
    loose = work.session.scalar(
        select(Reading)
        .where(col(Reading.image_id) == image_id, col(Reading.tape_id).is_(None))
        .order_by(col(Reading.id))
        .limit(1)
    )
    if loose is not None:
        loose.tape_id = tape.id
    else:
        work.session.add(
            Reading(
                image_id=image_id,
                tape_id=tape.id,
                note="attached without a file",
                accepted_at=work.now,
                accepted_by_id=work.actor.person_id,
            )
        )
    work.session.flush()


def _columns(values: dict[str, Any]) -> dict[str, Any]:
    """The values by column; a title or a number that is None was not given."""
    required = ("title", "accession_number")
    columns = {
        name: value for name, value in values.items() if value is not None or name not in required
    }
    if "program" in columns:
        columns["program_id"] = columns.pop("program")
    return columns


def worded(work: Work, values: dict[str, Any], held: Tape | None = None) -> dict[str, Any]:
    """The values by column, with the words of vocabularies as these write them.

    Raises:
        Invalid: a word is not one of its vocabulary; what the tape `held` it may keep.
    """
    taken = dict(values)
    for name, vocabulary in (("medium", Vocabulary.MEDIUM), ("colour", Vocabulary.COLOUR)):
        if name in taken:
            before = (getattr(held, name),) if held else ()
            taken[name] = terms.accepted(work, vocabulary, taken[name], field=name, held=before)
    return taken


def _require_program(work: Work, program_id: int | None) -> None:
    if program_id is None:
        return
    try:
        program_of(work, program_id)
    except (NotFound, Moved) as missing:
        raise Invalid(
            missing.what,
            where="program",
            mend=missing.mend,
            fields={"program": "there is no such program"},
        ) from None


def _require_right_to(work: Work, tape: Tape, changed: dict[str, Any]) -> None:
    moves = "program_id" in changed and tape.program_id is not None
    if moves or changed.keys() & {"accession_number", *ARCHIVISTS_ONLY}:
        work.actor.require(Role.ARCHIVIST)
    if "accession_number" in changed:
        numbering.require_free(work, changed["accession_number"], tape)


def _require_unreported(work: Work, tape: Tape) -> None:
    if condition.newest(work, tape) is not None:
        raise Invalid(
            "The condition of this tape follows its newest condition report.",
            where=tape.accession_number,
            mend="Log a new condition report.",
            fields={"condition": "log a condition report instead"},
        )


def _rename(work: Work, tape: Tape, before: str) -> None:
    number = tape.accession_number
    try:
        work.session.flush()
    except IntegrityError:
        raise numbering.number_taken(number) from None
    events.record(
        work, EventType.MODIFICATION, ObjectKind.TAPE, number, detail=f"was {before} before"
    )


def _index(work: Work, tape: Tape) -> None:
    assert tape.id is not None
    fields = {name: getattr(tape, name) for name in _SEARCHED}
    search.index_record(work.session, "tape", tape.id, fields)


def _record(work: Work, tape: Tape) -> TapeRecord:
    program = work.session.get(Program, tape.program_id) if tape.program_id else None
    is_member = work.actor.role.includes(Role.VOLUNTEER)
    is_archivist = work.actor.role.includes(Role.ARCHIVIST)
    return TapeRecord(
        accession_number=tape.accession_number,
        title=tape.title,
        program=program.id if program else None,
        program_title=program.title if program else None,
        origin=tape.origin,
        medium=tape.medium,
        levels=tape.levels,
        condition=Condition(tape.condition),
        hazard=Hazard(tape.hazard),
        place=tape.place,
        loader_requirement=tape.loader_requirement,
        made=tape.made,
        notes=tape.notes,
        revision=tape.revision,
        created=tape.created_at,
        changed=tape.updated_at,
        image=_newest_image(work, tape),
        readings=images.readings_where(work, col(Reading.tape_id) == tape.id),
        punching=work.session.scalar(
            select(col(Punching.id)).where(col(Punching.tape_id) == tape.id)
        ),
        reported_unfit=tape.reported_unfit,
        colour=tape.colour,
        form=TapeForm(tape.form),
        core=tape.core,
        measured_width_mm=tape.measured_width_mm,
        measured_length_m=tape.measured_length_m,
        inscriptions=tape.inscriptions,
        acquired_from=tape.acquired_from if is_member else None,
        acquired_on=tape.acquired_on,
        acquired_how=Acquired(tape.acquired_how),
        acquisition_note=tape.acquisition_note if is_archivist else None,
        rights_uri=tape.rights_uri,
        licence=tape.licence,
        rights_note=tape.rights_note,
        access=Access(tape.access),
        deaccessioned_on=tape.deaccessioned_on,
    )


def _newest_image(work: Work, tape: Tape) -> ImageRecord | None:
    newest = work.session.scalar(
        select(col(ImageRow.id))
        .join(Reading, col(Reading.image_id) == col(ImageRow.id))
        .where(col(Reading.tape_id) == tape.id)
        .order_by(col(Reading.id).desc())
        .limit(1)
    )
    return None if newest is None else images.of_id(work, newest)
