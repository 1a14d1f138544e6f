"""Whether a tape may be run: what its condition says to whoever wants to put it into a machine."""

from collections.abc import Iterator

from sqlalchemy import ColumnElement, or_
from sqlmodel import col

from server.catalog import condition
from server.catalog.held import tape_of
from server.catalog.vocabulary import CAUTIONS, Condition, Handling, Hazard, forbids_running
from server.catalog.work import Work
from server.store.tapes import Tape

DO_NOT_RUN = "Do not run this tape"

_HANDLED = {
    Handling.WATCHED: "Run it slowly, and watch it all along.",
    Handling.NO_SPROCKET: "No sprocket and no pins: only light may read it.",
    Handling.BY_HAND: "No motor: pull it by hand only.",
}


def do_not_run(tape: Tape) -> bool:
    """Whether the tape must not be run: unfit, held apart, or its newest report says so."""
    return forbids_running(tape.condition, tape.hazard, tape.reported_unfit)


def is_not_to_be_run() -> ColumnElement[bool]:
    """The same of any tape, for a question to the database."""
    return or_(
        col(Tape.reported_unfit),
        col(Tape.condition) == Condition.UNFIT,
        col(Tape.hazard) != Hazard.NONE,
    )


def warnings_of(work: Work, accession_number: str) -> tuple[str, ...]:
    """What to heed before the tape is run; the gravest first, nothing where nothing is known.

    Raises:
        NotFound: there is no such tape.
    """
    return tuple(warnings(work, tape_of(work, accession_number)))


def warnings(work: Work, tape: Tape) -> Iterator[str]:
    """The same of a tape that is at hand."""
    caution = CAUTIONS[Hazard(tape.hazard)]
    if caution:
        yield f"{DO_NOT_RUN}. {caution}"
    newest = condition.newest(work, tape)
    if tape.condition == Condition.UNFIT:
        yield f"{DO_NOT_RUN}: its newest condition report finds it unfit for a reader."
    elif newest is not None and newest.handling == Handling.DO_NOT_RUN:
        yield f"{DO_NOT_RUN}: so says its condition report of {newest.checked_on}."
    elif newest is not None and newest.machine_readable is False:
        yield f"{DO_NOT_RUN}: on {newest.checked_on} a reader could not take it."
    elif tape.reported_unfit:
        yield f"{DO_NOT_RUN}: its newest condition report found it unfit for a reader."
    else:
        if tape.condition == Condition.FRAGILE:
            yield "Fragile: run it only if there is no other way, slowly, and watch it all along."
        if newest is not None and newest.handling in _HANDLED:
            yield _HANDLED[Handling(newest.handling)]
