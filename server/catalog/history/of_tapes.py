"""Undoing what was done with a tape: an image put to it, a report logged on it, a move."""

from typing import Final

from server.catalog import condition, detaching, movements, report_corrections, tapes
from server.catalog.errors import ArchiveError
from server.catalog.history.inverses import Inverse, why_undone
from server.catalog.history.of_changes import tape_by
from server.catalog.movements import To
from server.catalog.place_values import State
from server.catalog.work import Role, Work
from server.store.condition import ConditionReport
from server.store.events import Event
from server.store.places import Movement, Place, Whereabouts
from server.store.tapes import Tape


def _attach_refused(work: Work, event: Event) -> str:
    try:
        tape = tape_by(work, event.object_key)
        return detaching.refuses(work, tape, event.facts["image"], event.occurred_at)
    except ArchiveError as gone:
        return gone.what


def _detach(work: Work, event: Event, why: str) -> None:
    tape, image = tape_by(work, event.object_key), event.facts["image"]
    because = why_undone(event, why)
    detaching.detach(work, tape, image, event.occurred_at, why=because, corrects=event.id)


def _detach_refused(work: Work, event: Event) -> str:
    try:
        tape = tape_by(work, event.object_key)
        held = tapes.is_attached(work, tape, event.facts["image"])
    except ArchiveError as gone:
        return gone.what
    return "The image is attached to the tape again already." if held else ""


def _attach(work: Work, event: Event, why: str) -> None:
    number = tape_by(work, event.object_key).accession_number
    image = event.facts["image"]
    tapes.attach(work, number, image, why=why_undone(event, why), corrects=event.id)


def _report_refused(work: Work, event: Event) -> str:
    report = work.session.get_one(ConditionReport, event.facts["report"])
    taken_back = event.facts.get("action") == "take report back"
    if taken_back is (report.withdrawn_at is None):
        return f"Condition report {report.id} was taken back, or stands again, since."
    if not condition.may_amend(work, event.facts["report"]):
        return "Only its author or an archivist takes a report back."
    return ""


def _turn_report(work: Work, event: Event, why: str) -> None:
    stands = event.facts.get("action") == "take report back"
    report_corrections.set_standing(
        work,
        event.facts["report"],
        stands=stands,
        why=why_undone(event, why),
        corrects=event.id,
    )


def _move_of(work: Work, event: Event) -> tuple[Tape, Movement]:
    tape = tape_by(work, event.object_key)
    return tape, work.session.get_one(Movement, event.facts["movement"])


def _move_refused(work: Work, event: Event) -> str:
    try:
        tape, movement = _move_of(work, event)
    except ArchiveError as gone:
        return gone.what
    if movement.with_id is not None:
        return "It was moved with the box that it lay in. Move the box back."
    if State.ON_LOAN in (movement.from_where, movement.to_where):
        return "A loan moved it. Take it back on the page of the loan."
    held = work.session.get(Whereabouts, tape.id)
    there = (held.place_id if held else None, tape.place)
    if movement.to_id != there[0] or (movement.to_id is None and movement.to_where != there[1]):
        return "The tape was moved again since. Undo that first."
    place = None if movement.from_id is None else work.session.get_one(Place, movement.from_id)
    if place is not None and place.closed_at is not None:
        return f"{place.path} is closed by now."
    return ""


def _move_back(work: Work, event: Event, why: str) -> None:
    tape, movement = _move_of(work, event)
    place = None if movement.from_id is None else work.session.get_one(Place, movement.from_id)
    missing = movement.from_where == State.MISSING
    state = State.PLACED if place else State.MISSING if missing else State.UNKNOWN
    movements.go(work, tape, To(state, place), why_undone(event, why), corrects=event.id)


ATTACHED: Final = Inverse(Role.VOLUNTEER, _attach_refused, _detach)
DETACHED: Final = Inverse(Role.VOLUNTEER, _detach_refused, _attach)
REPORTED: Final = Inverse(Role.VOLUNTEER, _report_refused, _turn_report)
MOVED: Final = Inverse(Role.VOLUNTEER, _move_refused, _move_back)
